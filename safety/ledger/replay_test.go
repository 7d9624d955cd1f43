package ledger

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety"
)

// diary writes a record over several runs, each with its own clocks.
type diary struct {
	t      testing.TB
	memory *Memory
	l      *Ledger
	epoch  uint32
	number uint32
	began  time.Time // what the wall clock said when the run began
}

func newDiary(t testing.TB) *diary {
	memory := &Memory{}
	return &diary{t: t, memory: memory, l: open(t, memory)}
}

// start begins a run with the wall clock at wall.
func (d *diary) start(wall time.Time, trusted bool) {
	d.epoch++
	d.number = 0
	d.began = wall
	record(d.t, d.l, Start(d.epoch, "c41d", d.now(0), trusted))
}

func (d *diary) now(up time.Duration) dosing.Instant {
	return dosing.Instant{Wall: d.began.Add(up), Up: up}
}

func (d *diary) intend(up time.Duration, pump string, volume dosing.Volume) Intent {
	d.number++
	i := dose(d.epoch, d.number, pump, volume, d.now(up))
	intend(d.t, d.l, i)
	return i
}

// dose is a dose that the node confirmed ten seconds later.
func (d *diary) dose(up time.Duration, pump string, volume dosing.Volume) {
	d.settle(d.intend(up, pump, volume), OutcomeConfirmed, up+10*time.Second)
}

func (d *diary) settle(i Intent, outcome Outcome, up time.Duration) {
	record(d.t, d.l, Settle(i, outcome, i.plan.Volume, d.now(up), "test"))
}

func (d *diary) change(up time.Duration, c Change) {
	c.At = d.now(up)
	if c.Tank == "" {
		c.Tank = "north"
	}
	record(d.t, d.l, c)
}

func (d *diary) replay(wall time.Time, up time.Duration, synchronised bool) State {
	d.t.Helper()
	state, err := Replay(d.memory, dosing.Instant{Wall: wall, Up: up}, synchronised)
	if err != nil {
		d.t.Fatal(err)
	}
	return state
}

const mL = dosing.Millilitre

func ups(state State) (ups []time.Duration) {
	for _, d := range state.Doses {
		ups = append(ups, d.Up)
	}
	return ups
}

func TestElapsedTimeAcrossARestart(t *testing.T) {
	const up = 3 * time.Second // of the new run when it replays
	for _, test := range []struct {
		name            string
		trusted, trusts bool          // clock synchronised in the old and in the new run
		passed          time.Duration // wall clock from the last row to the replay
		want            time.Duration // what the replay believes
	}{
		{"wall clock went on, synchronised", true, true, 30 * time.Minute, 30 * time.Minute},
		{"a long night, synchronised", true, true, 9 * time.Hour, 9 * time.Hour},
		{"wall clock went on, not synchronised", false, false, 30 * time.Minute, 30 * time.Minute},
		{"a long night, synchronised only now", false, true, 9 * time.Hour, time.Hour},
		{"a long night, synchronised only then", true, false, 9 * time.Hour, time.Hour},
		{"wall clock went back five hours", true, true, -5 * time.Hour, up},
		{"wall clock went back, not synchronised", false, false, -5 * time.Hour, up},
		{"wall clock of 1970 after the restart", false, false, time.Unix(0, 0).Sub(evening), up},
		{"wall clock of 1970 before, right now", false, true, 61 * 365 * 24 * time.Hour, time.Hour},
		{"same wall time", false, false, 0, up},
	} {
		t.Run(test.name, func(t *testing.T) {
			d := newDiary(t)
			d.start(evening, test.trusted)
			d.dose(time.Minute, "acid", 5*mL)                                // permitted 4 min before the last row
			d.change(5*time.Minute, Change{Kind: ChangeMode, Text: "armed"}) // the last row
			state := d.replay(d.now(5*time.Minute).Wall.Add(test.passed), up, test.trusts)
			if test.want > keptDoses {
				t.Fatal("the test cannot see that")
			}
			want := up - (4*time.Minute + test.want)
			if got := ups(state); len(got) != 1 || got[0] != want {
				t.Fatalf("the dose is at %v of the new run, want %v", got, want)
			}
			if got := state.Doses[0].SettledUp; got != want+10*time.Second {
				t.Errorf("settled at %v, want %v", got, want+10*time.Second)
			}
		})
	}
}

