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

// raiseEpoch is a person at the machine who has looked.
func (s *stage) raiseEpoch(note string) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestRaiseEpoch, Tank: north, Note: note, By: "Ada", From: "socket user 1000", Role: controller.RoleEngineer})
}

// behind waits for the lockout and checks that it says what the node said.
func (s *stage) behind(words string) {
	s.t.Helper()
	if !s.until(30*time.Second, func() bool { _, ok := s.hold(north, safety.CauseLedgerBehindNode); return ok }) {
		s.t.Fatalf("no lockout: %s", s.holds(north))
	}
	hold, _ := s.hold(nursery, safety.CauseLedgerBehindNode)
	if hold.Action != safety.Lockout || hold.Scope != safety.ScopeStation || !strings.Contains(hold.Text, words) {
		s.t.Errorf("%s for %s: %q does not say %q", hold.Action, hold.Scope, hold.Text, words)
	}
}

// lockedOut checks that neither time, arming, clearing nor a restart brings a dose.
func (s *stage) lockedOut() {
	s.t.Helper()
	n := len(s.orders)
	s.Arm()
	s.ask(controller.RequestClear, "looked")
	s.Arm()
	s.pass(12 * time.Minute)
	s.restart(20 * time.Second)
	s.Arm()
	s.pass(12 * time.Minute)
	if len(s.orders) > n {
		s.t.Errorf("%d orders though nodes know more than the ledger", len(s.orders)-n)
	}
}

func TestLostLedgerLocksTheStationOutUntilAPersonRaisesTheEpoch(t *testing.T) {
	s := dosingStage(t)
	s.restart(20 * time.Second)
	s.Arm()
	s.pass(12 * time.Minute)
	last := s.lastOrder()
	s.pass(time.Minute)
	s.store = &ledger.Memory{}
	s.restart(20 * time.Second)
	s.behind("order 2-")
	s.behind("no order at all")
	s.lockedOut()
	if a := s.Ask(controller.Request{Kind: controller.RequestRaiseEpoch, Tank: north, Note: "x", From: "page", Role: controller.RoleEngineer}); a.Accepted {
		t.Error("raised from the page")
	}
	if a := s.raiseEpoch(""); a.Accepted {
		t.Error("raised without a word on what was checked")
	}
	if a := s.raiseEpoch("disk lost; doses of today read from the log"); !a.Accepted {
		t.Fatal(a.Text)
	}
	if s.Core.Epoch() <= last.Epoch {
		t.Errorf("epoch %d, the node has %s", s.Core.Epoch(), last)
	}
	if s.view(north).Mode == safety.ModeArmed {
		t.Error("armed without a person's word")
	}
	day := s.Core.View(s.Now()).Pumps[acidNorth]
	if day.Day < s.file.Settings.Safety.Caps[acidNorth].PerDay || day.Ever != 0 {
		t.Errorf("nothing is known of the last day, and %s of %s count in it, %s ever", day.Day, day.DailyCap, day.Ever)
	}
	n := len(s.orders)
	s.Arm()
	s.restart(20 * time.Second) // the raised epoch and the spent caps are in the ledger
	if again := s.Core.View(s.Now()).Pumps[acidNorth]; again.Day != day.Day || again.Ever != 0 {
		t.Errorf("replayed %s of the day and %s ever, lived %s and %s", again.Day, again.Ever, day.Day, day.Ever)
	}
	s.Arm()
	s.pass(2 * time.Hour)
	if _, spent := s.hold(north, safety.CauseDailyCap); !spent || len(s.orders) > n {
		t.Errorf("%d orders on spent caps: %s", len(s.orders)-n, s.holds(north))
	}
}

func TestOlderCopyOfTheLedgerLocksTheStationOut(t *testing.T) {
	s := dosingStage(t)
	copied := s.store.Copy()
	s.pass(14 * time.Minute)
	given := s.Core.View(s.Now()).Pumps
	s.store = copied
	s.restart(20 * time.Second)
	s.behind("order 1-")
	for i, p := range s.Core.View(s.Now()).Pumps {
		if p.Day < given[i].Day {
			t.Errorf("%s: %s count in the day, %s were given", p.Name, p.Day, given[i].Day)
		}
	}
	s.lockedOut()
	if a := s.raiseEpoch("put back the copy of this morning"); !a.Accepted {
		t.Fatal(a.Text)
	}
	n := len(s.orders)
	s.Arm()
	if !s.until(2*time.Hour, func() bool { return len(s.orders) > n }) {
		t.Errorf("dosing never returns: %s", s.holds(north))
	}
}

