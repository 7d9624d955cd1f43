package safety

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// A hold begins where the settings say, and ends a little inside, so that a value at its
// limit does not come and go with every wave.
func TestAHoldBeginsAtItsLimitAndEndsALittleInside(t *testing.T) {
	shallow := func(s *Settings) { s.Tanks[0].MinVolume = 900 }
	for name, c := range map[string]struct {
		cause    Cause
		quantity dosing.Quantity
		steps    []float64
		tripped  []bool
	}{
		"too warm":  {CauseTemperatureRange, dosing.QuantityTemperature, []float64{29.9, 30, 30.1, 29.6, 29.5, 29.9}, []bool{false, false, true, true, false, false}},
		"too cold":  {CauseTemperatureRange, dosing.QuantityTemperature, []float64{10.1, 10, 9.9, 10.4, 10.5, 10.1}, []bool{false, false, true, true, false, false}},
		"too full":  {CauseLevelHigh, dosing.QuantityLevel, []float64{1099, 1100, 1101, 1091, 1090, 1099}, []bool{false, false, true, true, false, false}},
		"too empty": {CauseLevelLow, dosing.QuantityLevel, []float64{901, 900, 899, 909, 910, 901}, []bool{false, false, true, true, false, false}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFarm(t, shallow)
			for i, value := range c.steps {
				f.set(0, c.quantity, value)
				f.pass(5 * time.Second)
				if _, tripped := f.trip(0, c.cause); tripped != c.tripped[i] {
					t.Errorf("step %d, %s reads %g: tripped %v", i, c.quantity, value, tripped)
				}
			}
		})
	}
}

func TestALevelThatStaysLowIsHeldForOneMixingTimeAfterItIsBack(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Tanks[0].MinVolume = 900 })
	f.set(0, dosing.QuantityLevel, 890)
	f.pass(40 * time.Second)
	f.set(0, dosing.QuantityLevel, 905)
	f.pass(time.Minute)
	if _, tripped := f.trip(0, CauseLevelLow); !tripped {
		t.Error("5 L above the least, after it was low, are no more than a wave")
	}
	f.set(0, dosing.QuantityLevel, 950)
	f.pass(5 * time.Second)
	f.wantFree(0, "back", noneFree)
	f.pass(299 * time.Second)
	f.wantFree(0, "one mixing time later", allFree)
}

func TestWaitsEndAtTheirTimeAndNotASecondLater(t *testing.T) {
	for name, c := range map[string]struct {
		cause Cause
		farm  func(*testing.T) *farm
		wait  time.Duration // from then
	}{
		"start": {CauseStarting, func(t *testing.T) *farm {
			f := freshFarm(t)
			f.pass(time.Second)
			return f
		}, 59 * time.Second},
		"mixing": {CauseMixingWait, func(t *testing.T) *farm {
			f := newFarm(t)
			f.w.Confirm(f.now, 0)
			return f
		}, 5 * time.Minute},
		"uncertain dose": {CauseDoseUncertain, func(t *testing.T) *farm {
			f := newFarm(t)
			key := f.open(0, acidPump, 2*dosing.Millilitre)
			f.w.Doubted(f.now, 0, acidPump)
			f.w.Closed(f.now, 0, acidPump, key, FateUnknown, 0)
			return f
		}, 5 * time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := c.farm(t)
			f.pass(c.wait - time.Second)
			if _, tripped := f.trip(0, c.cause); !tripped {
				t.Errorf("no %s a second before its end", c.cause)
			}
			f.pass(time.Second)
			if trip, tripped := f.trip(0, c.cause); tripped {
				t.Errorf("%+v when its time is over", trip)
			}
		})
	}
}

func TestWordsOfAWaitCountDown(t *testing.T) {
	f := newFarm(t)
	key := f.open(0, acidPump, 2*dosing.Millilitre)
	f.w.Doubted(f.now, 0, acidPump)
	f.w.Closed(f.now, 0, acidPump, key, FateUnknown, 0)
	f.w.Confirm(f.now, 0)
	f.pass(121 * time.Second)
	for cause, want := range map[Cause]string{CauseMixingWait: "the water was confirmed; 3 min to go", CauseDoseUncertain: "2 mL counted in full; 3 min to go"} {
		if trip, tripped := f.trip(0, cause); !tripped || trip.Detail != want {
			t.Errorf("%s reads %q, want %q", cause, trip.Detail, want)
		}
	}
	start := freshFarm(t, func(s *Settings) { s.StartSettling = 5 * time.Minute })
	start.pass(121 * time.Second)
	if trip, _ := start.trip(0, CauseStarting); trip.Detail != "dosing may begin in 3 min" {
		t.Errorf("two minutes after a start that waits for five it reads %q", trip.Detail)
	}
}

