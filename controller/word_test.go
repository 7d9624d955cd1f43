package controller_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// counted compares what counts with what left the containers, pump by pump.
func (s *stage) covers() {
	s.t.Helper()
	for i, p := range s.Core.View(s.Now()).Pumps {
		if given := s.farm.Delivered(dosing.PumpID(i)); p.Ever+given/20+10 < given {
			s.t.Errorf("%s: %s given, %s counted", p.Name, given, p.Ever)
		}
	}
}

// ordersOf counts the orders of a pump since the n-th.
func (s *stage) ordersOf(pump dosing.PumpID, n int) (count int) {
	for _, o := range s.orders[n:] {
		if o.pump == pump {
			count++
		}
	}
	return count
}

func TestLyingNodeTakesNothingOutOfTheLedgerAndItsPumpIsHeld(t *testing.T) {
	for _, fault := range []string{"report-thousandth", "report-nothing", "report-fivefold", "report-forged-stop", "report-forged-second"} {
		t.Run(fault, func(t *testing.T) {
			s := dosingStage(t)
			n := len(s.orders)
			s.inject(fault, 0)
			if !s.until(10*time.Minute, func() bool { _, ok := s.hold(north, safety.CauseReportContradicts); return ok }) {
				t.Fatalf("nobody is told; %d orders; %s", len(s.orders)-n, s.holds(north))
			}
			s.pass(20 * time.Minute)
			s.covers()
			for i := range s.file.Settings.Safety.Pumps {
				pump := dosing.PumpID(i)
				node := s.file.Settings.Safety.Nodes[s.file.Settings.Safety.PumpNode[i]].Name
				most := 1
				if fault == "report-forged-second" {
					most = 2 // that lie comes ten seconds after the dose, when the next may be under way
				}
				if count := s.ordersOf(pump, n); count > most && node == "reagents" {
					t.Errorf("pump %d was ordered %d times though its node lies", i, count)
				}
			}
			hold, _ := s.hold(north, safety.CauseReportContradicts)
			if hold.Action != safety.Stop || hold.Scope != safety.ScopePump || !strings.Contains(hold.Text, "order ") {
				t.Errorf("hold %+v", hold)
			}
		})
	}
}

// A stop cuts a dose short, and the node says that it gave nothing in no time, though it said
// before that it had begun.
func TestAStoppedDoseThatHadBegunIsNotBelievedToHaveGivenNothing(t *testing.T) {
	s := dosingStage(t)
	order := s.nextOrder()
	s.inject("report-nothing", 0, order.pump)
	s.pass(700 * time.Millisecond)
	s.inject("stop-pressed", 0)
	s.pass(time.Minute)
	s.covers()
	if hold, contradicts := s.hold(north, safety.CauseReportContradicts); !contradicts || !strings.Contains(hold.Text, "but began the order") {
		t.Errorf("nobody is told: %s", s.holds(north))
	}
}

func TestNodeThatReportsTwiceOrLateIsBelieved(t *testing.T) {
	for _, fault := range []string{"reports-twice", "reports-late"} {
		t.Run(fault, func(t *testing.T) {
			s := dosingStage(t)
			n := len(s.orders)
			s.inject(fault, 0)
			s.pass(20 * time.Minute)
			if _, held := s.hold(north, safety.CauseReportContradicts); held || len(s.orders) == n {
				t.Errorf("held %v, %d orders: %s", held, len(s.orders)-n, s.holds(north))
			}
			s.covers()
		})
	}
}

// hear gives the daemon a report in the name of a node.
func (s *stage) hear(r controller.Report) {
	s.Step(controller.Event{Kind: controller.EventReport, Report: &r})
}

// lastOrder is the id of the newest order.
func (s *stage) lastOrder() (id ledger.OrderID) {
	for _, n := range s.notices {
		if n.Kind == controller.NoticeDose {
			id = n.Order
		}
	}
	return id
}

// settled passes time until no dose is open.
func (s *stage) settled() {
	s.t.Helper()
	if !s.until(2*time.Minute, func() bool {
		for _, p := range s.Core.View(s.Now()).Pumps {
			if p.OpenOrder != "" {
				return false
			}
		}
		return true
	}) {
		s.t.Fatal("the dose stays open")
	}
}

func TestOverDeliveryCountsAsReported(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	before := s.Core.View(s.Now()).Pumps[o.pump].Ever - dosing.FromMillilitres(o.ml)
	topic := s.file.Topics.Report(s.file.Settings.Safety.Pumps[o.pump].Name)
	s.taps[topic] = nothing
	run := dosing.FromMillilitres(o.ml).RunTime(s.file.Settings.Safety.Pumps[o.pump].PerSecond)
	s.pass(run.Truncate(time.Second))
	s.hear(controller.Report{Order: s.lastOrder(), Pump: o.pump, Phase: controller.PhaseDone, Volume: dosing.Litre, Run: run})
	s.settled()
	if got := s.Core.View(s.Now()).Pumps[o.pump].Ever - before; got != dosing.Litre {
		t.Errorf("%s count of a litre reported", got)
	}
	if s.Core.View(s.Now()).Ledger != safety.LedgerReady {
		t.Error("the ledger failed over it")
	}
}

