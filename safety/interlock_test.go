package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

func TestEveryCauseHasOneRowAndWordsForTheGrower(t *testing.T) {
	rows := map[Cause]int{}
	for _, row := range table {
		rows[row.Cause]++
		if row.Text == "" || row.Advice == "" || row.Clears == "" {
			t.Errorf("%s: text %q, advice %q, clears %q: none may be empty", row.Cause, row.Text, row.Advice, row.Clears)
		}
		if row.Cause == CauseNone || row.Action >= actionCount || row.Scope >= scopeCount || row.Priority >= priorityCount || row.Latches >= latchingCount {
			t.Errorf("%s: a field is outside its set", row.Cause)
		}
		if Of(row.Cause) != row {
			t.Errorf("%s: Of returns another row", row.Cause)
		}
	}
	names := map[string]bool{}
	for c := CauseNone + 1; c < CauseCount; c++ {
		if rows[c] != 1 {
			t.Errorf("%s has %d rows, want 1", c, rows[c])
		}
		name := c.String()
		back, ok := ParseCause(name)
		if name == "" || names[name] || !ok || back != c || strings.ToLower(name) != name {
			t.Errorf("cause %d is named %q and reads back as %d", c, name, back)
		}
		names[name] = true
	}
	if _, ok := ParseCause("none"); ok {
		t.Error("none reads back as a cause")
	}
	if CauseCount.String() != "unknown" {
		t.Errorf("a cause outside the set is called %q", CauseCount)
	}
}

func TestWhatIsNotInTheTableLocksTheStation(t *testing.T) {
	for _, c := range []Cause{CauseNone, CauseCount, 255} {
		if row := Of(c); row.Action != Lockout || row.Scope != ScopeStation || row.Text == "" {
			t.Errorf("cause %d: %s for %s", c, row.Action, row.Scope)
		}
	}
	if Action(9).String() != "lockout" || Scope(9).String() != "station" || Latching(9).String() != "at once" {
		t.Error("a value outside its set does not read as the most severe")
	}
}

func TestEveryStandingRowIsChecked(t *testing.T) {
	for _, row := range table {
		byTankCheck := tankChecks[row.Cause] != nil
		byPumpCheck := pumpChecks[row.Cause] != nil
		if row.Cause == CauseInputNotEvaluated {
			continue
		}
		if row.judged == byTank && !byTankCheck || row.judged == byPump && !byPumpCheck {
			t.Errorf("%s stands in the table but nothing checks it", row.Cause)
		}
	}
}

// scenario makes one row of the table trip and clear.
type scenario struct {
	cause   Cause
	change  func(*Settings)
	begin   func(*farm)
	after   time.Duration // from the fault to the trip
	action  Action
	scope   Scope
	latched bool
	free    [pumpCount]bool // which pumps of tank 0 go on
	south   [pumpCount]bool // and of tank 1
	end     func(*farm)
	clears  time.Duration // from its end until all pumps are free again
	early   time.Duration // until then they are not; 0 = not tested
	person  func(*farm)   // what a person does to clear it, after end
}

func clearNorth(f *farm) {
	f.w.Clear(f.now, 0)
	f.w.Clear(f.now, 1)
}

// thrice turns something off and on until it is off for the third time.
func thirdTime(off, on func(*farm), mixed time.Duration) func(*farm) {
	return func(f *farm) {
		for range 2 {
			off(f)
			f.pass(40 * time.Second)
			on(f)
			f.pass(mixed)
		}
		off(f)
	}
}

func reading(q dosing.Quantity, value float64) func(*farm) {
	return func(f *farm) { f.set(0, q, value) }
}
func silent(q dosing.Quantity) func(*farm) { return func(f *farm) { f.silence(0, q, true) } }
func heard(q dosing.Quantity) func(*farm)  { return func(f *farm) { f.silence(0, q, false) } }
func operator(s OperatorState) func(*farm) { return func(f *farm) { f.w.SetState(f.now, 0, s) } }

func everything(silent bool) func(*farm) {
	return func(f *farm) {
		for i := range f.s.Inputs {
			f.mute[dosing.InputID(i)] = silent
		}
		f.node[0].silent, f.node[1].silent = silent, silent
	}
}

var busyStocks = func(f *farm) { f.node[1].busy = true }
var idleStocks = func(f *farm) { f.node[1].busy = false }