func TestUptimeOfTheNewRunHasCertainlyPassed(t *testing.T) {
	d := newDiary(t)
	d.start(evening, false)
	d.dose(time.Minute, "acid", 5*mL)
	state := d.replay(evening.Add(-time.Hour), 3*time.Hour, false)
	if got := ups(state)[0]; got != -10*time.Second {
		t.Fatalf("the dose is at %v, want the ten seconds before the run", got)
	}
}

func TestWallClockJumpWithinARunMovesNoDose(t *testing.T) {
	d := newDiary(t)
	d.start(time.Unix(0, 0), false)
	d.dose(time.Minute, "acid", 5*mL)
	// The network came: the clock jumps 61 years and is right from here on.
	d.began = evening
	d.change(2*time.Minute, Change{Kind: ChangeClock, Value: evening.Sub(time.Unix(0, 0)).Seconds(), Trusted: true})
	state := d.replay(evening.Add(2*time.Minute+8*time.Hour), 0, true)
	if got, want := ups(state)[0], -(time.Minute + 8*time.Hour); got != want {
		t.Fatalf("the dose is at %v, want %v", got, want)
	}
}

func TestClockThatSteppedWithoutSynchronisationIsNotTrusted(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.dose(time.Minute, "acid", 5*mL)
	d.began = evening.Add(-20 * time.Hour)
	d.change(2*time.Minute, Change{Kind: ChangeClock, Value: -72000})
	state := d.replay(evening.Add(2*time.Minute), 0, true)
	if got, want := ups(state)[0], -(time.Minute + time.Hour); got != want {
		t.Fatalf("the dose is at %v, want %v", got, want)
	}
}

func TestManyRestartsAddUp(t *testing.T) {
	d := newDiary(t)
	for run := range 5 {
		d.start(evening.Add(time.Duration(run)*2*time.Hour), true)
		d.dose(30*time.Minute, "acid", mL)
	}
	state := d.replay(evening.Add(10*time.Hour), 0, true)
	for run, got := range ups(state) {
		if want := -(10*time.Hour - time.Duration(run)*2*time.Hour - 30*time.Minute); got != want {
			t.Errorf("the dose of run %d is at %v, want %v", run+1, got, want)
		}
	}
	if state.LastEpoch != 5 || len(state.Doses) != 5 {
		t.Errorf("last epoch %d, %d doses", state.LastEpoch, len(state.Doses))
	}
}

// TestReplayNeverForgetsWhatTheRollingDayHolds plays random runs with clocks that
// lie, against the time that truly passed.
func TestReplayNeverForgetsWhatTheRollingDayHolds(t *testing.T) {
	for seed := range uint64(200) {
		random := rand.New(rand.NewPCG(seed, 4))
		d := newDiary(t)
		trueTime := evening
		var given []time.Time
		var volumes []dosing.Volume
		restarts := 2 + random.IntN(6)
		for range restarts {
			// The clock may be hours off in either direction; it is never trusted.
			d.start(trueTime.Add(time.Duration(random.IntN(96)-48)*time.Hour), false)
			up := time.Duration(0)
			for range random.IntN(8) {
				up += time.Duration(random.IntN(240)) * time.Minute
				v := dosing.Volume(1+random.IntN(9)) * mL
				d.dose(up, "acid", v)
				given, volumes = append(given, trueTime.Add(up)), append(volumes, v)
				up += 10 * time.Second
			}
			trueTime = trueTime.Add(up + time.Duration(random.IntN(300))*time.Minute)
		}
		state := d.replay(trueTime.Add(time.Duration(random.IntN(96)-48)*time.Hour), 0, false)
		// The stated price of a lying clock: an hour for each restart.
		slack := time.Duration(restarts) * longestGap
		var must, counted dosing.Volume
		for i, at := range given {
			if trueTime.Sub(at) < 24*time.Hour-slack {
				must += volumes[i]
			}
		}
		for _, dose := range state.Doses {
			if -dose.Up < 24*time.Hour {
				counted += dose.Volume
			}
		}
		if counted < must {
			t.Fatalf("seed %d: %s count in the rolling day, at least %s were given in it", seed, counted, must)
		}
	}
}