// Clear does not end a stop that is still pressed, and must not send a person to clear again as if that were all.
func TestClearUnderAStopThatIsStillPressedSaysThatItStays(t *testing.T) {
	s := dosingStage(t)
	s.inject("epoch-stepped", 0)
	s.behind("seen epoch 51")
	s.inject("stop-pressed", 0)
	if !s.until(time.Minute, func() bool { stop, ok := s.hold(north, safety.CauseStopInput); return ok && stop.Action == safety.Stop }) {
		t.Fatalf("the stop is not seen: %s", s.holds(north))
	}
	a := s.ask(controller.RequestClear, "looked")
	for _, want := range []string{"cleared, but ledger-behind-node stays: ", "; stop-input stays: ", "It ends when it is released and a person clears"} {
		if !strings.Contains(a.Text, want) {
			t.Errorf("clear answers %q, without %q", a.Text, want)
		}
	}
	if strings.Contains(a.Text, "alone") {
		t.Errorf("clear answers %q", a.Text)
	}
}

func TestForgedLeaseDoesNotPoisonANode(t *testing.T) {
	s := dosingStage(t)
	s.inject("epoch-poisoned", 0)
	n := len(s.orders)
	s.pass(15 * time.Minute)
	if _, locked := s.hold(north, safety.CauseLedgerBehindNode); locked || len(s.orders) == n {
		t.Errorf("a lease of epoch 4,000,000,000 stopped the farm: %s", s.holds(north))
	}
	s.inject("epoch-stepped", 0)
	s.behind("seen epoch 51")
	s.lockedOut()
	before := s.Core.View(s.Now()).Pumps[acidNorth].Day
	if a := s.raiseEpoch("a test program had sent a lease; it is gone"); !a.Accepted {
		t.Fatal(a.Text)
	}
	n = len(s.orders)
	s.Arm()
	defer func() {
		if got := s.lastOrder(); got.Epoch != s.Core.Epoch() || got.Epoch < 52 {
			t.Errorf("order %s", got)
		}
	}()
	if !s.until(30*time.Minute, func() bool { return len(s.orders) > n }) {
		t.Errorf("dosing never returns: %s", s.holds(north))
	}
	s.settled()
	if day := s.Core.View(s.Now()).Pumps[acidNorth].Day; day > before+dosing.Litre {
		t.Errorf("the ledger lacked no dose, and %s count where %s did", day, before)
	}
}

// A copy that was put back on purpose begins an epoch above the nodes', observes, and
// counts the caps of the time that it lacks.
func TestRestoredCopyIsBelievedAfterItSaidWhatItLacks(t *testing.T) {
	s := dosingStage(t)
	copied := s.store.Copy()
	s.pass(14 * time.Minute)
	given := s.Core.View(s.Now()).Pumps
	book, err := ledger.Open(copied)
	if err != nil {
		t.Fatal(err)
	}
	until := s.Now().Wall.Add(-14 * time.Minute)
	if err := book.Append(ledger.Change{Kind: ledger.ChangeRestored, At: dosing.Instant{Wall: s.Now().Wall}, Value: 41, Until: until, By: "ada"}); err != nil {
		t.Fatal(err)
	}
	s.file.Settings.ReArm = true
	s.store = copied
	s.restart(20 * time.Second)
	if s.Core.Epoch() != 42 {
		t.Errorf("epoch %d", s.Core.Epoch())
	}
	s.pass(time.Minute)
	if _, locked := s.hold(north, safety.CauseLedgerBehindNode); locked {
		t.Errorf("locked out for what a person has answered for: %s", s.holds(north))
	}
	if mode := s.view(north).Mode; mode == safety.ModeArmed || mode == safety.ModeHolding {
		t.Error("armed without a word")
	}
	for i, p := range s.Core.View(s.Now()).Pumps {
		if most := s.file.Settings.Safety.Caps[i].PerHour / 5; p.Day < given[i].Day && p.Day < most {
			t.Errorf("%s: %s count in the day, %s were given", p.Name, p.Day, given[i].Day)
		}
	}
	day := s.Core.View(s.Now()).Pumps[acidNorth].Day
	s.restart(20 * time.Second)
	if again := s.Core.View(s.Now()).Pumps[acidNorth].Day; again != day {
		t.Errorf("replayed %s, lived %s", again, day)
	}
	n := len(s.orders)
	s.Arm()
	if !s.until(2*time.Hour, func() bool { return len(s.orders) > n }) {
		t.Errorf("dosing never returns: %s", s.holds(north))
	}
}