// lose opens a dose and loses every word on it.
func lose(f *farm) {
	key := f.open(0, sulfatePump, 5*dosing.Millilitre)
	f.pass(20 * time.Second)
	f.w.Doubted(f.now, 0, sulfatePump)
	f.pass(5 * time.Minute)
	f.w.Closed(f.now, 0, sulfatePump, key, FateUnknown, 0)
}

var scenarios = map[string]scenario{
	"a node contradicts itself": {cause: CauseReportContradicts, begin: func(f *farm) { f.w.Contradicted(f.now, 0, acidPump, "order 7-000003: done, 0.004 mL in 10s") }, after: time.Second,
		action: Stop, scope: ScopePump, latched: true, free: [pumpCount]bool{false, true, true, true}, south: [pumpCount]bool{false, true, true, true}, end: func(*farm) {}, person: clearNorth, clears: time.Second},
	"a node refuses for good": {cause: CauseNodeRefuses, begin: func(f *farm) { f.w.RefusedForGood(f.now, 0, acidPump, "longer than this node allows") }, after: time.Second,
		action: Stop, scope: ScopePump, latched: true, free: [pumpCount]bool{false, true, true, true}, south: [pumpCount]bool{false, true, true, true}, end: func(f *farm) { f.w.Accepted(acidPump) }, clears: time.Second},
	"a node knows more than the ledger": {cause: CauseLedgerBehindNode, begin: func(f *farm) { f.w.BehindNode(f.now, "order 9-000009") }, after: time.Second,
		action: Lockout, scope: ScopeStation, latched: true, free: noneFree, south: noneFree, end: clearNorth, person: func(f *farm) { f.w.EpochRaised(f.now) }, clears: time.Second},
	"observing": {cause: CauseObserving, begin: func(f *farm) { f.w.SetMode(f.now, 0, ModeObserving) }, after: time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree,
		end: func(f *farm) { f.w.SetMode(f.now, 0, ModeArmed) }, clears: time.Second},
	"stopped by a person": {cause: CauseOperatorStop, begin: func(f *farm) { f.w.SetMode(f.now, 0, ModeStopped) }, after: time.Second,
		action: Stop, scope: ScopeTank, free: noneFree, south: allFree,
		end: func(f *farm) { f.w.SetMode(f.now, 0, ModeArmed) }, clears: time.Second},
	"pause": {cause: CauseOperatorPause, begin: operator(OperatorState{Paused: true, Why: "visitors"}), after: time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: operator(OperatorState{}), clears: time.Second},
	"maintenance": {cause: CauseMaintenance, begin: operator(OperatorState{Maintenance: true}), after: time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: operator(OperatorState{}), clears: time.Second},
	"meter and EC probe far apart": {cause: CauseECDoubted, begin: operator(OperatorState{ECDoubted: true}), after: time.Second,
		action: Hold, scope: ScopeNutrients, free: reagentsOnly, south: allFree, end: operator(OperatorState{}), clears: time.Second},
	"cleaning": {cause: CauseCleaning, begin: operator(OperatorState{Cleaning: true}), after: time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: operator(OperatorState{}), clears: 302 * time.Second,
		early: 299 * time.Second, person: func(f *farm) { f.w.Confirm(f.now, 0) }},
	"unconfirmed by hand": {cause: CauseSolutionUnconfirmed, begin: operator(OperatorState{Unconfirmed: true, Why: "new tank"}), after: time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: operator(OperatorState{}), clears: 302 * time.Second, early: 299 * time.Second},
	"pH far above the setpoint": {cause: CauseSolutionUnconfirmed, begin: func(f *farm) { f.drift(0, dosing.QuantityPH, 7.6) }, after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: func(f *farm) { f.drift(0, dosing.QuantityPH, 5.8) }, clears: 302 * time.Second, early: 200 * time.Second,
		person: func(f *farm) { f.w.Confirm(f.now, 0) }},
	"pH below 4": {cause: CauseSolutionUnconfirmed, begin: func(f *farm) { f.drift(0, dosing.QuantityPH, 3.9) }, after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: noneFree,
		end: func(f *farm) { f.drift(0, dosing.QuantityPH, 5.8) }, clears: 302 * time.Second,
		// Nothing that was dosed took it there, which is a trip of its own.
		person: func(f *farm) { f.w.Confirm(f.now, 0); clearNorth(f) }},
	"redox of a disinfectant": {cause: CauseSolutionUnconfirmed, begin: reading(dosing.QuantityRedox, 650), after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: reading(dosing.QuantityRedox, 320), clears: 302 * time.Second, person: func(f *farm) { f.w.Confirm(f.now, 0) }},
	"redox probe silent": {cause: CauseSolutionUnconfirmed, begin: silent(dosing.QuantityRedox), after: 25 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: heard(dosing.QuantityRedox), clears: 6 * time.Second},
	"water changed": {cause: CauseSolutionUnconfirmed, begin: reading(dosing.QuantityLevel, 650), after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: func(*farm) {}, clears: 302 * time.Second, person: func(f *farm) { f.w.Confirm(f.now, 0) }},
	"water drained while the top-up runs": {cause: CauseSolutionUnconfirmed, begin: func(f *farm) {
		f.set(0, dosing.QuantityTopUp, 1)
		f.pass(6 * time.Second)
		f.set(0, dosing.QuantityLevel, 650)
	}, after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: func(f *farm) { f.set(0, dosing.QuantityTopUp, 0); f.set(0, dosing.QuantityLevel, 1000) }, clears: 602 * time.Second,
		person: func(f *farm) { f.w.Confirm(f.now, 0) }},
	"stop pressed": {cause: CauseStopInput, begin: reading(dosing.QuantityStop, 1), after: 10 * time.Second,
		action: Stop, scope: ScopeStation, latched: true, free: noneFree, south: noneFree,
		end: reading(dosing.QuantityStop, 0), clears: 6 * time.Second, person: clearNorth},
	"stop silent": {cause: CauseStopInput, begin: silent(dosing.QuantityStop), after: 25 * time.Second,
		action: Hold, scope: ScopeStation, free: noneFree, south: noneFree, end: heard(dosing.QuantityStop), clears: 6 * time.Second},
	"pH stale": {cause: CausePHStale, begin: silent(dosing.QuantityPH), after: 21 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: heard(dosing.QuantityPH), clears: 6 * time.Second},
	"pH invalid": {cause: CausePHInvalid, begin: func(f *farm) { f.set(0, dosing.QuantityPH, 0.3) }, after: 16 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: reading(dosing.QuantityPH, 5.8), clears: 6 * time.Second},
	"EC stale": {cause: CauseECStale, begin: silent(dosing.QuantityEC), after: 21 * time.Second,
		action: Hold, scope: ScopeNutrients, free: reagentsOnly, south: allFree, end: heard(dosing.QuantityEC), clears: 6 * time.Second},
	"EC invalid": {cause: CauseECInvalid, begin: reading(dosing.QuantityEC, 0.01), after: 16 * time.Second,
		action: Hold, scope: ScopeNutrients, free: reagentsOnly, south: allFree, end: reading(dosing.QuantityEC, 1.9), clears: 6 * time.Second},
	"temperature sensor broken": {cause: CauseTemperatureInvalid, begin: reading(dosing.QuantityTemperature, 85), after: 6 * time.Second,
		action: Hold, scope: ScopeNutrients, free: reagentsOnly, south: allFree, end: reading(dosing.QuantityTemperature, 20), clears: 6 * time.Second},
	"solution too warm": {cause: CauseTemperatureRange, begin: reading(dosing.QuantityTemperature, 31), after: 6 * time.Second,
		action: Hold, scope: ScopeNutrients, free: reagentsOnly, south: allFree,
		end: reading(dosing.QuantityTemperature, 29.4), clears: 6 * time.Second},
	"two pH probes disagree": {cause: CauseProbesDisagree, change: secondProbe(dosing.QuantityPH, 5.8),
		begin: func(f *farm) { f.drift(0, dosing.QuantityPH, 6.1) }, after: 5*time.Minute + 10*time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree,
		end: func(f *farm) { f.drift(0, dosing.QuantityPH, 5.8) }, clears: 6 * time.Second},
	"two EC probes disagree": {cause: CauseProbesDisagree, change: secondProbe(dosing.QuantityEC, 1.9),
		begin: func(f *farm) { f.drift(0, dosing.QuantityEC, 1.6) }, after: 5*time.Minute + 10*time.Second,
		action: Hold, scope: ScopeNutrients, free: reagentsOnly, south: allFree,
		end: func(f *farm) { f.drift(0, dosing.QuantityEC, 1.9) }, clears: 6 * time.Second},
	"sample line stands": {cause: CauseSampleFlowOff, begin: reading(dosing.QuantitySampleFlow, 0), after: 5 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: reading(dosing.QuantitySampleFlow, 1), clears: 6 * time.Second},
	"circulation off": {cause: CauseCirculationOff, begin: reading(dosing.QuantityCirculation, 0), after: 36 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree,
		end: reading(dosing.QuantityCirculation, 1), clears: 306 * time.Second, early: 295 * time.Second},
	"circulation silent": {cause: CauseCirculationOff, begin: silent(dosing.QuantityCirculation), after: 80 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: heard(dosing.QuantityCirculation), clears: 80 * time.Second, early: 50 * time.Second},
	"circulation off for the third time": {cause: CauseCirculationOff,
		begin: thirdTime(reading(dosing.QuantityCirculation, 0), reading(dosing.QuantityCirculation, 1), 310*time.Second), after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: reading(dosing.QuantityCirculation, 1), clears: 310 * time.Second, person: clearNorth},
	"level sensor silent": {cause: CauseLevelUnknown, begin: silent(dosing.QuantityLevel), after: 21 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: heard(dosing.QuantityLevel), clears: 6 * time.Second},
	"level low": {cause: CauseLevelLow, change: shallow, begin: reading(dosing.QuantityLevel, 890), after: 36 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: reading(dosing.QuantityLevel, 950), clears: 306 * time.Second, early: 295 * time.Second},
	"level low for the third time": {cause: CauseLevelLow, change: shallow,
		begin: thirdTime(reading(dosing.QuantityLevel, 890), reading(dosing.QuantityLevel, 1000), 310*time.Second), after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: reading(dosing.QuantityLevel, 1000), clears: 310 * time.Second, person: clearNorth},
	"level high": {cause: CauseLevelHigh, begin: reading(dosing.QuantityLevel, 1105), after: 5 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: reading(dosing.QuantityLevel, 1085), clears: 6 * time.Second},
	"leak": {cause: CauseLeak, begin: reading(dosing.QuantityLeak, 1), after: 36 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: reading(dosing.QuantityLeak, 0), clears: 6 * time.Second, person: clearNorth},
	"leak sensor silent": {cause: CauseLeak, begin: silent(dosing.QuantityLeak), after: 25 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: heard(dosing.QuantityLeak), clears: 6 * time.Second},
	"flood": {cause: CauseFlood, begin: reading(dosing.QuantityFlood, 1), after: 5 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: reading(dosing.QuantityFlood, 0), clears: 151 * time.Second, early: 138 * time.Second},
	"flood sensor silent": {cause: CauseFlood, begin: silent(dosing.QuantityFlood), after: 25 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: heard(dosing.QuantityFlood), clears: 6 * time.Second},
	"mixing after a flood": {cause: CauseMixingWait, begin: func(f *farm) {
		f.set(0, dosing.QuantityFlood, 1)
		f.pass(time.Minute)
		f.set(0, dosing.QuantityFlood, 0)
	}, after: 10 * time.Second, action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: func(*farm) {}, clears: 140 * time.Second},
	"outlet shuts during an order": {cause: CauseOutletUnproved, begin: func(f *farm) {
		key := f.open(0, sulfatePump, 5*dosing.Millilitre)
		f.pass(10 * time.Second)
		f.set(0, dosing.QuantityOutlet, 0)
		f.pass(10 * time.Second)
		f.w.Closed(f.now, 0, sulfatePump, key, FateKnown, 5*dosing.Millilitre)
	}, after: 2 * time.Minute, action: Hold, scope: ScopeTank, free: noneFree, south: allFree,
		end: reading(dosing.QuantityOutlet, 1), clears: 6 * time.Second},
	"outlet silent": {cause: CauseOutletUnproved, begin: silent(dosing.QuantityOutlet), after: 25 * time.Second,
		action: Hold, scope: ScopeTank, free: noneFree, south: allFree, end: heard(dosing.QuantityOutlet), clears: 6 * time.Second},
	"nothing arrives from the farm": {cause: CauseFarmSilent, begin: everything(true), after: 15 * time.Second,
		action: Hold, scope: ScopeStation, free: noneFree, south: noneFree, end: everything(false), clears: 70 * time.Second},
	"container empty": {cause: CauseContainerEmpty, begin: reading(dosing.QuantityStockLevel, 1.5), after: 5 * time.Second,
		action: Hold, scope: ScopePump, free: [4]bool{true, true, false, true}, south: [4]bool{true, true, false, true},
		end: reading(dosing.QuantityStockLevel, 60), clears: 6 * time.Second},
	"container's level silent": {cause: CauseContainerEmpty, begin: silent(dosing.QuantityStockLevel), after: 25 * time.Second,
		action: Hold, scope: ScopePump, free: [4]bool{true, true, false, true}, south: [4]bool{true, true, false, true},
		end: heard(dosing.QuantityStockLevel), clears: 6 * time.Second},
	"water siphons back into a container": {cause: CauseContainerBalance, begin: func(f *farm) {
		for minute := range 12 {
			f.set(0, dosing.QuantityStockLevel, 45+0.4*float64(max(minute-4, 0)))
			f.pass(time.Minute)
		}
	}, after: 2 * time.Second, action: Stop, scope: ScopePump, latched: true, free: [4]bool{true, true, false, true}, south: [4]bool{true, true, false, true},
		end: func(*farm) {}, clears: 6 * time.Second, person: clearNorth},
	"node silent": {cause: CauseNodeOffline, begin: func(f *farm) { f.node[0].silent = true }, after: 13 * time.Second,
		action: Hold, scope: ScopePump, free: stocksOnly, south: stocksOnly,
		end: func(f *farm) { f.node[0].silent = false }, clears: 3 * time.Second},
	"node rebooted": {cause: CauseNodeRebooted, begin: func(f *farm) { f.node[0].boot, f.node[0].tick = "second", 0 }, after: 3 * time.Second,
		action: Hold, scope: ScopePump, free: stocksOnly, south: stocksOnly, end: func(*farm) {}, clears: 12 * time.Second, early: 6 * time.Second},
	"node in a reboot loop": {cause: CauseNodeRebooted, begin: func(f *farm) {
		for _, boot := range []string{"2", "3", "4", "5"} {
			f.node[0].boot, f.node[0].tick = boot, 0
			f.pass(30 * time.Second)
		}
	}, after: time.Second, action: Stop, scope: ScopePump, latched: true, free: stocksOnly, south: stocksOnly,
		end: func(*farm) {}, clears: 12 * time.Second, person: clearNorth},
	"node busy": {cause: CauseNodeBusy, begin: busyStocks, after: 4 * time.Second,
		action: Hold, scope: ScopePump, free: reagentsOnly, south: reagentsOnly, end: idleStocks, clears: 3 * time.Second},
	"node clock jumped": {cause: CauseNodeClock, begin: func(f *farm) { f.node[1].tick += time.Hour }, after: 3 * time.Second,
		action: Hold, scope: ScopePump, free: reagentsOnly, south: reagentsOnly, end: func(*farm) {}, clears: 62 * time.Second, early: 50 * time.Second},
	"node clock too fast": {cause: CauseNodeClock, begin: func(f *farm) { f.node[1].rate = 1.2 }, after: 125 * time.Second,
		action: Hold, scope: ScopePump, free: reagentsOnly, south: reagentsOnly,
		end: func(f *farm) { f.node[1].rate = 1 }, clears: 125 * time.Second},
	"pump runs without an order": {cause: CauseUncommandedRun, begin: busyStocks, after: 15 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: noneFree, end: idleStocks, clears: 3 * time.Second, person: clearNorth},
	"pH falls without a dose": {cause: CauseUnexplainedChange, begin: func(f *farm) { f.drift(0, dosing.QuantityPH, 5.1) }, after: 65 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: noneFree,
		end: func(f *farm) { f.drift(0, dosing.QuantityPH, 5.8) }, clears: 30 * time.Second, person: clearNorth},
	"EC rises without a dose": {cause: CauseUnexplainedChange, begin: func(f *farm) { f.drift(0, dosing.QuantityEC, 2.4) }, after: 65 * time.Second,
		action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: noneFree,
		end: func(f *farm) { f.drift(0, dosing.QuantityEC, 1.9) }, clears: 30 * time.Second, person: clearNorth},
	"EC rises with a dose, but far too much": {cause: CauseTooStrong, begin: func(f *farm) {
		f.drift(0, dosing.QuantityEC, 1.7)
		f.pass(10 * time.Minute)
		f.dose(0, calciumPump, 20*dosing.Millilitre)
		f.drift(0, dosing.QuantityEC, 2.1)
	}, after: 5 * time.Minute, action: Stop, scope: ScopeNutrients, latched: true, free: reagentsOnly, south: allFree,
		end: func(f *farm) { f.drift(0, dosing.QuantityEC, 1.7) }, clears: 5 * time.Minute, person: clearNorth},
	"link down": {cause: CauseBrokerDisconnected, begin: func(f *farm) { f.w.Link(f.now, false) }, after: time.Second,
		action: Hold, scope: ScopeStation, free: noneFree, south: noneFree,
		end: func(f *farm) { f.w.Link(f.now, true) }, clears: 11 * time.Second, early: 4 * time.Second},
	"disk full": {cause: CauseLedgerUnavailable, begin: func(f *farm) { f.w.SetLedger(f.now, LedgerFull) }, after: time.Second,
		action: Hold, scope: ScopeStation, free: noneFree, south: noneFree,
		end: func(f *farm) { f.w.SetLedger(f.now, LedgerReady) }, clears: time.Second},
	"disk failed": {cause: CauseLedgerUnavailable, begin: func(f *farm) { f.w.SetLedger(f.now, LedgerFailed) }, after: time.Second,
		action: Lockout, scope: ScopeStation, free: noneFree, south: noneFree,
		end: func(f *farm) { f.w.SetLedger(f.now, LedgerReady) }, clears: time.Second},
	"other controller": {cause: CauseOtherController, begin: func(f *farm) { f.w.OtherController(f.now, true, "") }, after: time.Second,
		action: Lockout, scope: ScopeStation, free: noneFree, south: noneFree,
		end: func(f *farm) { f.w.OtherController(f.now, false, "") }, clears: time.Second},
	"dose uncertain": {cause: CauseDoseUncertain, begin: func(f *farm) {
		key := f.open(0, sulfatePump, 5*dosing.Millilitre)
		f.pass(20 * time.Second)
		f.w.Doubted(f.now, 0, sulfatePump)
		f.pass(10 * time.Second)
		f.w.Closed(f.now, 0, sulfatePump, key, FateUnknown, 0)
	}, after: time.Second, action: Hold, scope: ScopeTank, free: noneFree, south: allFree,
		end: func(*farm) {}, clears: 291 * time.Second, early: 280 * time.Second},
	"third uncertain dose": {cause: CauseDoseUncertain, begin: func(f *farm) {
		for range 3 {
			lose(f)
			f.pass(20 * time.Minute)
		}
	}, after: time.Second, action: Stop, scope: ScopeTank, latched: true, free: noneFree, south: allFree,
		end: func(*farm) {}, clears: time.Second, person: clearNorth},
	// Half of what may be unseen, so that this cap alone stands.
	"hour cap": {cause: CauseHourlyCap, change: func(s *Settings) { s.Caps[calciumPump].PerHour = 100 * dosing.Millilitre }, begin: func(f *farm) {
		f.w.ByHand(dosing.Dose{Tank: 1, Pump: calciumPump, Volume: 97 * dosing.Millilitre, Up: f.now.Up})
	}, after: 20 * time.Minute, action: Hold, scope: ScopePump, free: [4]bool{true, true, false, true}, south: [4]bool{true, true, false, true},
		end: func(*farm) {}, clears: 40*time.Minute + time.Second, early: 39 * time.Minute},
	"day cap": {cause: CauseDailyCap, change: func(s *Settings) { s.Caps[sulfatePump].PerDay = 100 * dosing.Millilitre }, begin: func(f *farm) {
		f.w.ByHand(dosing.Dose{Tank: 1, Pump: sulfatePump, Volume: 96 * dosing.Millilitre, Up: f.now.Up})
	}, after: 70 * time.Minute, action: Hold, scope: ScopePump, free: [4]bool{true, true, true, false}, south: [4]bool{true, true, true, false},
		end: func(*farm) {}, clears: 22*time.Hour + 51*time.Minute, early: 22 * time.Hour},
}

