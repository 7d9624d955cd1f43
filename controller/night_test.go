package controller_test

import (
	"math"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/sim"
	"leat/deploy"
	"leat/dosing"
	"leat/safety/ledger"
)

var evening = time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

// rig is a night on the sample farm with everything real but broker, disk and
// clock.
type rig struct {
	*sim.Night
	file  *config.File
	store *ledger.Memory
	farm  *sim.Farm
}

func newRig(t testing.TB, o sim.Options) *rig {
	t.Helper()
	file, err := config.Parse("sample", deploy.Sample, config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	return newRigOf(t, file, o)
}

// newRigOf makes the rig of other settings.
func newRigOf(t testing.TB, file *config.File, o sim.Options) *rig {
	t.Helper()
	r := unstarted(t, file, o)
	r.start(t, evening, nil)
	return r
}

// unstarted is a rig whose daemon has yet to start.
func unstarted(t testing.TB, file *config.File, o sim.Options) *rig {
	t.Helper()
	wires := make([]sim.Wire, len(file.Settings.Safety.Inputs))
	for i := range file.InputTopics {
		in := &file.InputTopics[i]
		wires[in.Input] = sim.Wire{Topic: in.Topic, Compensation: in.Compensation}
	}
	farm, err := sim.New(&file.Settings, file.Topics, wires, o)
	if err != nil {
		t.Fatal(err)
	}
	return &rig{file: file, store: &ledger.Memory{}, farm: farm}
}

// start starts the daemon, or starts it again on the same record. Listen, if any,
// is called before its first step.
func (r *rig) start(t testing.TB, wall time.Time, listen func()) {
	t.Helper()
	var feeds []sim.Feed
	for i := range r.file.InputTopics {
		in := &r.file.InputTopics[i]
		set := &r.file.Settings.Safety.Inputs[in.Input]
		f := sim.Feed{Topic: in.Topic}
		f.Input, f.Tank, f.Quantity, f.Format, f.Compensation = in.Input, set.Tank, set.Quantity, in.Format, in.Compensation
		feeds = append(feeds, f)
	}
	night, err := sim.PrepareNight(&r.file.Settings, r.file.Topics, feeds, r.farm, r.store, wall)
	if err != nil {
		t.Fatal(err)
	}
	r.Night = night
	if listen != nil {
		listen()
	}
	r.Begin()
}

// settings of a night in which the tanks start off their setpoints.
func offSetpoint(seed uint64) sim.Options {
	return sim.Options{Seed: seed, StartPH: 6.6, StartECShare: 0.6}
}

func TestNightReachesItsBandsAndStaysThere(t *testing.T) {
	for seed := uint64(1); seed <= 5; seed++ {
		r := newRig(t, offSetpoint(seed))
		r.Arm()
		type count struct{ in, all int }
		var pH, ec [2]count
		r.Run(3*time.Hour+45*time.Minute, func(now dosing.Instant) {
			if now.Up < 165*time.Minute || now.Up%(10*time.Second) != 0 {
				return
			}
			view := r.Core.View(now)
			for i := range view.Tanks {
				truth := r.farm.Truth(dosing.TankID(i))
				pH[i].all++
				ec[i].all++
				if math.Abs(truth.PH-view.Tanks[i].PH.Working) <= dosing.StartBand.PH {
					pH[i].in++
				}
				if math.Abs(truth.EC-view.Tanks[i].EC.Working) <= dosing.StartBand.EC {
					ec[i].in++
				}
			}
		})
		view := r.Core.View(r.Now())
		for i := range view.Tanks {
			truth := r.farm.Truth(dosing.TankID(i))
			shareP, shareE := float64(pH[i].in)/float64(pH[i].all), float64(ec[i].in)/float64(ec[i].all)
			t.Logf("seed %d %-8s last hour: pH in band %.0f %%, EC in band %.0f %%; now pH %.2f EC %.2f; %s", seed, view.Tanks[i].Name, 100*shareP, 100*shareE, truth.PH, truth.EC, view.Tanks[i].Reason)
			if shareP < 0.95 || shareE < 0.95 {
				t.Errorf("seed %d, %s: pH in band %.3f, EC in band %.3f of the last hour; want 0.95", seed, view.Tanks[i].Name, shareP, shareE)
			}
		}
	}
}

var _ = controller.RequestArm
