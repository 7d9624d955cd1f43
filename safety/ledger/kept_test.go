package ledger

import (
	"testing"
	"time"
)

func TestAnOrderIDIsReadWholeOrRefused(t *testing.T) {
	if id, err := ParseOrderID("7-000123"); err != nil || id != (OrderID{Epoch: 7, Number: 123}) {
		t.Errorf("%v, %v", id, err)
	}
	for _, bad := range []string{"", "7", "7-", "-5", "0-5", "7-0", "x-5", "7-x", "7-5-1", "4294967296-1", "1-4294967296"} {
		if id, err := ParseOrderID(bad); err == nil {
			t.Errorf("%q is read as %v", bad, id)
		}
	}
}

// Entries by hand are taken back one by one, each in its own tank.
func TestAVoidTakesBackTheEntryOfThatNameInThatTankAlone(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	for _, c := range []Change{{Text: "H1-1"}, {Text: "H1-2"}, {Text: "H1-1", Tank: "south"}, {}} {
		c.Kind, c.Pump, c.Volume = ChangeHandDose, "acid", 2*mL
		d.change(time.Minute, c)
	}
	d.dose(2*time.Minute, "acid", 3*mL)
	d.change(5*time.Minute, Change{Kind: ChangeHandVoid, Text: "H1-1", Note: "a slip"})
	d.change(6*time.Minute, Change{Kind: ChangeHandVoid, Note: "of no entry"})
	for _, dose := range d.replay(evening.Add(time.Hour), 0, true).Doses {
		if want := dose.ByHand && dose.Tank == "north" && dose.Entry.Text == "H1-1"; dose.Voided != want {
			t.Errorf("%s in %s, by hand %v: voided %v", dose.Entry.Text, dose.Tank, dose.ByHand, dose.Voided)
		}
	}
}

// What a report adds went into the water as well, and no probe has shown it.
func TestWhatIsUnseenFollowsWhatWasGiven(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.change(0, Change{Kind: ChangeUnseen, Value: 0.01})
	more := d.intend(time.Minute, "acid", 5*mL)
	record(t, d.l, Settle(more, OutcomeConfirmed, 8*mL, d.now(2*time.Minute), "gave more"))
	if u := d.replay(evening.Add(time.Hour), 0, true).Unseen["north"]; u.Since["acid"] != 8*mL {
		t.Errorf("%s of acid is unseen, want 8 mL", u.Since["acid"])
	}
}

// Only an older copy that was put back disarms a tank without a person's word; who raises the epoch has given it.
func TestATankThatWasArmedIsToldOfARestoredCopyAndNotOfARaisedEpoch(t *testing.T) {
	for kind, told := range map[ChangeKind]bool{ChangeRestored: true, ChangeEpoch: false} {
		d := newDiary(t)
		d.start(evening, false)
		d.change(time.Minute, Change{Kind: ChangeMode, Text: "armed"})
		d.change(time.Minute, Change{Kind: ChangeMode, Text: "observing", Tank: "south"})
		d.change(2*time.Minute, Change{Kind: kind, Value: 41, Until: evening.Add(time.Minute)})
		state := d.replay(evening.Add(3*time.Minute), 0, true)
		if _, north := state.Disarmed["north"]; north != told {
			t.Errorf("%s: the armed tank is told %v", kind, north)
		}
		if _, south := state.Disarmed["south"]; south {
			t.Errorf("%s: a tank that observed is told too", kind)
		}
	}
}

func TestWaterThatIsDoubtedAgainIsNoFillingThatWasConfirmed(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.change(time.Minute, Change{Kind: ChangeConfirmed, Text: "source"})
	if _, known := d.replay(evening.Add(time.Hour), 0, true).Fillings["north"]; !known {
		t.Fatal("the filling is not known")
	}
	d.change(2*time.Minute, Change{Kind: ChangeUnconfirmed, Text: "a cleaning was entered"})
	if filling, known := d.replay(evening.Add(time.Hour), 0, true).Fillings["north"]; known {
		t.Errorf("it is said to be %v still", filling)
	}
}
