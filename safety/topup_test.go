package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

const valvePump = pumpCount

// withValve gives the first tank of the test farm a valve of 12 L a minute.
func withValve(s *Settings) {
	s.Pumps = append(s.Pumps, dosing.Pump{Name: "fill", Reagent: "source water", Role: dosing.RoleWater, PerSecond: 200 * dosing.Millilitre,
		MinDose: 100 * dosing.Millilitre, Serves: dosing.TankSet(0).With(0)})
	s.Caps = append(s.Caps, Caps{PerDose: 10 * dosing.Litre, PerHour: 60 * dosing.Litre, PerDay: 200 * dosing.Litre, OnTime: time.Minute})
	s.PumpNode = append(s.PumpNode, 1)
	s.Tanks[0].TopUpBand = TopUpBand{Low: 970, High: 1000, Overflow: 1150}
}

// mostWater is the largest pulse that the gate permits, and why not a larger one.
func (f *farm) mostWater() (dosing.Volume, Cause) {
	a := f.g.Allowance(f.now, 0, valvePump)
	return a.Most, a.By
}

// pulse lets in as much as the tank lacks and the gate permits; the level rises by share of it.
func (f *farm) pulse(share float64) (litres float64, cause Cause) {
	f.t.Helper()
	most, by := f.mostWater()
	v := min(dosing.FromMillilitres(1000*f.w.Lacks(f.now, 0)), most)
	if v < f.s.Pumps[valvePump].MinDose {
		return 0, by
	}
	key := f.open(0, valvePump, v)
	run := v.RunTime(f.s.Pumps[valvePump].PerSecond)
	level := f.input(0, dosing.QuantityLevel)
	for range int(run / (5 * time.Second)) {
		f.pass(5 * time.Second)
		f.value[level] += share * v.Litres() * float64(5*time.Second) / float64(run)
	}
	f.w.Closed(f.now, 0, valvePump, key, FateKnown, v)
	f.pass(pulseSettles + 10*time.Second)
	return v.Litres(), CauseNone
}

func TestAValveTopsUpFromTheLowerLevelToTheUpper(t *testing.T) {
	f := newFarm(t, withValve)
	f.drift(0, dosing.QuantityLevel, 985)
	f.pass(time.Minute)
	if lacks := f.w.Lacks(f.now, 0); lacks != 0 {
		t.Errorf("%.1f L are to come in at 985 L, and top-up begins below 970 L", lacks)
	}
	f.drift(0, dosing.QuantityLevel, 968)
	for range 2 { // one sample is no low level
		f.w.Lacks(f.now, 0)
		f.pass(lastsFor)
	}
	if lacks := f.w.Lacks(f.now, 0); lacks != 32 {
		t.Fatalf("%.1f L are to come in at 968 L, want 32", lacks)
	}
	sum, pulses := 0.0, 0
	for f.w.Lacks(f.now, 0) > 0 && pulses < 10 {
		litres, cause := f.pulse(1)
		if litres == 0 || litres > 10 {
			t.Fatalf("a pulse of %.1f L, %s", litres, cause)
		}
		sum, pulses = sum+litres, pulses+1
	}
	if level := f.value[f.input(0, dosing.QuantityLevel)]; sum < 28 || sum > 32 || level > 1000 || f.w.Lacks(f.now, 0) != 0 {
		t.Errorf("%.1f L in %d pulses, level %.1f L: top-up ends at 1000 L", sum, pulses, level)
	}
	if most, cause := f.mostWater(); most > 3*dosing.Litre {
		t.Errorf("above the upper level %s may come in (%s)", most, cause)
	}
}

func TestOneLowSampleOpensNoValve(t *testing.T) {
	f := newFarm(t, withValve)
	id := f.input(0, dosing.QuantityLevel)
	f.send(id, 900, 0, false)
	if lacks := f.w.Lacks(f.now, 0); lacks != 0 {
		t.Errorf("one sample lets in %.0f L", lacks)
	}
	f.pass(time.Minute)
	if lacks := f.w.Lacks(f.now, 0); lacks != 0 {
		t.Errorf("one sample lets in %.0f L a minute later", lacks)
	}
}