func TestOpenIntentsCountInFull(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.dose(time.Minute, "acid", 5*mL)
	i := d.intend(2*time.Minute, "acid", 7*mL)
	state := d.replay(evening.Add(3*time.Minute), 0, true)
	if len(state.Open) != 1 || state.Open[0].Order != i.order || state.Open[0].Volume != 7*mL || state.Open[0].At.Up != -time.Minute {
		t.Fatalf("open: %+v", state.Open)
	}
	if state.Ever["acid"] != 12*mL || state.Outcomes["acid"].Doses[OutcomeOpen] != 1 || state.Outcomes["acid"].Volume[OutcomeOpen] != 7*mL {
		t.Errorf("counted %s, %+v", state.Ever["acid"], state.Outcomes["acid"])
	}
	if n := len(state.Doses); n != 2 || state.Doses[1].Outcome != OutcomeOpen || state.Doses[1].Volume != 7*mL {
		t.Errorf("doses %+v", state.Doses)
	}
	// The next run settles it, and the one after that finds nothing open.
	d.start(evening.Add(4*time.Minute), true)
	d.settle(state.Open[0].Intent(0, 0), OutcomeUncertain, time.Second)
	state = d.replay(evening.Add(5*time.Minute), 0, true)
	if len(state.Open) != 0 || state.Ever["acid"] != 12*mL || state.Outcomes["acid"].Doses[OutcomeUncertain] != 1 {
		t.Errorf("after settling: open %v, counted %s", state.Open, state.Ever["acid"])
	}
}

func TestOpenIntentIsRememberedHoweverOld(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.intend(time.Minute, "acid", 7*mL)
	for day := range 40 {
		d.dose(time.Duration(day+1)*24*time.Hour, "base", mL)
	}
	state := d.replay(evening.Add(41*24*time.Hour), 0, true)
	if len(state.Open) != 1 || state.Ever["acid"] != 7*mL {
		t.Fatalf("open %v, acid counted %s", state.Open, state.Ever["acid"])
	}
}

func TestOutcomesCountAsTheyMust(t *testing.T) {
	for _, test := range []struct {
		outcome  Outcome
		reported dosing.Volume
		want     dosing.Volume
	}{
		{OutcomeConfirmed, 4 * mL, 4 * mL},
		{OutcomeConfirmed, 10 * mL, 10 * mL},
		{OutcomeConfirmed, 50 * mL, 50 * mL}, // over-delivery counts as reported
		{OutcomeUncertain, 50 * mL, 50 * mL},
		{OutcomeConfirmed, -3 * mL, 0},
		{OutcomeRefused, 0, 10 * mL},
		{OutcomeUncertain, 0, 10 * mL},
		{OutcomeWithdrawn, 0, 0},
	} {
		d := newDiary(t)
		d.start(evening, true)
		i := d.intend(time.Minute, "acid", 10*mL)
		record(t, d.l, Settle(i, test.outcome, test.reported, d.now(2*time.Minute), "test"))
		state := d.replay(evening.Add(3*time.Minute), 0, true)
		var counted dosing.Volume
		for _, dose := range state.Doses {
			counted += dose.Volume
		}
		if counted != test.want || state.Ever["acid"] != test.want || state.Recent["acid"] != test.want ||
			state.Outcomes["acid"].Volume[test.outcome] != test.want || state.Outcomes["acid"].Doses[test.outcome] != 1 {
			t.Errorf("%s with %s reported: counted %s, ever %s, want %s", test.outcome, test.reported, counted, state.Ever["acid"], test.want)
		}
	}
}