func TestAfterTheLinkIsBackTwoGoodReadingsOfPHAreWaitedFor(t *testing.T) {
	f := newFarm(t)
	f.w.Link(f.now, false)
	f.pass(20 * time.Second)
	f.w.Link(f.now, true)
	f.mute[f.input(0, dosing.QuantityPH)] = true
	f.send(f.input(0, dosing.QuantityPH), 5.8, 0, false)
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseBrokerDisconnected); !tripped || !strings.Contains(trip.Detail, "waiting for two good pH readings") {
		t.Errorf("after one reading: %v, %+v", tripped, trip)
	}
	f.send(f.input(0, dosing.QuantityPH), 5.8, 0, false)
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseBrokerDisconnected); tripped {
		t.Errorf("after two readings: %+v", trip)
	}
}

func TestAProbeThatStaysAwayAfterTheLinkIsBackHasACauseOfItsOwnAfterAMinute(t *testing.T) {
	f := newFarm(t)
	f.w.Link(f.now, false)
	f.pass(20 * time.Second)
	f.silence(0, dosing.QuantityPH, true)
	f.w.Link(f.now, true)
	f.pass(60 * time.Second)
	if _, tripped := f.trip(0, CauseBrokerDisconnected); !tripped {
		t.Error("its readings may take a minute")
	}
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseBrokerDisconnected); tripped {
		t.Errorf("more than a minute after the link came back: %+v", trip)
	}
	if _, tripped := f.trip(0, CausePHStale); !tripped {
		t.Error("the silent probe is not named")
	}
}

func TestAFarmThatIsSilentIsNamedByTheTimeAndNotWhileTheLinkIsDown(t *testing.T) {
	f := newFarm(t)
	everything(true)(f)
	f.pass(5 * time.Minute)
	if trip, tripped := f.trip(0, CauseFarmSilent); !tripped || trip.Detail != "for 5 min" {
		t.Errorf("%v, %+v", tripped, trip)
	}
	f.w.Link(f.now, false)
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseFarmSilent); tripped {
		t.Errorf("the link is down: %+v", trip)
	}
	f.w.Link(f.now, true)
	f.pass(5 * time.Second)
	if trip, tripped := f.trip(0, CauseFarmSilent); tripped {
		t.Errorf("the link has just come back: %+v", trip)
	}
}

func TestNodesAreJudgedByTheSecondsThatTheirContractNames(t *testing.T) {
	f := newFarm(t)
	f.pass(time.Second)
	f.node[0].silent = true
	f.pass(time.Second) // the heartbeat is two seconds old at most
	last := f.w.nodes[0].at
	f.pass(last + 10*time.Second - f.now.Up)
	if _, tripped := f.trip(0, CauseNodeOffline); tripped {
		t.Error("silent after ten seconds; five heartbeats may be late")
	}
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseNodeOffline); !tripped || trip.Detail != "last heard 11 s ago" {
		t.Errorf("after eleven: %v %+v", tripped, trip)
	}
	f.pass(5 * time.Minute)
	if trip, _ := f.trip(0, CauseNodeOffline); trip.Detail != "last heard 5 min ago" {
		t.Errorf("minutes later it reads %q", trip.Detail)
	}
}

func TestFourStartsOfANodeInTenMinutesAreALoopAndInElevenAreNot(t *testing.T) {
	for gap, loop := range map[time.Duration]bool{200 * time.Second: true, 220 * time.Second: false} {
		f := newFarm(t)
		for _, boot := range []string{"2", "3", "4", "5"} {
			f.node[0].boot, f.node[0].tick = boot, 0
			f.pass(gap)
		}
		if trip, tripped := f.trip(0, CauseNodeRebooted); tripped != loop || loop && (!trip.Latched || trip.Detail != "more than three starts in 10 min") {
			t.Errorf("a start every %s: %v %+v", gap, tripped, trip)
		}
	}
}

