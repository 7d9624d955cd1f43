package loop

import (
	"math"
	"time"

	"leat/dosing"
)

// Loops is the estimator, the two loops and the planner of one tank. It reads
// the totals, which safety writes; it never writes them.
type Loops struct {
	onWay
	ph, ec observer
	water  topUp
	strong strong
	blend  blend
	came   dosing.Litres // top-up since the start
	acids  []dosing.PumpID
	bases  []dosing.PumpID
	stocks []dosing.PumpID

	frozen     time.Duration // learning stands still until then
	explained  time.Duration // what moves until then is no answer to a dose
	lastAcid   given
	lastBase   given
	lastGroup  dosing.Group
	stockLast  bool
	phWithheld withheld
	ecWithheld withheld

	without  Without
	reshared bool // the blend's shares are not those of the pumps

	seen    prospect // the last one
	version uint64   // of what it is made from, the totals apart
}

// onWay is what the totals of a row hold that has not reached the probes of one tank.
type onWay struct {
	id     dosing.TankID
	tank   dosing.Tank
	pumps  []dosing.Pump
	totals *dosing.Totals
	last   transit // computed
}

// given is when a reagent was last dosed.
type given struct {
	at   time.Duration
	ever bool
}

func (g given) after(other given) bool { return g.ever && (!other.ever || g.at > other.at) }

func (g given) within(wait, up time.Duration) bool { return g.ever && up-g.at < wait }

// withheld times how long a dose that is wanted has been refused.
type withheld struct {
	active bool
	since  time.Duration
}

// note records whether the gate refuses a wanted dose now.
func (w *withheld) note(refused bool, up time.Duration) {
	if refused && !w.active {
		w.since = up
	}
	w.active = refused
}

// forTooLong says that a demand has waited longer than limit.
func (w *withheld) forTooLong(up, limit time.Duration) bool { return w.active && up-w.since > limit }

// NewLoops makes the loops of one tank of a row. Curve is the titration curve of
// its solution; tank.BufferScale corrects it to what was measured, and a scale
// that is not positive means that nothing is ever known. Nothing is alive in the
// totals that is not counted as in transit here.
func NewLoops(id dosing.TankID, tank dosing.Tank, pumps []dosing.Pump, curve dosing.Titration, totals *dosing.Totals) *Loops {
	l := &Loops{onWay: onWay{id: id, tank: tank, pumps: pumps, totals: totals}}
	l.ph = newObserver(curve, tank.BufferScale, orElse(tank.PHNoise, 0.02), tuningPH)
	l.ph.measured(tank.StartSpread())
	l.ec = newObserver(straight{}, 1, orElse(tank.ECNoise, 0.01), tuningEC)
	l.ph.waters, l.ec.waters = watersOf(tank), watersOf(tank)
	for i := range pumps {
		p := &pumps[i]
		switch {
		case !p.ServesTank(id):
		case p.MinDose <= 0:
			// A pump whose smallest repeatable dose nobody measured cannot dose.
		case p.Role == dosing.RoleAcid && p.AcidPerML > 0:
			l.acids = append(l.acids, dosing.PumpID(i))
		case p.Role == dosing.RoleBase && p.AcidPerML < 0:
			l.bases = append(l.bases, dosing.PumpID(i))
		case p.Role == dosing.RoleStock && p.Share > 0:
			l.stocks = append(l.stocks, dosing.PumpID(i))
		}
	}
	l.blend = newBlend(pumps, l.stocks, float64(tank.Quick()))
	return l
}

func orElse(x, otherwise float64) float64 {
	if x > 0 {
		return x
	}
	return otherwise
}

// staleAfter is the age at which an estimate is no longer one.
func (w *onWay) staleAfter() time.Duration {
	return max(shortestStale, min((w.tank.DeadTime+w.tank.TimeConstant)/2, longestStale))
}

// horizon is how far ahead drift is met: a dose given now works then.
func (w *onWay) horizon() time.Duration { return w.tank.DeadTime + w.tank.TimeConstant }

// Read takes every reading of this tank with its quality. Only what may dose is
// used; the broker's stored copies never are.
func (l *Loops) Read(r dosing.Reading, q dosing.Quality) {
	up := r.At().Up
	l.version++
	if r.Retained() || !q.MayDose() {
		switch r.Quantity() {
		case dosing.QuantityPH:
			l.ph.forgetBlock()
		case dosing.QuantityEC:
			l.ec.forgetBlock()
		}
		return
	}
	switch r.Quantity() {
	case dosing.QuantityPH:
		if l.ph.gather(r.Value(), up) {
			l.advance(&l.ph, up)
		}
	case dosing.QuantityEC:
		if l.ec.gather(r.Value(), up) {
			l.advance(&l.ec, up)
		}
	case dosing.QuantityLevel:
		l.water.flood.Level(r.Value(), l.tank.Volume, up)
		l.comesHome(r.At())
		l.toppedUp(l.water.litres(r.Value(), up))
	case dosing.QuantityTopUp:
		l.water.valve(r.Value() >= 0.5, up)
	case dosing.QuantityFlood:
		if r.Value() >= 0.5 {
			l.water.flood.Out(up)
			l.comesHome(r.At())
		}
	case dosing.QuantityCirculation:
		// Standing water tells nothing about drift or about the doses' answers.
		if r.Value() < 0.5 {
			l.Freeze(r.At(), up+l.tank.MixingTime())
		}
	}
}