func TestReportThatComesAfterAllCounts(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	given := d.intend(time.Minute, "acid", 10*mL)
	d.settle(given, OutcomeUncertain, 2*time.Minute)
	record(t, d.l, Settle(given, OutcomeConfirmed, 12*mL, d.now(3*time.Minute), "late"))
	record(t, d.l, Settle(given, OutcomeConfirmed, 9*mL, d.now(4*time.Minute), "later still, and less than counts"))
	// It was believed never to have left, and yet the node reports it.
	left := d.intend(4*time.Minute, "base", 10*mL)
	d.settle(left, OutcomeWithdrawn, 5*time.Minute)
	record(t, d.l, Settle(left, OutcomeConfirmed, 8*mL, d.now(6*time.Minute), "late"))
	state := d.replay(evening.Add(7*time.Minute), 0, true)
	if state.Ever["acid"] != 12*mL || state.Ever["base"] != 8*mL || len(state.Doses) != 2 {
		t.Fatalf("acid %s, base %s, doses %+v", state.Ever["acid"], state.Ever["base"], state.Doses)
	}
	if state.Doses[0].Up != -6*time.Minute || state.Doses[0].SettledUp != -4*time.Minute {
		t.Errorf("times %v, %v", state.Doses[0].Up, state.Doses[0].SettledUp)
	}
	if c := state.Outcomes["acid"].Doses; c[OutcomeUncertain] != 0 || c[OutcomeConfirmed] != 1 {
		t.Errorf("outcomes %v", c)
	}
}

func TestHandDoseIsRememberedLikeADose(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.change(time.Minute, Change{Kind: ChangeHandDose, Pump: "acid", Volume: 30 * mL, By: "ada"})
	state := d.replay(evening.Add(2*time.Minute), 0, true)
	if len(state.Doses) != 1 || !state.Doses[0].ByHand || state.Doses[0].Volume != 30*mL || state.Doses[0].Tank != "north" ||
		state.Doses[0].Up != -time.Minute {
		t.Fatalf("doses %+v", state.Doses)
	}
	if state.Ever["acid"] != 0 {
		t.Errorf("the pump counts %s that it did not move", state.Ever["acid"])
	}
}

func TestDosesOlderThanEveryWindowAreForgottenButSummed(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	const hoursRun = 24 * 30
	for h := range hoursRun {
		d.dose(time.Duration(h)*time.Hour, "acid", mL)
	}
	state := d.replay(evening.Add(hoursRun*time.Hour), 0, true)
	if state.Ever["acid"] != hoursRun*mL {
		t.Errorf("ever %s", state.Ever["acid"])
	}
	if n := len(state.Doses); n < 24 || n > 26 {
		t.Errorf("%d doses kept, want those of the last 25 hours", n)
	}
	if got := state.Recent["acid"]; got < 71*mL || got > 72*mL {
		t.Errorf("%s in the last 72 hours, want 72 of 1 mL up to an hour's edge", got)
	}
	if state.Covers != hoursRun*time.Hour {
		t.Errorf("the record covers %v", state.Covers)
	}
	idle := d.replay(evening.Add((hoursRun+100)*time.Hour), 0, true)
	if idle.Recent["acid"] != 0 || len(idle.Doses) != 0 {
		t.Errorf("after four idle days %s and %d doses are recent", idle.Recent["acid"], len(idle.Doses))
	}
}

func TestReplayNeedsNoMoreMemoryForALongerRecord(t *testing.T) {
	kept := func(doses int) (most int) {
		r := newReplayer()
		for n := range doses {
			up := time.Duration(n) * 5 * time.Minute
			order := OrderID{1, uint32(n) + 1}
			r.follow(Entry{Kind: EntryIntent, Epoch: 1, At: at(up), Tank: "north", Pump: "acid", Order: order, Volume: mL})
			r.follow(Entry{Kind: EntrySettlement, Epoch: 1, At: at(up), Tank: "north", Pump: "acid", Order: order, Volume: mL, Outcome: OutcomeConfirmed})
			most = max(most, len(r.doses)+len(r.open)+len(r.starts))
		}
		return most
	}
	short, long := kept(2_000), kept(20_000)
	if long != short {
		t.Fatalf("%d doses at most are held for 2 000, %d for 20 000", short, long)
	}
}