// shallow is a tank whose level may fall by a tenth before it is low, so that the
// fall is not mistaken for a change of water.
func shallow(s *Settings) { s.Tanks[0].MinVolume = 900 }

func secondProbe(q dosing.Quantity, _ float64) func(*Settings) {
	return func(s *Settings) {
		s.Inputs = append(s.Inputs, Input{Name: "second " + q.String(), Tank: 0, Quantity: q, Period: 5 * time.Second})
	}
}

func TestEachInterlockTripsNamesItselfReachesAsFarAsItShouldAndClears(t *testing.T) {
	for name, s := range scenarios {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var change []func(*Settings)
			if s.change != nil {
				change = append(change, s.change)
			}
			f := newFarm(t, change...)
			f.wantFree(0, "before", allFree)
			s.begin(f)
			f.pass(s.after)
			trip, tripped := f.trip(0, s.cause)
			if !tripped {
				t.Fatalf("%s did not trip: %+v", s.cause, f.w.Trips(0))
			}
			if trip.Action != s.action || trip.Scope != s.scope || trip.Latched != s.latched || trip.Tank != 0 {
				t.Errorf("trip %+v, want %s for %s, latched %v", trip, s.action, s.scope, s.latched)
			}
			if trip.Since.Up > f.now.Up || trip.Since.Up == 0 {
				t.Errorf("since %s", trip.Since.Up)
			}
			f.wantFree(0, "tripped", s.free)
			f.wantFree(1, "tripped", s.south)
			f.wantNamed(s.cause, s.free)
			s.end(f)
			if s.person != nil {
				f.pass(s.clears)
				if _, still := f.trip(0, s.cause); !still && s.latched {
					t.Fatal("it cleared without a person")
				}
				s.person(f)
			}
			if s.early > 0 {
				f.pass(s.early)
				if f.free(0) == allFree {
					t.Fatalf("free after %s already", s.early)
				}
			}
			f.pass(s.clears - s.early)
			f.wantFree(0, "cleared", allFree)
			f.wantFree(1, "cleared", allFree)
		})
	}
}