func TestWhatIsUnsafeForWaterKeepsTheValveShutAndWhatSpeaksOfDosesDoesNot(t *testing.T) {
	for _, c := range []struct {
		name  string
		begin func(*farm)
		shut  bool
	}{
		{"leak", reading(dosing.QuantityLeak, 1), true},
		{"the leak sensor is silent", silent(dosing.QuantityLeak), true},
		{"stop pressed", reading(dosing.QuantityStop, 1), true},
		{"a flood is out", reading(dosing.QuantityFlood, 1), true},
		{"the level is silent", silent(dosing.QuantityLevel), true},
		{"the level is above its maximum", reading(dosing.QuantityLevel, 1105), true},
		{"cleaning", operator(OperatorState{Cleaning: true}), true},
		{"paused", operator(OperatorState{Paused: true}), true},
		{"nobody confirmed the water", operator(OperatorState{Unconfirmed: true}), true},
		{"observing", func(f *farm) { f.w.SetMode(f.now, 0, ModeObserving) }, true},
		{"the ledger fails", func(f *farm) { f.w.SetLedger(f.now, LedgerFailed) }, true},
		{"the link is down", func(f *farm) { f.w.Link(f.now, false) }, true},
		{"its node is silent", func(f *farm) { f.node[1].silent = true }, true},
		{"a dose is under way", func(f *farm) { f.open(0, calciumPump, 5*dosing.Millilitre) }, true},
		{"pH is silent", silent(dosing.QuantityPH), false},
		{"EC is silent", silent(dosing.QuantityEC), false},
		{"the water is too warm", reading(dosing.QuantityTemperature, 33), false},
		{"the circulation stands", reading(dosing.QuantityCirculation, 0), false},
		{"the sample line stands", reading(dosing.QuantitySampleFlow, 0), false},
	} {
		f := newFarm(t, withValve)
		f.drift(0, dosing.QuantityLevel, 960)
		f.pass(time.Minute)
		if most, cause := f.mostWater(); most < 9*dosing.Litre {
			t.Fatalf("a healthy tank at 960 L gets %s (%s)", most, cause)
		}
		c.begin(f)
		f.pass(20 * time.Second)
		most, cause := f.mostWater()
		if c.shut != (most == 0) {
			t.Errorf("%s: %s may come in (%s)", c.name, most, cause)
		}
		_, verdict := f.g.Judge(f.now, dosing.Plan{Tank: 0, Pump: valvePump, Volume: 5 * dosing.Litre, Reason: dosing.ReasonLevelLow})
		if verdict.Allowed == c.shut {
			t.Errorf("%s: the gate permits it: %v (%s)", c.name, verdict.Allowed, verdict.Cause)
		}
	}
}

func TestALowLevelIsToppedUp(t *testing.T) {
	f := newFarm(t, withValve)
	f.drift(0, dosing.QuantityLevel, 490) // below what is dosed in
	f.pass(time.Minute)
	if _, low := f.trip(0, CauseLevelLow); !low {
		t.Fatal("490 L is not low")
	}
	if most, cause := f.mostWater(); most == 0 {
		t.Errorf("no water comes in at 490 L: %s", cause)
	}
	if f.free(0) != noneFree {
		t.Error("a low level is dosed")
	}
}