// What is settled counts for good: a later word may add to it, in the living daemon
// and in the next one alike.
func TestLaterWordRaisesWhatCountsAndNeverLowersIt(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	id := s.lastOrder()
	s.settled()
	before := s.Core.View(s.Now()).Pumps[o.pump]
	s.hear(controller.Report{Order: id, Pump: o.pump, Phase: controller.PhaseStopped})
	if after := s.Core.View(s.Now()).Pumps[o.pump]; after.Ever != before.Ever || after.Day != before.Day {
		t.Errorf("a second report lowered the count from %s to %s", before.Ever, after.Ever)
	}
	s.hear(controller.Report{Order: id, Pump: o.pump, Phase: controller.PhaseDone, Volume: 3 * dosing.FromMillilitres(o.ml), Run: time.Minute})
	more := 2 * dosing.FromMillilitres(o.ml)
	after := s.Core.View(s.Now()).Pumps[o.pump]
	if after.Ever < before.Ever+more-10 || after.Day < before.Day+more-10 {
		t.Errorf("%s count after three times as much was reported, %s before", after.Ever, before.Ever)
	}
	s.pass(time.Second)
	s.restart(20 * time.Second)
	again := s.Core.View(s.Now()).Pumps[o.pump]
	if again.Ever != after.Ever || again.Day != after.Day || again.Doses != after.Doses || again.Volume != after.Volume {
		t.Errorf("replayed %+v, lived %+v", again, after)
	}
	if _, held := s.hold(o.tank, safety.CauseReportContradicts); !held {
		t.Errorf("the restart forgot the contradiction: %s", s.holds(o.tank))
	}
	s.hear(controller.Report{Order: id, Pump: o.pump, Phase: controller.PhaseDone, Volume: 100 * after.Ever, Run: time.Minute})
	if last := s.Core.View(s.Now()).Pumps[o.pump]; last.Ever <= again.Ever {
		t.Error("after a restart a later word no longer raises the count")
	}
}

func TestOrderThatTheNodeRefusesForGoodIsNotSentAgain(t *testing.T) {
	s := newStage(t, &scenario{recipe: true})
	s.inject("node-limit-lowered", 0, acidNorth)
	s.Arm()
	if !s.until(20*time.Minute, func() bool { _, ok := s.hold(north, safety.CauseNodeRefuses); return ok }) {
		t.Fatalf("not named: %s", s.holds(north))
	}
	hold, _ := s.hold(north, safety.CauseNodeRefuses)
	if !strings.Contains(hold.Text, controller.RefusedTooLong) || hold.Pump != "acid-north" {
		t.Errorf("%+v does not repeat the node's words", hold)
	}
	s.pass(20 * time.Minute)
	if n := s.ordersOf(acidNorth, 0); n != 1 {
		t.Errorf("ordered %d times", n)
	}
	if _, held := s.hold(north, safety.CauseDoseUncertain); held || s.view(north).Mode == safety.ModeStopped {
		t.Errorf("a refused order stops more than its pump: %s", s.holds(north))
	}
	if len(s.orders) < 2 {
		t.Error("nothing else is dosed")
	}
	s.farm.LimitRun(acidNorth, time.Minute)
	s.reconfigure(func(*controller.Settings) {})
	if _, held := s.hold(north, safety.CauseNodeRefuses); held {
		t.Error("another configuration does not end it")
	}
	s.restart(20 * time.Second)
	if _, held := s.hold(north, safety.CauseNodeRefuses); held {
		t.Error("it is back after a restart")
	}
}

// A forged litre fills caps and stops its pump; it must not look as if a pump ran
// away, nor have the other reagent poured in after it.
func TestForgedOverDeliveryDosesNothing(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	for o.pump != acidNorth {
		o = s.nextOrder()
	}
	id := s.lastOrder()
	s.settled()
	n := len(s.orders)
	s.hear(controller.Report{Order: id, Pump: o.pump, Phase: controller.PhaseDone, Volume: dosing.Litre, Run: time.Second})
	s.pass(time.Hour)
	for _, later := range s.orders[n:] {
		if pH := s.farm.Truth(north).PH; later.pump == baseNorth && pH > 5.8 {
			t.Fatalf("%.2f mL of base into water of pH %.2f", later.ml, pH)
		}
	}
	if _, adrift := s.hold(north, safety.CauseUnexplainedChange); adrift {
		t.Errorf("a report looks like a pump that runs: %s", s.holds(north))
	}
	if _, held := s.hold(north, safety.CauseReportContradicts); !held {
		t.Errorf("nobody is told: %s", s.holds(north))
	}
}

func TestALaterWordOfLessCountsNothingAway(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	s.settled()
	before := s.Core.View(s.Now()).Pumps[o.pump]
	run := dosing.FromMillilitres(o.ml).RunTime(s.file.Settings.Safety.Pumps[o.pump].PerSecond)
	s.hear(controller.Report{Order: s.lastOrder(), Pump: o.pump, Phase: controller.PhaseDone, Volume: dosing.FromMillilitres(o.ml) / 2, Run: run / 2})
	after := s.Core.View(s.Now()).Pumps[o.pump]
	if after.Volume != before.Volume || after.Doses != before.Doses || after.Ever != before.Ever {
		t.Errorf("before %+v, %+v, %s; after %+v, %+v, %s", before.Doses, before.Volume, before.Ever, after.Doses, after.Volume, after.Ever)
	}
}