func TestANodeThatIsBusyAfterItsDoseIsExcusedForFiveSeconds(t *testing.T) {
	f := newFarm(t)
	key := f.open(0, calciumPump, 5*dosing.Millilitre)
	f.node[1].busy = true
	f.pass(5 * time.Second)
	if trip, tripped := f.trip(0, CauseNodeBusy); tripped {
		t.Errorf("during its dose: %+v", trip)
	}
	f.w.Closed(f.now, 0, calciumPump, key, FateKnown, 5*dosing.Millilitre)
	f.pass(4 * time.Second)
	if trip, tripped := f.trip(0, CauseNodeBusy); tripped {
		t.Errorf("its next heartbeat may be late: %+v", trip)
	}
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseNodeBusy); !tripped || trip.Detail != "busy without a dose of ours" {
		t.Errorf("after that: %v %+v", tripped, trip)
	}
}

func TestAContainerIsEmptyBeforeThePumpDrawsAirAndFullAgainOnlyWithHalfAsMuchMore(t *testing.T) {
	for name, c := range map[string]struct {
		container, smallest dosing.Volume
		least               float64 // L
	}{
		"a fiftieth of the container": {100 * dosing.Litre, 5 * dosing.Millilitre, 2},
		"ten smallest doses":          {100 * dosing.Millilitre, 20 * dosing.Millilitre, 0.2},
	} {
		f := newFarm(t, func(s *Settings) {
			s.Pumps[calciumPump].Container, s.Pumps[calciumPump].MinDose = c.container, c.smallest
		})
		for _, step := range []struct {
			left  float64
			empty bool
		}{{c.least, false}, {0.99 * c.least, true}, {1.49 * c.least, true}, {1.5 * c.least, false}, {c.least, false}} {
			f.set(0, dosing.QuantityStockLevel, step.left)
			f.pass(5 * time.Second)
			if _, tripped := f.trip(0, CauseContainerEmpty); tripped != step.empty {
				t.Errorf("%s, %.3f L left: empty %v", name, step.left, tripped)
			}
		}
	}
}

func TestASensorOfAContainerThatAnswersAgainNeedsNoMoreThanTheLeast(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityStockLevel, 2.5)
	f.pass(5 * time.Second)
	f.silence(0, dosing.QuantityStockLevel, true)
	f.pass(25 * time.Second)
	f.silence(0, dosing.QuantityStockLevel, false)
	f.pass(5 * time.Second)
	if trip, tripped := f.trip(0, CauseContainerEmpty); tripped {
		t.Errorf("2.5 L of at least 2 L: %+v", trip)
	}
}

func TestFiguresOfALevelThatGoesOnFallingOrRisingAreOfNow(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Tanks[0].MinVolume = 900 })
	for _, step := range []struct {
		level float64
		cause Cause
		want  string
	}{{890, CauseLevelLow, "890 L; at least 900 L"}, {850, CauseLevelLow, "850 L; at least 900 L"}, {1105, CauseLevelHigh, "1105 L; at most 1100 L"}, {1145, CauseLevelHigh, "1145 L; at most 1100 L"}} {
		f.set(0, dosing.QuantityLevel, step.level)
		f.pass(time.Minute)
		if trip, tripped := f.trip(0, step.cause); !tripped || trip.Detail != step.want {
			t.Errorf("at %g L: %v %q, want %q", step.level, tripped, trip.Detail, step.want)
		}
	}
}

func TestWhatAReagentUsuallyDoesIsToldOnceItHasAnsweredThreeTimes(t *testing.T) {
	f := newFarm(t)
	p := &f.w.tanks[0].responses.pools[classBase]
	p.answers, p.usual = 2, math.Log(0.8)
	if u := f.w.Usual(0, dosing.RoleBase); u.Known {
		t.Errorf("after two answers: %+v", u)
	}
	p.answers = 3
	if u := f.w.Usual(0, dosing.RoleBase); !u.Known || math.Abs(u.Does-0.8) > 1e-12 {
		t.Errorf("after three: %+v", u)
	}
	for _, none := range []Usual{f.w.Usual(0, dosing.RoleAcid), f.w.Usual(1, dosing.RoleBase), f.w.Usual(2, dosing.RoleBase), f.w.Usual(9, dosing.RoleBase), f.w.Usual(0, dosing.RoleNone)} {
		if none.Known {
			t.Errorf("of what never answered: %+v", none)
		}
	}
}

func TestOneSilentNodeIsNotTheNetwork(t *testing.T) {
	f := newFarm(t)
	f.node[0].silent, f.node[1].silent = true, true
	f.pass(5 * time.Minute)
	if trip, tripped := f.trip(0, CauseFarmSilent); tripped {
		t.Errorf("readings arrive: %+v", trip)
	}
}