func TestLatchedTripOutlivesRestartsUntilAPersonClearsIt(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.change(time.Minute, Change{Kind: ChangeTrip, Text: "no-response", Pump: "acid"})
	d.change(2*time.Minute, Change{Kind: ChangeTrip, Text: "leak"})
	d.change(3*time.Minute, Change{Kind: ChangeTrip, Text: "leak"})
	d.change(4*time.Minute, Change{Kind: ChangeTrip, Text: "leak", Tank: "south"})
	d.start(evening.Add(time.Hour), true)
	state := d.replay(evening.Add(2*time.Hour), 0, true)
	if len(state.Latches) != 3 || state.Latches[1].Cause != "leak" || state.Latches[1].At.Up != -(2*time.Hour-2*time.Minute) {
		t.Fatalf("latches %+v", state.Latches)
	}
	d.change(time.Minute, Change{Kind: ChangeMode, Text: "armed"})
	if n := len(d.replay(evening.Add(2*time.Hour), 0, true).Latches); n != 3 {
		t.Fatalf("arming left %d latches, want 3", n)
	}
	d.change(2*time.Minute, Change{Kind: ChangeClear, Note: "looked under the bench"})
	state = d.replay(evening.Add(2*time.Hour), 0, true)
	if len(state.Latches) != 1 || state.Latches[0].Tank != "south" {
		t.Fatalf("after clearing north: %+v", state.Latches)
	}
	if state.Modes["north"] != safety.ModeObserving {
		t.Errorf("a cleared tank is %s; a person arms it", state.Modes["north"])
	}
}

func TestUnconfirmedSolutionOutlivesRestartAndArming(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.change(time.Minute, Change{Kind: ChangePause, Text: PauseCleaning})
	d.change(time.Minute, Change{Kind: ChangeUnconfirmed, Text: "cleaning"})
	d.change(time.Minute, Change{Kind: ChangePause, Text: "pause", Until: evening.Add(time.Hour)})
	d.start(evening.Add(time.Hour), true)
	d.change(time.Minute, Change{Kind: ChangeMode, Text: "armed"})
	d.change(time.Minute, Change{Kind: ChangePause, Text: ""})
	state := d.replay(evening.Add(2*time.Hour), 0, true)
	if state.Unconfirmed["north"].Text != "cleaning" {
		t.Fatalf("unconfirmed %+v", state.Unconfirmed)
	}
	if p := state.Pauses["north"]; len(p) != 1 || p[0].Text != PauseCleaning {
		t.Fatalf("pauses %+v; the end of a pause ends no cleaning", p)
	}
	d.change(2*time.Minute, Change{Kind: ChangeConfirmed, Note: "rinsed"})
	state = d.replay(evening.Add(2*time.Hour), 0, true)
	if len(state.Unconfirmed) != 0 || len(state.Pauses) != 0 {
		t.Fatalf("after a person confirmed: %+v %+v", state.Unconfirmed, state.Pauses)
	}
}

