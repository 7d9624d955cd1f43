package alarm

import "time"

// A tank that was just armed in water whose buffer nobody measured is brought to its setpoint by small doses, each
// waited for, since the first ones teach what the next may be: that takes hours where it buffers three times what was told,
// and more where it is stirred slowly. While the probe answers them there is nothing to do for anybody.
const (
	settlesWithin = 4 * time.Hour    // and two mixing times
	answersWithin = 40 * time.Minute // and a mixing time, for one that answers
)

// settling follows a tank from its arming to its band.
type settling struct {
	armed    bool
	arrived  bool // it has been in its band since
	since    time.Duration
	answered int // pools, as last told
	at       time.Duration
}

// follow says whether an armed tank is on its first way to its band and the probe answers its doses.
func (f *settling) follow(s *Situation, inside bool, up time.Duration) bool {
	if !s.armed() {
		*f = settling{}
		return false
	}
	if !f.armed {
		*f = settling{armed: true, since: up, answered: s.Answered, at: up}
	}
	if s.Answered != f.answered {
		f.answered, f.at = s.Answered, up
	}
	f.arrived = f.arrived || inside
	return !f.arrived && up-f.since < settlesWithin+2*s.MixingTime && up-f.at < answersWithin+s.MixingTime
}
