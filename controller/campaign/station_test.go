package campaign

import (
	"testing"

	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

func farms(t *testing.T) Set {
	t.Helper()
	set, err := SetNamed("farms")
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func TestDrawnStationsPassTheSizingAndDiffer(t *testing.T) {
	set := farms(t)
	tanks, stocks, acids := map[int]bool{}, map[int]bool{}, map[string]bool{}
	for seed := uint64(0); seed < 24*nightsOfAFarm; seed += nightsOfAFarm {
		s, err := set.Scene(seed)
		if err != nil {
			t.Fatal(err)
		}
		g := &s.Settings.Safety
		tanks[len(g.Tanks)], stocks[len(g.Pumps)-2], acids[g.Pumps[0].Reagent] = true, true, true
		shares := 0.0
		for i := range g.Pumps {
			shares += g.Pumps[i].Share
			if p := &g.Pumps[i]; g.Caps[i].PerDose < p.MinDose || p.ECPerML <= 0 {
				t.Errorf("seed %d: %+v under %+v", seed, p, g.Caps[i])
			}
		}
		if shares < 0.999 || shares > 1.001 {
			t.Errorf("seed %d: the shares sum to %g", seed, shares)
		}
		other, err := set.Scene(seed + 1)
		if err != nil {
			t.Fatal(err)
		}
		if len(other.Settings.Safety.Pumps) != len(g.Pumps) || other.Settings.Safety.Tanks[0].Volume != g.Tanks[0].Volume {
			t.Errorf("seeds %d and %d are two farms", seed, seed+1)
		}
		if other.Options.StartPH == s.Options.StartPH {
			t.Errorf("seeds %d and %d begin alike", seed, seed+1)
		}
	}
	if len(tanks) < 3 || len(stocks) < 5 || len(acids) < 2 {
		t.Errorf("tanks %v, stocks %v, acids %v: hardly drawn", tanks, stocks, acids)
	}
}

func TestAStartThatTheWaterCannotHaveIsTheNearestAndAMeasuredOneIsRefused(t *testing.T) {
	set := farms(t)
	for seed := uint64(0); ; seed += nightsOfAFarm {
		s, err := set.Scene(seed)
		if err != nil {
			t.Fatal(err)
		}
		water := float64(s.Settings.Safety.Tanks[0].TopUp.EC)
		if water < 0.2 {
			continue
		}
		s.Options.StartECShare = 0.3 * water / s.Settings.Tanks[0].EC.Value
		farm, err := sim.New(s.Settings, s.Topics, s.Wires, s.Options)
		if err != nil {
			t.Fatalf("less EC than the water has: %v", err)
		}
		if ph, ec := farm.Bulk(0); ph < s.Options.StartPH-0.05 || ph > s.Options.StartPH+0.05 || ec < 0.5*water {
			t.Errorf("it starts at pH %.2f and EC %.2f; the water has %.2f", ph, ec, water)
		}
		for range s.Settings.Tanks {
			s.Options.Starts = append(s.Options.Starts, sim.Start{PH: 6, EC: 0.3 * water})
		}
		if _, err := sim.New(s.Settings, s.Topics, s.Wires, s.Options); err == nil {
			t.Error("a measured start that no such water has is taken")
		}
		return
	}
}

func TestADoseThatFillsItsOwnCapIsNotHeldByIt(t *testing.T) {
	o := &Ordered{Intended: 100}
	for _, c := range []struct {
		hold Hold
		own  bool
	}{
		{Hold{Cause: safety.CauseHourlyCap, Since: 100}, true},
		{Hold{Cause: safety.CauseDailyCap, Since: 101}, true},
		{Hold{Cause: safety.CauseHourlyCap, Since: 99}, false},
		{Hold{Cause: safety.CauseFlood, Since: 100}, false},
	} {
		if got := c.hold.filledBy(o); got != c.own {
			t.Errorf("%+v: %v, want %v", c.hold, got, c.own)
		}
	}
}

func TestTanksWithLinesOfTheirOwnNeedNoWaitBetweenThem(t *testing.T) {
	set := farms(t)
	for seed := uint64(0); ; seed += nightsOfAFarm {
		s, err := set.Scene(seed)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Settings.Safety.Tanks) < 2 {
			continue
		}
		calcium, sulfate := dosing.PumpID(2), dosing.PumpID(3)
		for _, line := range []dosing.Volume{0, 100 * dosing.Millilitre} {
			settings := *s.Settings
			settings.Safety.LineVolume = line
			w := &trail{Trace: &Trace{Settings: &settings}}
			w.Runs = []sim.Run{{Tank: 0, Pump: calcium, Ended: true, At: 1000}, {Tank: 1, Pump: sulfate, At: 2000}}
			if apart(w); (len(w.found) > 0) != (line > 0) {
				t.Errorf("a line of %s between two tanks: %v", line, w.found)
			}
		}
		return
	}
}

// Eight stocks for 784 L, and a tank of 134 L at the end of the row: a whole blend of
// smallest doses is worth .098 mS/cm there.
func TestTheSmallTankOfALargeRowIsHeld(t *testing.T) {
	set, o := farms(t), Options{Set: "farms", Faults: "none", Seed: 16169}
	s, _, err := o.Night(&set, 0)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.run(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range Check(p.trace) {
		if v.Invariant == 28 {
			t.Error(v)
		}
	}
	for id := range p.scores {
		if in := p.scores[id].EC.InBand; in < 0.97 {
			t.Errorf("tank %d: EC in band %.3f", id, in)
		}
	}
}

func TestNoStationIsDrawnWhoseStocksFillItsTanksBeyondTheirLevel(t *testing.T) {
	set := farms(t)
	for _, seed := range []uint64{15000, 15006, 15210} { // drawn with stocks of 11 to 21 % before
		s, err := set.Scene(seed)
		if err != nil {
			t.Fatal(err)
		}
		blend := 0.0
		for i := range s.Settings.Safety.Pumps {
			blend += s.Settings.Safety.Pumps[i].Share * s.Settings.Safety.Pumps[i].ECPerML
		}
		for id := range s.Settings.Tanks {
			tank := &s.Settings.Safety.Tanks[id]
			if part := (s.Settings.Tanks[id].EC.Value - float64(tank.TopUp.EC)) / blend / 1000; part > 0.10 {
				t.Errorf("seed %d: the stocks of a filling take %.3f of %s", seed, part, tank.Name)
			}
		}
	}
}