func TestNothingIsDosedWhileTheValveRuns(t *testing.T) {
	f := newFarm(t, withValve)
	f.drift(0, dosing.QuantityLevel, 960)
	f.set(0, dosing.QuantityPH, 6.1)
	f.pass(2 * time.Minute)
	key := f.open(0, valvePump, 8*dosing.Litre)
	if f.free(0) != noneFree {
		t.Error("it is dosed while water comes in")
	}
	f.pass(20 * time.Second)
	f.w.Doubted(f.now, 0, valvePump)
	f.pass(time.Minute)
	if f.free(0) != noneFree {
		t.Error("it is dosed while nobody knows how much came in")
	}
	if most, _ := f.mostWater(); most != 0 {
		t.Errorf("%s more may come in while nobody knows how much did", most)
	}
	f.w.Closed(f.now, 0, valvePump, key, FateUnknown, 8*dosing.Litre)
}

func TestPulsesThatTheLevelDoesNotShowTwiceEndTopUpUntilAPersonClears(t *testing.T) {
	for name, share := range map[string]float64{"none came": 0, "three times as much came": 3} {
		f := newFarm(t, withValve)
		f.drift(0, dosing.QuantityLevel, 900)
		f.w.Lacks(f.now, 0)
		f.pass(time.Minute)
		sum := 0.0
		for range 8 {
			litres, _ := f.pulse(share)
			sum += litres
		}
		trip, held := f.trip(0, CauseTopUpHeld)
		if !held || !trip.Latched || trip.Scope != ScopePump || !strings.Contains(trip.Detail, "the level rose by") {
			t.Fatalf("%s: %+v after %.0f L", name, trip, sum)
		}
		if sum > 2*10+1 {
			t.Errorf("%s: %.0f L were let in before it ended; two pulses are 20 L", name, sum)
		}
		if free := f.free(0); !free[calciumPump] {
			t.Errorf("%s: a valve stops doses", name)
		}
		f.w.Clear(f.now, 0)
		if _, held := f.trip(0, CauseTopUpHeld); held {
			t.Errorf("%s: a person cannot clear it", name)
		}
	}
}

func TestAFloodThatKeepsItsWaterHoldsTheValveUntilItIsHome(t *testing.T) {
	f := newFarm(t, withValve)
	flood := func(home float64) {
		f.set(0, dosing.QuantityFlood, 1)
		f.set(0, dosing.QuantityLevel, 700)
		f.pass(5 * time.Minute)
		f.set(0, dosing.QuantityLevel, home)
		f.pass(time.Minute)
		f.set(0, dosing.QuantityFlood, 0)
		f.pass(10 * time.Minute)
	}
	flood(960) // plants and substrate keep some
	if trip, held := f.trip(0, CauseTopUpHeld); held {
		t.Fatalf("a flood that came home: %s", trip.Detail)
	}
	f.set(0, dosing.QuantityLevel, 1000)
	f.pass(5 * time.Minute)
	flood(760)
	flood(760) // the next one is short of nothing that the first did not keep
	if trip, held := f.trip(0, CauseTopUpHeld); !held || trip.Latched {
		t.Fatalf("240 of 300 L are on a bench: held %v, %+v", held, trip)
	}
	if most, cause := f.mostWater(); most != 0 || cause != CauseTopUpHeld {
		t.Errorf("%s may come in (%s)", most, cause)
	}
	f.set(0, dosing.QuantityLevel, 990)
	f.pass(5 * time.Minute)
	if trip, held := f.trip(0, CauseTopUpHeld); held {
		t.Errorf("the water is home: %s", trip.Detail)
	}
}

func TestALostBenchOfWaterIsLeftBehindByAService(t *testing.T) {
	f := newFarm(t, withValve)
	f.set(0, dosing.QuantityFlood, 1)
	f.set(0, dosing.QuantityLevel, 700)
	f.pass(5 * time.Minute)
	f.set(0, dosing.QuantityFlood, 0)
	f.pass(10 * time.Minute)
	if _, held := f.trip(0, CauseTopUpHeld); !held {
		t.Fatal("300 L went and none came home")
	}
	f.w.Serviced(f.now, 0)
	f.pass(5 * time.Second)
	if _, held := f.trip(0, CauseTopUpHeld); held {
		t.Errorf("a person who has looked cannot go on: %+v", f.w.tanks[0].water.bench)
	}
}