// comesHome is a flood that is away: water that was out differs in pH and EC, so both
// are as unsure as its share, and nothing is learned until it has mixed.
func (l *Loops) comesHome(now dosing.Instant) {
	before, more := l.water.homecoming()
	if !l.water.flood.Away() {
		return
	}
	l.Freeze(now, now.Up+l.tank.FloodWait())
	if volume := float64(l.tank.Quick()); volume > 0 {
		unsure := more * (2*before + more) / float64(volume*volume)
		l.ph.vv += float64(unsure * float64(dosing.HarmBand.PH*dosing.HarmBand.PH))
		l.ec.vv += float64(unsure * float64(dosing.HarmBand.EC*dosing.HarmBand.EC))
	}
}

// toppedUp feeds forward what plain water does: its alkalinity wants acid, and it
// dilutes. Both enter with the mixing lag.
func (l *Loops) toppedUp(litres float64) {
	volume := float64(l.tank.Quick())
	if !(litres > 0) || !(volume > 0) {
		return
	}
	l.came += dosing.Litres(litres)
	if l.without == WithoutFeedForward {
		return
	}
	share := min(litres/volume, 0.5)
	l.ph.entering += float64(share * l.tank.TopUp.Alkalinity)
	l.strong.given(-float64(share*l.tank.TopUp.Alkalinity), &l.ph, l.ph.at)
	if l.ec.blocks > 0 {
		l.ec.entering -= float64(share * max(0, l.ec.value-float64(l.tank.TopUp.EC)))
	}
	// Other water, other buffer: what was learned is a little less sure.
	l.ph.gg = min(l.ph.gg+float64(0.25*float64(share*share)), l.ph.tuning.startGain*l.ph.tuning.startGain)
}

// advance runs one observer to the end of its block.
func (l *Loops) advance(o *observer, up time.Duration) {
	elapsed := up - o.at
	if o.blocks == 0 {
		o.begin(o.sum/float64(o.count), o.noise/float64(o.count)+o.tuning.resolution, up)
		return
	}
	entered := o.enter(elapsed, l.tank.TimeConstant)
	acid, ec, gross := l.arrivals(o.at, up)
	refused := &l.phWithheld
	if o == &l.ec {
		acid, gross.acid, refused = -ec, gross.ec, &l.ecWithheld
	}
	if elapsed > l.staleAfter() {
		// What happened in the gap was seen by nobody; drift and buffer keep, and the
		// waters mix on.
		o.waters.pass(elapsed, entered-acid)
		o.begin(o.sum/float64(o.count), o.noise/float64(o.count)+o.tuning.resolution, up)
		return
	}
	if o == &l.ph {
		l.strong.read(o.sum/float64(o.count), up)
	}
	learning := up >= l.frozen && !refused.forTooLong(up, l.tank.MixingTime())
	if o == &l.ph && up >= l.explained {
		o.weaken(&l.strong, l.tank.MixingTime(), up)
	}
	if !o.update(up, acid, gross.acid, entered, learning) {
		l.frozen = max(l.frozen, up+l.tank.MixingTime())
	}
}

// amounts of acid in meq/L and EC in mS/cm, without signs.
type amounts struct{ acid, ec float64 }

// arrivals is what doses brought to the probes between two moments.
func (w *onWay) arrivals(from, to time.Duration) (acid, ec float64, gross amounts) {
	volume := float64(w.tank.Quick())
	deadTime, lag := w.tank.DeadTime, w.tank.TimeConstant
	decay := -1.0
	w.totals.EachInTransit(w.id, from, deadTime, lag, func(d *dosing.Dose, before float64) {
		if d.Open || to-d.Up <= deadTime {
			return
		}
		var after float64
		if from-d.Up >= deadTime && lag > 0 {
			// Past the dead time all doses decay alike: one exponential serves them.
			if decay < 0 {
				decay = dosing.Exponential(-float64(to-from) / float64(lag))
			}
			after = float64(before * decay)
		} else {
			after = float64(d.Volume.Millilitres() * d.Remaining(to, deadTime, lag))
		}
		p := &w.pumps[d.Pump]
		came := (before - after) / volume
		a, e := float64(came*p.AcidPerML), float64(came*p.ECPerML)
		acid += a
		ec += e
		gross.acid += math.Abs(a)
		gross.ec += math.Abs(e)
	})
	return acid, ec, gross
}

// transit is what is on its way as of one moment and one count of the totals.
type transit struct {
	acid, base, ec float64
	known          bool
	at             time.Duration
	changes        uint64
}

// transitAt is the same for both quantities where their readings come together.
func (w *onWay) transitAt(up time.Duration) transit {
	t, changes := &w.last, w.totals.State().Changes
	if !t.known || t.at != up || t.changes != changes {
		t.acid, t.base, t.ec = w.totals.InTransit(w.id, w.pumps, w.tank, up)
		t.known, t.at, t.changes = true, up, changes
	}
	return *t
}

