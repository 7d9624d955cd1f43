package controller_test

import (
	"math"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// dosingStage is a stage whose tanks have been dosed for some minutes.
func dosingStage(t *testing.T) *stage {
	t.Helper()
	s := newStage(t, &scenario{})
	s.Arm()
	s.pass(12 * time.Minute)
	if len(s.orders) == 0 {
		t.Fatal("nothing was dosed")
	}
	return s
}

// nextOrder passes time until another order goes out, and returns it while its dose
// is under way.
func (s *stage) nextOrder() ordered {
	s.t.Helper()
	n := len(s.orders)
	if !s.until(10*time.Minute, func() bool { return len(s.orders) > n }) {
		s.t.Fatalf("no order: %s", s.holds(north))
	}
	return s.orders[n]
}

// outcomes counts the notices of an outcome since a moment.
func (s *stage) outcomes(o ledger.Outcome, since time.Duration) int {
	n := 0
	for _, notice := range s.notices {
		if notice.Kind == controller.NoticeDose && notice.Outcome == o && !notice.Active && notice.at.Up >= since {
			n++
		}
	}
	return n
}

func TestNoDoseIsWithdrawnInANightWithoutFaults(t *testing.T) {
	s := dosingStage(t)
	s.pass(50 * time.Minute)
	if n, all := s.outcomes(ledger.OutcomeWithdrawn, 0), len(s.orders); n > all/100 {
		t.Errorf("%d doses were withdrawn beside %d ordered", n, all)
	}
}

func TestOrderThatNeverLeftIsWithdrawn(t *testing.T) {
	s := dosingStage(t)
	var id ledger.OrderID
	s.Seen = func(_ dosing.Instant, _ *controller.Event, out *controller.Output) {
		for _, o := range out.Orders {
			id = o.ID()
		}
	}
	if !s.until(5*time.Minute, func() bool { return id != ledger.OrderID{} }) {
		t.Fatal("no order")
	}
	ever := s.ever()
	pump := s.openPump()
	s.Step(controller.Event{Kind: controller.EventWithdrawn, Order: ledger.OrderID{Epoch: id.Epoch, Number: id.Number + 1}})
	if s.ever() != ever {
		t.Error("another order's withdrawal changed what counts")
	}
	s.Step(controller.Event{Kind: controller.EventWithdrawn, Order: id})
	if v := s.Core.View(s.Now()).Pumps[pump]; v.OpenOrder != "" || v.Doses[ledger.OutcomeWithdrawn] != 1 {
		t.Errorf("pump %+v", v)
	}
	if s.ever() >= ever {
		t.Error("a withdrawn dose counts")
	}
}

// ever is all that counts, over all pumps.
func (s *stage) ever() (sum dosing.Volume) {
	for _, p := range s.Core.View(s.Now()).Pumps {
		sum += p.Ever
	}
	return sum
}

func (s *stage) openPump() int {
	for i, p := range s.Core.View(s.Now()).Pumps {
		if p.OpenOrder != "" {
			return i
		}
	}
	s.t.Fatal("no dose is open")
	return -1
}

func TestReportOfAnotherOrderChangesNothing(t *testing.T) {
	s := dosingStage(t)
	s.nextOrder()
	pump, before := s.openPump(), s.ever()
	s.Step(controller.Event{Kind: controller.EventReport, Report: &controller.Report{Order: ledger.OrderID{Epoch: s.Core.Epoch(), Number: 1},
		Pump: dosing.PumpID(pump), Phase: controller.PhaseDone, Volume: 1}})
	if s.openPump() != pump || s.ever() != before {
		t.Error("the open dose was settled by another order's report")
	}
}

func TestHeartbeatSettlesADoseWhoseReportWasLost(t *testing.T) {
	s := dosingStage(t)
	for i := range s.file.Settings.Safety.Pumps {
		s.taps[s.file.Topics.Report(s.file.Settings.Safety.Pumps[i].Name)] = nothing
	}
	o := s.nextOrder()
	confirmed := func() bool { return s.outcomes(ledger.OutcomeConfirmed, o.at.Up) > 0 }
	if !s.until(30*time.Second, confirmed) {
		t.Error("the heartbeat's last order did not settle it")
	}
	if s.outcomes(ledger.OutcomeUncertain, 0) != 0 {
		t.Error("a dose of which the node told is uncertain")
	}
}

func TestNodeThatRestartsInADoseLeavesItUncertainAndCountedInFull(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	for s.file.Settings.Safety.PumpNode[o.pump] != 1 || o.ml < 60 {
		o = s.nextOrder()
	}
	s.pass(time.Second)
	s.farm.Reboot(1)
	if !s.until(15*time.Second, func() bool { _, ok := s.hold(o.tank, safety.CauseDoseUncertain); return ok }) {
		t.Fatalf("not uncertain: %s", s.holds(o.tank))
	}
	n := len(s.orders)
	mixing := s.file.Settings.Safety.Tanks[o.tank].MixingTime()
	s.pass(mixing - time.Minute)
	for _, later := range s.orders[n:] {
		if later.tank == o.tank {
			t.Errorf("%+v went out %s after the doubt", later, later.at.Since(o.at))
		}
	}
	s.pass(2 * time.Minute)
	v := s.Core.View(s.Now()).Pumps[o.pump]
	if v.Doses[ledger.OutcomeUncertain] != 1 || v.Volume[ledger.OutcomeUncertain].Millilitres() != o.ml {
		t.Errorf("uncertain: %d doses of %s, want one of %.3f mL in full", v.Doses[ledger.OutcomeUncertain], v.Volume[ledger.OutcomeUncertain], o.ml)
	}
	if delivered := s.farm.Truth(o.tank).Delivered[o.pump]; v.Ever < delivered {
		t.Errorf("counted %s, delivered %s", v.Ever, delivered)
	}
}

// Nobody asks for it: what the farm reports stops a pump that runs already.
func TestAnInterlockThatTripsStopsTheDoseThatRuns(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	for o.tank != north || o.ml < 60 {
		o = s.nextOrder()
	}
	s.pass(time.Second)
	s.tap(north, dosing.QuantityLeak, func([]byte) []byte { return []byte("1") })
	if !s.until(15*time.Second, func() bool { _, held := s.hold(north, safety.CauseLeak); return held }) {
		t.Fatalf("the leak is not seen: %s", s.holds(north))
	}
	s.pass(3 * time.Second)
	if pump, running := s.farm.Running(); running {
		t.Errorf("pump %d runs on", pump)
	}
}

func TestStopEndsTheDoseThatRuns(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	for o.tank != north || o.ml < 60 {
		o = s.nextOrder()
	}
	before := s.Core.View(s.Now()).Pumps[o.pump].Ever - dosing.FromMillilitres(o.ml) // the open dose counts in full
	s.pass(time.Second)
	s.must(controller.RequestStop, "")
	s.pass(6 * time.Second) // the node's word, and two heartbeats that agree with it
	if pump, running := s.farm.Running(); running {
		t.Errorf("pump %d runs on", pump)
	}
	v := s.Core.View(s.Now()).Pumps[o.pump]
	if v.OpenOrder != "" || v.Doses[ledger.OutcomeUncertain] != 0 {
		t.Errorf("the stopped dose is not settled by the node's word: %+v", v)
	}
	if left := dosing.FromMillilitres(o.ml) / 4; v.Ever+left > before+dosing.FromMillilitres(o.ml) {
		t.Errorf("%s count of a dose of %.1f mL that was stopped after a second", v.Ever-before, o.ml)
	}
}

func TestCrashInADoseCountsItInFull(t *testing.T) {
	s := dosingStage(t)
	o := s.nextOrder()
	before := s.Core.View(s.Now()).Pumps[o.pump]
	s.restart(20 * time.Second)
	v := s.Core.View(s.Now()).Pumps[o.pump]
	if v.Ever != before.Ever || v.Hour != before.Hour || v.Doses[ledger.OutcomeUncertain] != 1 || v.OpenOrder != "" {
		t.Errorf("after the crash %+v, before %+v", v, before)
	}
	orders := len(s.orders)
	s.must(controller.RequestArm, "")
	s.Arm()
	s.pass(s.file.Settings.Safety.StartSettling - time.Second)
	if len(s.orders) != orders {
		t.Error("dosed before one mixing time was over")
	}
	if delivered := s.farm.Delivered(o.pump); s.Core.View(s.Now()).Pumps[o.pump].Ever < delivered {
		t.Errorf("counted %s, delivered %s", v.Ever, delivered)
	}
	s.pass(10 * time.Minute)
	if len(s.orders) == orders {
		t.Error("dosing did not resume")
	}
}

func TestInterruptedBlendIsFinishedFirst(t *testing.T) {
	s := newStage(t, &scenario{})
	s.Arm()
	reasons := map[string]int{}
	if !s.until(30*time.Minute, func() bool {
		n := 0
		for _, o := range s.orders {
			if o.tank == north && o.pump >= calcium {
				n++
			}
		}
		return n == 3
	}) {
		t.Fatal("no blend was begun")
	}
	s.restart(20 * time.Second)
	s.notices = nil
	s.Arm()
	if !s.until(40*time.Minute, func() bool {
		for _, n := range s.notices {
			if n.Kind == controller.NoticeDose && n.Tank == north && n.Pump >= calcium && n.Active && n.Order.Epoch == s.Core.Epoch() {
				reasons[n.Text]++
				return true
			}
		}
		return false
	}) {
		t.Fatal("no stock was dosed after the restart")
	}
	if reasons[dosing.ReasonBlendOwed.String()] != 1 {
		t.Errorf("the first stock after the restart was dosed for %v, want the rest of the blend", reasons)
	}
}

func TestStopOfOnePumpOutlivesARestartAndLeavesTheOthersAlone(t *testing.T) {
	s := dosingStage(t)
	s.inject("acid-empty", 0)
	if !s.until(8*time.Hour, func() bool { _, ok := s.hold(north, safety.CauseNoResponse); return ok }) {
		t.Fatalf("no response was not found: %s", s.holds(north))
	}
	s.restart(time.Minute)
	hold, stands := s.hold(north, safety.CauseNoResponse)
	if !stands || hold.Scope != safety.ScopePump || hold.Pump != "acid-north" {
		t.Fatalf("after the restart: %+v, %s", hold, s.holds(north))
	}
	s.Arm()
	orders := len(s.orders)
	s.pass(40 * time.Minute)
	for _, o := range s.orders[orders:] {
		if o.pump == acidNorth {
			t.Errorf("acid at %s", o.at.Up)
		}
	}
	if len(s.orders) == orders {
		t.Error("nothing else was dosed either")
	}
}

func TestWhatWasLearnedOutlivesARestartButNotOtherWater(t *testing.T) {
	s := dosingStage(t)
	s.pass(3 * time.Hour)
	// It is recorded once an hour: what comes back is of some moment of the last one.
	learned := s.view(north).Settled
	least, most := learned.ECGain, learned.ECGain
	for range 61 {
		s.pass(time.Minute)
		learned = s.view(north).Settled
		least, most = min(least, learned.ECGain), max(most, learned.ECGain)
	}
	s.restart(5 * time.Minute)
	s.pass(2 * time.Minute)
	after := s.view(north).Settled
	if math.Abs(math.Log(after.BufferScale/learned.BufferScale)) > learned.BufferScaleSpread || after.BufferScaleSpread > 0.4 {
		t.Errorf("buffer scale %.2f ± %.2f before, %.2f ± %.2f after", learned.BufferScale, learned.BufferScaleSpread, after.BufferScale, after.BufferScaleSpread)
	}
	if !(after.ECGain > least-0.01 && after.ECGain < most+0.01) || math.Abs(least-1) < 0.02 {
		t.Errorf("EC gain %.3f to %.3f in the hour before, %.3f after", least, most, after.ECGain)
	}
	confirmAndArm(s)
	s.pass(2 * time.Second)
	if v := s.view(north).Settled; v.BufferScaleSpread < 0.54 || v.ECGain != 1 {
		t.Errorf("after other water was confirmed: buffer scale %.2f ± %.2f, EC gain %.3f", v.BufferScale, v.BufferScaleSpread, v.ECGain)
	}
}

// A cleaner poured in at once looks like a probe that jumped out of its range.
func TestCleanerPouredInIsDoubtedThoughTheProbeJumps(t *testing.T) {
	s := dosingStage(t)
	s.inject("disinfectant", 0)
	if !s.until(2*time.Minute, func() bool {
		h, ok := s.hold(north, safety.CauseSolutionUnconfirmed)
		return ok && h.Action == safety.Stop
	}) {
		t.Fatalf("nobody doubts the water: %s", s.holds(north))
	}
	began := s.Now().Up
	s.pass(3 * time.Hour)
	if s.dosed(north, began, allPumps...) {
		t.Error("dosed into a cleaner")
	}
}

// A slow disk takes its time out of the window in which a node may begin: an order that
// is recorded late must begin all the sooner, and one recorded too late never leaves,
// however well everything else is.
func TestAnOrderIsNeverSentAfterItsStartWindowNorWithALongerOne(t *testing.T) {
	type window struct {
		expires time.Time
		offset  time.Duration // of the node's tick, had the window begun with the decision
	}
	var decided dosing.Instant
	var sent []window
	s := newStage(t, &scenario{})
	seen := s.Seen
	s.Seen = func(now dosing.Instant, event *controller.Event, out *controller.Output) {
		seen(now, event, out)
		for _, draft := range out.Append {
			if intent, ok := draft.(ledger.Intent); ok {
				decided = intent.At()
			}
		}
		for _, o := range out.Orders {
			sent = append(sent, window{o.Expires(), o.BeforeTick() - decided.Up})
		}
	}
	s.Arm()
	open := func() bool {
		for _, p := range s.Core.View(s.Now()).Pumps {
			if p.OpenOrder != "" {
				return true
			}
		}
		return false
	}
	var prompt window
	for _, delay := range []time.Duration{0, 4 * time.Second, 9 * time.Second, 10 * time.Second, 11 * time.Second} {
		if !s.until(20*time.Minute, func() bool { return !open() }) {
			t.Fatal("a dose stays open")
		}
		s.SlowDisk = true
		if !s.until(20*time.Minute, open) {
			t.Fatalf("no intent: %s", s.holds(north))
		}
		before, withdrawn := len(sent), s.outcomes(ledger.OutcomeWithdrawn, 0)
		s.pass(delay)
		s.SlowDisk = false
		s.Sync()
		if delay >= 10*time.Second {
			if len(sent) > before || s.outcomes(ledger.OutcomeWithdrawn, 0) != withdrawn+1 {
				t.Errorf("recorded after %v: %d orders sent, %d doses withdrawn", delay, len(sent)-before, s.outcomes(ledger.OutcomeWithdrawn, 0)-withdrawn)
			}
			continue
		}
		if len(sent) != before+1 {
			t.Fatalf("recorded after %v: %d orders sent", delay, len(sent)-before)
		}
		w := sent[before]
		if prompt == (window{}) {
			prompt = w
		}
		if late := w.expires.Sub(decided.Wall); late != 10*time.Second {
			t.Errorf("recorded after %v: it expires %v after the decision", delay, late)
		}
		if late := (w.offset - prompt.offset).Abs(); late > 100*time.Millisecond {
			t.Errorf("recorded after %v: the node may begin %v later than after a prompt record", delay, w.offset-prompt.offset)
		}
	}
}
