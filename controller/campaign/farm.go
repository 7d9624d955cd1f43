package campaign

import (
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/controller/sim"
)

// Farm is the user's own station, as the configuration describes it. Plants, air,
// water, noise and floods of each night are drawn by its seed.
type Farm struct {
	Name     string
	Settings *controller.Settings
	Topics   *payload.Topics
	Wires    []sim.Wire
	Feeds    []sim.Feed
	// Past, if any, is what the station's own record holds: nights begin from it.
	Past *Past
}

// scene draws a night of the user's farm: it starts somewhere off its setpoints.
func (f *Farm) scene(seed uint64, night int) (*Scene, error) {
	from := source(seed, "start")
	s := &Scene{Seed: seed, Hours: 10 * time.Hour, Settings: f.Settings, Topics: f.Topics, Wires: f.Wires, Feeds: f.Feeds}
	setpoint := f.Settings.Tanks[0].PH.Value
	s.Options = sim.Options{Seed: seed, StartPH: setpoint + from.uniform(-0.4, 0.8), StartECShare: from.uniform(0.6, 1)}
	if f.Past != nil {
		if err := f.Past.begin(f, s, night); err != nil {
			return nil, err
		}
	}
	settling := f.Settings.Safety.StartSettling
	for i := range f.Settings.Safety.Tanks {
		settling = max(settling, f.Settings.Safety.Tanks[i].MixingTime())
	}
	s.restFor(settling)
	return s, nil
}

// settled is θ + 3τ of a night's first tank, the unit of the set slow.
func (s *Scene) settled() time.Duration {
	t := &s.Settings.Safety.Tanks[0].Tank
	return t.DeadTime + 3*t.TimeConstant
}