func TestAGaugeThatNeverFallsIsStuck(t *testing.T) {
	f := newFarm(t, withValve)
	f.pass(gaugeRests - 10*time.Minute)
	if why := f.w.StuckLevel(0); why != "" {
		t.Fatalf("already: %s", why)
	}
	f.pass(20 * time.Minute)
	if why := f.w.StuckLevel(0); !strings.Contains(why, "1000 L for 12") {
		t.Errorf("it stood at 1000 L for 12 h: %q", why)
	}
	if why := f.w.StuckLevel(1); why != "" {
		t.Errorf("no valve of ours goes by the other's: %s", why)
	}
	f.set(0, dosing.QuantityLevel, 960)
	f.pass(10 * time.Second)
	if why := f.w.StuckLevel(0); why != "" {
		t.Errorf("it moves again: %s", why)
	}
}

func TestAGaugeThatSeesNoFloodIsStuck(t *testing.T) {
	f := newFarm(t, withValve)
	for i := range 2 {
		if why := f.w.StuckLevel(0); why != "" {
			t.Fatalf("after %d floods: %s", i, why)
		}
		f.set(0, dosing.QuantityFlood, 1)
		f.pass(5 * time.Minute)
		f.set(0, dosing.QuantityFlood, 0)
		f.pass(10 * time.Minute)
	}
	if why := f.w.StuckLevel(0); !strings.Contains(why, "2 floods") {
		t.Errorf("two floods did not move it: %q", why)
	}
	f.set(0, dosing.QuantityLevel, 1000)
	if most, cause := f.mostWater(); most != 0 || cause != CauseLevelStuck {
		t.Errorf("%s may come in by a gauge that is stuck (%s)", most, cause)
	}
}

func TestCapsOfTheHourAndTheDayBoundTopUp(t *testing.T) {
	f := newFarm(t, withValve)
	f.drift(0, dosing.QuantityLevel, 800)
	f.pass(time.Minute)
	f.gave(0, valvePump, 56*dosing.Litre)
	if most, cause := f.mostWater(); most != 4*dosing.Litre || cause != CauseHourlyCap {
		t.Errorf("56 of 60 L in the hour: %s (%s)", most, cause)
	}
	f.gave(0, valvePump, 141*dosing.Litre)
	f.pass(61 * time.Minute)
	if most, cause := f.mostWater(); most != 3*dosing.Litre || cause != CauseDailyCap {
		t.Errorf("197 of 200 L in the day: %s (%s)", most, cause)
	}
}

func TestAValveWithoutRoomOrOfTwoTanksIsRefused(t *testing.T) {
	for name, change := range map[string]func(*Settings){
		"no levels":               func(s *Settings) { s.Tanks[0].TopUpBand = TopUpBand{} },
		"low above high":          func(s *Settings) { s.Tanks[0].TopUpBand.Low = 1001 },
		"high above the maximum":  func(s *Settings) { s.Tanks[0].TopUpBand.High = 1101 },
		"runs over at once":       func(s *Settings) { s.Tanks[0].TopUpBand.Overflow = 1005 },
		"no overflow":             func(s *Settings) { s.Tanks[0].TopUpBand.Overflow = 0 },
		"two tanks":               func(s *Settings) { s.Pumps[valvePump].Serves = 0; s.Tanks[1].TopUpBand = s.Tanks[0].TopUpBand },
		"strength with the order": func(s *Settings) { s.Pumps[valvePump].AcidPerML = -0.002 },
	} {
		f := newFarm(t, withValve, change)
		f.drift(0, dosing.QuantityLevel, 960)
		f.pass(time.Minute)
		if most, cause := f.mostWater(); most != 0 || cause != CauseConfigurationUnsafe {
			t.Errorf("%s: %s may come in (%s)", name, most, cause)
		}
	}
}