func TestLastWordOfEachThingIsRemembered(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	end := evening.Add(11 * time.Hour)
	d.change(time.Minute, Change{Kind: ChangeMode, Text: "armed"})
	d.change(time.Minute, Change{Kind: ChangeMode, Text: "armed", Tank: "south"})
	d.change(time.Minute, Change{Kind: ChangeMode, Text: "flying", Tank: "south"})
	d.change(2*time.Minute, Change{Kind: ChangeSetpoint, Quantity: dosing.QuantityPH, Old: 5.8, Value: 6})
	d.change(3*time.Minute, Change{Kind: ChangeSetpoint, Quantity: dosing.QuantityPH, Old: 6, Value: 5.9, FileValue: 5.8, Until: end, By: "ada", From: "page"})
	d.change(3*time.Minute, Change{Kind: ChangeSetpoint, Quantity: dosing.QuantityEC, Old: 1.6, Value: 1.8})
	d.change(3*time.Minute, Change{Kind: ChangeLearned, Value: 0.2, Spread: 0.1}) // of a record without quantities
	d.change(4*time.Minute, Change{Kind: ChangeDrift, Quantity: dosing.QuantityPH, Value: 0.03, Spread: 0.01})
	d.change(4*time.Minute, Change{Kind: ChangeLearned, Quantity: dosing.QuantityEC, Value: -0.02, Spread: 0.03})
	d.change(4*time.Minute, Change{Kind: ChangeLevel, Value: 1210})
	d.change(4*time.Minute, Change{Kind: ChangeLevel, Value: 150, Tank: "south"})
	d.change(4*time.Minute, Change{Kind: ChangeOwed, Pump: "calcium", Volume: 30 * mL})
	d.change(4*time.Minute, Change{Kind: ChangeOwed, Pump: "sulfate", Volume: 20 * mL})
	d.change(5*time.Minute, Change{Kind: ChangeOwed, Pump: "sulfate"})
	d.change(5*time.Minute, Change{Kind: ChangeSettings, Text: "d52e"})
	state := d.replay(evening.Add(time.Hour), 0, true)
	if state.Modes["north"] != safety.ModeArmed || state.Modes["south"] != safety.ModeObserving {
		t.Errorf("modes %v; an unknown one must never dose", state.Modes)
	}
	if len(state.Setpoints) != 2 || state.Setpoints[0].Value != 5.9 || state.Setpoints[0].FileValue != 5.8 ||
		!state.Setpoints[0].Until.Equal(end) || state.Setpoints[0].By != "ada" || state.Setpoints[0].At.Up != -57*time.Minute {
		t.Errorf("setpoints %+v", state.Setpoints)
	}
	then := dosing.Instant{Wall: evening.Add(4 * time.Minute), Up: -56 * time.Minute}
	if pH := state.Learned[Of{"north", dosing.QuantityPH}]; pH != (Learned{Scale: dosing.Belief{Mean: 0.2, Spread: 0.1}, Drift: dosing.Belief{Mean: 0.03, Spread: 0.01}, At: then}) {
		t.Errorf("learned of pH %+v", pH)
	}
	if ec := state.Learned[Of{"north", dosing.QuantityEC}]; ec != (Learned{Scale: dosing.Belief{Mean: -0.02, Spread: 0.03}, At: then}) {
		t.Errorf("learned of EC %+v", ec)
	}
	if state.Levels["north"] != 1210 || state.Levels["south"] != 150 {
		t.Errorf("levels %v", state.Levels)
	}
	if owed := state.Owed["north"]; len(owed) != 1 || owed["calcium"] != 30*mL {
		t.Errorf("owed %v", owed)
	}
	if state.Configuration != "d52e" {
		t.Errorf("configuration %q", state.Configuration)
	}
	d.change(6*time.Minute, Change{Kind: ChangeServiced, Pump: "acid", Text: "new tube"})
	if state := d.replay(evening.Add(time.Hour), 0, true); len(state.Learned) != 0 || len(state.Levels) != 1 {
		t.Errorf("after a service %+v, %v are still believed", state.Learned, state.Levels)
	}
	d.change(7*time.Minute, Change{Kind: ChangeLearned, Quantity: dosing.QuantityPH, Value: 0.2, Spread: 0.1})
	d.change(8*time.Minute, Change{Kind: ChangeConfirmed, Note: "new water, rinsed"})
	if state := d.replay(evening.Add(time.Hour), 0, true); len(state.Learned) != 0 {
		t.Errorf("of other water %+v is still believed", state.Learned)
	}
}