// wantNamed checks that the gate and Blocks name a cause that stands, for every
// pump that is stopped, and that the cause asked for is among those that stop it.
func (f *farm) wantNamed(cause Cause, free [pumpCount]bool) {
	f.t.Helper()
	for p := range pumpCount {
		if free[p] {
			continue
		}
		clearance, verdict := f.g.Judge(f.now, dosing.Plan{Tank: 0, Pump: p, Volume: f.s.Pumps[p].MinDose, Reason: dosing.ReasonPHHigh})
		if verdict.Allowed || clearance != nil {
			f.t.Fatalf("pump %d was cleared", p)
		}
		trip, stands := f.trip(0, verdict.Cause)
		if verdict.Cause != cause && (!stands || !trip.stops(p, f.s.Pumps[p].Role)) {
			f.t.Errorf("pump %d: the gate names %s, which does not stand", p, verdict.Cause)
		}
		if cause == CauseHourlyCap || cause == CauseDailyCap {
			continue // they limit the next dose and do not cut short the present one
		}
		blocking, blocked := f.w.Blocks(0, p)
		if !blocked || blocking.Cause != verdict.Cause {
			f.t.Errorf("pump %d: blocked %v by %s, the gate names %s", p, blocked, blocking.Cause, verdict.Cause)
		}
	}
}

func TestEveryStandingCauseHasAScenario(t *testing.T) {
	covered := map[Cause]bool{
		CausePHMissing: true, CauseECMissing: true, CauseStarting: true, // TestNothingIsDosedBeforeReadingsCome
		CauseClockUntrusted: true, CauseConfigurationUnsafe: true, CauseInputNotEvaluated: true, // tests of their own
		CauseNoResponse: true, CauseWrongDirection: true, CauseReagentStrong: true, // responserule_test.go
		CauseProbeSilent: true, // silent_test.go
		CauseTopUpHeld:   true, // topup_test.go
	}
	for _, s := range scenarios {
		covered[s.cause] = true
	}
	for _, row := range table {
		if row.judged != byPlan && !covered[row.Cause] {
			t.Errorf("%s has no scenario", row.Cause)
		}
	}
}