// prospect is both quantities seen from a target at one moment. One tick asks for it
// several times; it holds while what it was made from stays the same.
type prospect struct {
	of prospectOf

	ph, ec  outlook
	planned struct{ ph, ec outlook } // each with what the other loop is about to dose
	moving  transit
}

// prospectOf is what a prospect was made from.
type prospectOf struct {
	up      time.Duration
	target  dosing.Target
	version uint64
	totals  dosing.TotalsState
}

// prospect looks at both quantities. What is in transit is taken as of the
// filter's own moment: what has arrived since is not in its value yet.
func (l *Loops) prospect(now dosing.Instant, target dosing.Target) *prospect {
	s, of := &l.seen, prospectOf{now.Up, target, l.version, l.totals.State()}
	if s.of == of {
		return s
	}
	*s = prospect{of: of}
	if l.ph.fresh(now, l.staleAfter()) {
		s.moving = l.transitAt(l.ph.at)
		s.ph = l.ph.look(float64(target.PH), l.without.counted(s.moving.acid-s.moving.base), l.horizon()+now.Up-l.ph.at)
	}
	if l.ec.fresh(now, l.staleAfter()) {
		if !s.ph.known || l.ec.at != l.ph.at {
			other := l.transitAt(l.ec.at)
			if !s.ph.known {
				s.moving = other
			}
			s.moving.ec = other.ec
		}
		s.ec = l.ec.look(float64(target.EC), -l.without.counted(s.moving.ec), l.horizon()+now.Up-l.ec.at)
	}
	s.planned.ph, s.planned.ec = s.ph, s.ec
	if s.ph.known && s.ec.known {
		s.planned.ph.leave(float64(target.PH), l.stockAcid(&s.ec, now.Up))
		coming := l.without.counted(s.moving.ec) + l.reagentEC(s.planned.ph.need)
		s.planned.ec = l.ec.look(float64(target.EC), -coming, l.horizon()+now.Up-l.ec.at)
	}
	return s
}

// reagentEC is the EC that comes with an amount of acid, or of base where it is
// negative, meq/L.
func (l *Loops) reagentEC(need float64) float64 {
	pumps := l.acids
	if need < 0 {
		pumps = l.bases
	}
	if len(pumps) == 0 || l.without == WithoutFeedForward {
		return 0
	}
	p := &l.pumps[pumps[0]]
	return float64(need/p.AcidPerML) * p.ECPerML
}

// stockAcid is the acid that comes with the stock that EC needs beyond its dead band,
// meq/L; none while the row has been held for so long that pH must not wait for it.
func (l *Loops) stockAcid(ec *outlook, up time.Duration) float64 {
	if !ec.known || !l.blend.usable() || l.without == WithoutFeedForward || l.ecWithheld.forTooLong(up, l.tank.MixingTime()) {
		return 0
	}
	return l.blend.acid(max(0, -ec.need-deadBandEC-l.blend.smallest/2))
}

// fresh says whether an observer may be used now.
func (o *observer) fresh(now dosing.Instant, stale time.Duration) bool {
	age := now.Up - o.at
	return o.blocks >= blocksBeforeUse && age >= 0 && age <= stale && o.scale > 0 && finite(o.value)
}

// Estimate is what is known of the tank now, seen from target.
func (l *Loops) Estimate(now dosing.Instant, target dosing.Target) Estimate {
	s := l.prospect(now, target)
	return Estimate{
		Known: s.ph.known && s.ec.known, PHKnown: s.ph.known, ECKnown: s.ec.known,
		PH: dosing.PH(s.ph.settled), EC: dosing.Conductivity(s.ec.settled),
		MeasuredPH: dosing.PH(s.ph.value), MeasuredEC: dosing.Conductivity(s.ec.value),
		DriftAcid: l.ph.drift, DriftEC: l.ec.drift / l.ec.capacity(),
		ApartAcid: l.ph.waters.apart, ApartEC: l.ec.waters.apart / l.ec.capacity(),
		LnBuffer: l.ph.gain, LnBufferSpread: l.ph.spread(), ECGain: 1 / dosing.Exponential(l.ec.gain), Answered: l.ph.answered,
		AcidInTransit: s.moving.acid, BaseInTransit: s.moving.base, ECInTransit: s.moving.ec,
	}
}

// Freeze stops learning and the integral until an uptime: after a response that
// no dose explains, a dose by hand, standing water. Values are still followed.
func (l *Loops) Freeze(now dosing.Instant, until time.Duration) {
	l.frozen = max(l.frozen, now.Up, until)
	l.explained, l.strong = l.frozen, strong{}
}

// ResetLearning forgets the buffer scale and the EC gain: a pump or probe was
// serviced, a stock refilled, the filling changed.
func (l *Loops) ResetLearning() {
	l.version++
	l.ph.tuning.startGain = dosing.UnmeasuredSpread // nobody measured this water
	l.ph.resetGain()
	l.ec.resetGain()
	l.ph.resetDrift()
	l.ec.resetDrift()
}