func TestWhatNoProbeHasShownOutlivesEveryRestartAndAnyTime(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	d.dose(time.Minute, "acid", 5*mL)
	d.change(10*time.Minute, Change{Kind: ChangeUnseen, Value: 0.02, Old: 0.01, Spread: 0.1})
	d.dose(20*time.Minute, "acid", 3*mL)
	d.change(21*time.Minute, Change{Kind: ChangeHandDose, Pump: "base", Volume: 2 * mL, Text: "H1-1"})
	d.change(22*time.Minute, Change{Kind: ChangeServiced, Pump: "acid"})
	d.change(23*time.Minute, Change{Kind: ChangeConfirmed, Note: "rinsed"})
	d.change(24*time.Minute, Change{Kind: ChangeClear})
	for _, later := range []time.Duration{time.Hour, 100 * time.Hour, 5000 * time.Hour} {
		u := d.replay(evening.Add(later), 0, true).Unseen["north"]
		if u.Acid != 0.02 || u.Base != 0.01 || u.Stock != 0.1 || len(u.Since) != 2 || u.Since["acid"] != 3*mL || u.Since["base"] != 2*mL {
			t.Errorf("after %v: %+v, want what was written and what was dosed since", later, u)
		}
	}
}

func TestCrashLoopIsCounted(t *testing.T) {
	d := newDiary(t)
	for n := range 5 {
		d.start(evening.Add(time.Duration(n)*3*time.Minute), true)
	}
	if got := d.replay(evening.Add(13*time.Minute), 0, true).Starts; got != 4 {
		t.Errorf("%d starts in the last ten minutes, want those at 3, 6, 9 and 12", got)
	}
	if got := d.replay(evening.Add(3*time.Hour), 0, true).Starts; got != 0 {
		t.Errorf("%d starts in the last ten minutes, three hours later", got)
	}
}

func TestEmptyRecordRemembersNothing(t *testing.T) {
	state, err := Replay(&Memory{}, dosing.Instant{Wall: evening, Up: time.Second}, true)
	if err != nil || state.LastEpoch != 0 || len(state.Doses)+len(state.Open)+len(state.Latches)+len(state.Modes) != 0 || state.Covers != 0 {
		t.Fatalf("%+v, %v", state, err)
	}
}

func TestSentencesNameWhatHappened(t *testing.T) {
	i := dose(7, 123, "acid", 12500, at(0))
	for want, d := range map[string]Draft{
		"dose 7-000123: 12.5 mL of acid into north because pH high (pH 6.30, EC 1.60 mS/cm, 20.0 °C, configuration c41d)": i,
		"started, epoch 7, configuration c41d, clock synchronised":                                                        Start(7, "c41d", at(0), true),
		"north: setpoint ph 5.8 → 5.9 by ada from page (for the night)": Change{Kind: ChangeSetpoint, Tank: "north",
			Quantity: dosing.QuantityPH, Old: 5.8, Value: 5.9, By: "ada", From: "page", Note: "for the night"},
		"north, acid: added by hand: 30 mL by ada": Change{Kind: ChangeHandDose, Tank: "north", Pump: "acid", Volume: 30 * mL, By: "ada"},
	} {
		got := decoded(t, written(t, d)).String()
		if got != want && got != "station: "+want {
			t.Errorf("the sentence is\n%s\nwant\n%s", got, want)
		}
	}
}

// BenchmarkReplay100k replays a record of 100 000 rows from memory.
func BenchmarkReplay100k(b *testing.B) {
	d := newDiary(b)
	d.start(evening, true)
	for n := range 50_000 {
		d.dose(time.Duration(n)*5*time.Minute, fmt.Sprint("pump ", n%9), mL)
	}
	b.ReportAllocs()
	for b.Loop() {
		d.replay(evening.Add(50_000*5*time.Minute), 0, true)
	}
	b.ReportMetric(float64(d.memory.Len())*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func TestAccountsOfTheIonsAreRememberedHoursApartAndTheNewestAnalysisWhole(t *testing.T) {
	d := newDiary(t)
	d.start(evening, true)
	for hour := range 24 * 30 {
		d.change(time.Duration(hour)*time.Hour, Change{Kind: ChangeIons, Tank: "north", Text: strconv.Itoa(hour)})
	}
	d.change(24*30*time.Hour, Change{Kind: ChangeAnalysis, Tank: "north", Text: "K=7 mmol/L", Value: 3600, Trusted: true, By: "lab"})
	s := d.replay(evening.Add(24*30*time.Hour+time.Minute), 0, true)
	records := s.Ions["north"]
	if n := len(records); n < 21*4-2 || n > 21*4+3 {
		t.Errorf("%d accounts are remembered, want one in six hours for three weeks", n)
	}
	if last := records[len(records)-1].Text; last != "719" {
		t.Errorf("the newest is that of hour %s", last)
	}
	for i := 1; i+1 < len(records); i++ {
		if apart := records[i].At.Up - records[i-1].At.Up; apart < ionsApart {
			t.Errorf("two accounts lie %s apart", apart)
		}
	}
	a := s.Analyses["north"]
	if a.Text != "K=7 mmol/L" || a.Ago != time.Hour || !a.Trusted || a.At.Up != -time.Minute {
		t.Errorf("%+v", a)
	}
}

// The same run goes on under another epoch: no time passes by it, and what the nodes
// know of earlier epochs is answered for.
func TestRaisedEpochIsTheSameRun(t *testing.T) {
	d := newDiary(t)
	d.start(evening, false)
	d.dose(10*time.Minute, "acid", 5*mL)
	d.change(11*time.Minute, Change{Kind: ChangeTrip, Text: safety.CauseLedgerBehindNode.String()})
	d.change(12*time.Minute, Change{Kind: ChangeClear})
	if state := d.replay(evening.Add(13*time.Minute), 0, true); len(state.Latches) != 1 {
		t.Errorf("clearing ended it: %v", state.Latches)
	}
	d.change(20*time.Minute, Change{Kind: ChangeEpoch, Old: 1, Value: 52, Note: "looked"})
	d.epoch, d.number = 52, 0
	d.dose(30*time.Minute, "acid", 5*mL)
	state := d.replay(evening.Add(40*time.Minute), 0, true)
	if got := ups(state); len(got) != 2 || got[0] != -30*time.Minute || got[1] != -10*time.Minute {
		t.Errorf("doses %v ago", got)
	}
	if state.LastEpoch != 52 || state.Answered != 52 || len(state.Latches) != 0 || state.Restored {
		t.Errorf("epoch %d, answered %d, latches %v", state.LastEpoch, state.Answered, state.Latches)
	}
	if want := []OrderID{{1, 1}, {52, 1}}; !slices.Equal(state.LastOrders, want) {
		t.Errorf("last orders %v", state.LastOrders)
	}
	if err := d.l.Append(Change{Kind: ChangeEpoch, At: d.now(time.Hour), Value: 52}); err == nil {
		t.Error("an epoch is begun twice")
	}
}

// Spent caps count by pump and nowhere else; a copy that was put back leaves no tank armed.
func TestRestoredCopySaysWhatItLacks(t *testing.T) {
	d := newDiary(t)
	d.start(evening, false)
	d.change(time.Minute, Change{Kind: ChangeMode, Text: "armed"})
	d.change(2*time.Minute, Change{Kind: ChangeRestored, Value: 41, Until: evening.Add(time.Minute)})
	state := d.replay(evening.Add(3*time.Minute), 0, true)
	if !state.Restored || !state.Before.Equal(evening.Add(time.Minute)) || state.LastEpoch != 41 || state.Answered != 42 || state.Modes["north"] == safety.ModeArmed {
		t.Errorf("%+v", state)
	}
	d.epoch = 41
	d.start(evening.Add(4*time.Minute), false)
	d.change(time.Second, Change{Kind: ChangeSpent, Pump: "acid", Volume: 7 * mL})
	state = d.replay(evening.Add(5*time.Minute), 0, true)
	if state.Restored || len(state.Doses) != 1 || !state.Doses[0].Spent || state.Doses[0].Volume != 7*mL || state.Ever["acid"] != 0 {
		t.Errorf("%+v", state)
	}
}
