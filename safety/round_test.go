package safety

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"leat/dosing"
)

// A row that keeps its judgement must read as if it had been judged: two watches see
// the same hours of whatever can happen to a station, and one of them judges every
// row in every round.
func TestRowsThatKeepTheirJudgementReadAsIfJudgedEverySecond(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 1))
		// Two inputs of a quantity, a probe of stated noise, and a tank without a leak sensor.
		doubled := r.IntN(4)
		change := func(s *Settings) {
			second := s.Inputs[doubled]
			second.Name = "second"
			s.Inputs = append(s.Inputs, second)
			s.Inputs[0].Noise, s.Inputs[0].Step = 0.01, 0.01
			for i := range s.Inputs {
				if s.Inputs[i].Tank == 1 && s.Inputs[i].Quantity == dosing.QuantityLeak {
					s.Inputs[i].NotFitted = "dry floor"
				}
			}
		}
		kept, whole := freshFarm(t, change), freshFarm(t, change)
		both := []*farm{kept, whole}
		trips, acidity := 0, nominal[dosing.QuantityPH]
		for step := range 4000 {
			if r.IntN(500) == 0 {
				acidity = []float64{3.8, 5.8, 7.6}[r.IntN(3)] // where the water of the first tank drifts
			}
			if r.IntN(25) == 0 {
				happens := happening(r, kept)
				for _, f := range both {
					happens(f)
				}
			}
			for _, f := range both {
				f.value[0] += min(max(acidity-f.value[0], -0.04), 0.04)
				whole.w.told = true
				f.pass(time.Second)
			}
			for i := range kept.w.tanks {
				a, b := &kept.w.tanks[i], &whole.w.tanks[i]
				trips += len(b.trips)
				if a.cells != b.cells || !slices.Equal(a.trips, b.trips) || !slices.Equal(a.uncertain, b.uncertain) {
					t.Fatalf("seed %d, second %d, tank %d: kept\n%+v\njudged\n%+v", seed, step, i, a.trips, b.trips)
				}
				if a.wait != b.wait || a.doubt != b.doubt || a.circulation != b.circulation || a.low != b.low || a.silent != b.silent ||
					a.flood != b.flood || a.apart != b.apart {
					t.Fatalf("seed %d, second %d, tank %d: what checks remember differs", seed, step, i)
				}
				for q := range a.group {
					if a, b := a.group[q], b.group[q]; a.standing != b.standing || a.value != b.value || a.smooth != b.smooth || a.adverse != b.adverse {
						t.Fatalf("seed %d, second %d, tank %d, %s: kept %+v, judged %+v", seed, step, i, dosing.Quantity(q), a, b)
					}
				}
			}
			for i := range kept.w.pumps {
				if kept.w.pumps[i].cells != whole.w.pumps[i].cells {
					t.Fatalf("seed %d, second %d, pump %d: kept %b, judged %b", seed, step, i, kept.w.pumps[i].active, whole.w.pumps[i].active)
				}
			}
			if a, b := kept.w.NewLatches(), whole.w.NewLatches(); !slices.Equal(a, b) {
				t.Fatalf("seed %d, second %d: kept latches %+v, judged %+v", seed, step, a, b)
			}
		}
		if trips == 0 {
			t.Fatalf("seed %d: nothing ever tripped", seed)
		}
	}
}

// happening draws something that can happen to a station.
func happening(r *rand.Rand, like *farm) func(f *farm) {
	tank, pump, in := dosing.TankID(r.IntN(2)), dosing.PumpID(r.IntN(int(pumpCount))), dosing.InputID(r.IntN(len(like.s.Inputs)))
	node, on, some := r.IntN(2), r.IntN(2) == 0, r.Float64()
	switch r.IntN(22) {
	case 0, 1, 2, 3:
		strange := map[dosing.Quantity][]float64{dosing.QuantityPH: {3.9, 7.4, 9.9, 5.96, 2}, dosing.QuantityEC: {0.01, 4, 1.7, 2.1}, dosing.QuantityTemperature: {9, 31, 50, 23},
			dosing.QuantityLevel: {400, 700, 1200, 990}, dosing.QuantityRedox: {600}, dosing.QuantityStockLevel: {0.3, 2.5}}
		q := like.s.Inputs[in].Quantity
		value := some
		if choices := strange[q]; choices != nil {
			value = choices[r.IntN(len(choices))]
		} else if value = 1; on {
			value = 0
		}
		return func(f *farm) { f.value[in] = value }
	case 4, 5, 6, 7, 8:
		return func(f *farm) {
			for i := range f.s.Inputs {
				f.value[dosing.InputID(i)], f.mute[dosing.InputID(i)] = nominal[f.s.Inputs[i].Quantity], false
			}
			f.node[0].silent, f.node[1].silent, f.node[0].busy, f.node[1].busy = false, false, false, false
			f.w.Link(f.now, true)
			f.w.SetLedger(f.now, LedgerReady)
			f.w.SetState(f.now, tank, OperatorState{})
			f.w.SetMode(f.now, tank, ModeArmed)
			f.w.Clear(f.now, tank)
		}
	case 9:
		return func(f *farm) { f.mute[in] = true }
	case 10:
		return func(f *farm) { f.node[node].silent = on }
	case 11:
		return func(f *farm) { f.node[node].busy = !f.node[node].busy }
	case 12:
		return func(f *farm) { f.node[node].boot, f.node[node].tick = f.node[node].boot+"+", 0 }
	case 13:
		return func(f *farm) { f.node[node].rate = 1 + some/3 }
	case 14:
		return func(f *farm) { f.w.Rejected(f.now, in, "no number") }
	case 15:
		return func(f *farm) { f.w.Link(f.now, on) }
	case 16:
		return func(f *farm) { f.w.SetLedger(f.now, LedgerState(uint8(some*5))) }
	case 17:
		state := OperatorState{Paused: on, Maintenance: some < 0.3, Cleaning: some > 0.9, Why: "work"}
		return func(f *farm) { f.w.SetState(f.now, tank, state) }
	case 18:
		return func(f *farm) { f.w.Aim(tank, dosing.Target{PH: dosing.PH(5.5 + some), EC: 2}) }
	case 19:
		return func(f *farm) {
			f.key++
			f.w.Opened(dosing.Dose{Key: f.key, Tank: tank, Pump: pump, Volume: dosing.FromMillilitres(1 + 60*some), Up: f.now.Up, Open: true})
		}
	case 20:
		return func(f *farm) {
			for _, d := range append([]dosing.Dose(nil), f.w.open...) {
				if some < 0.4 {
					f.w.Doubted(f.now, d.Tank, d.Pump)
				}
				if some < 0.2 || some > 0.4 {
					f.w.Closed(f.now, d.Tank, d.Pump, d.Key, fateOf(some > 0.5), d.Volume)
				}
			}
		}
	}
	others := []func(f *farm){
		func(f *farm) { f.now = f.now.Add(time.Duration(some * float64(10*time.Minute))) }, // nobody looked for a while
		func(f *farm) { f.now.Up -= time.Duration(some * float64(10*time.Second)) },
		func(f *farm) { f.w.OtherController(f.now, on, "") },
		func(f *farm) { f.w.Confirm(f.now, tank) },
		func(f *farm) { f.w.FloodAhead(tank, map[bool]string{true: "bench is flooded"}[on], on) },
		func(f *farm) { f.w.Serviced(f.now, tank) },
		func(f *farm) { f.w.Used(pump, 4*24*time.Hour, dosing.FromMillilitres(100*some)) },
		func(f *farm) { f.w.Demand(pump, dosing.Millilitre, 5*dosing.Millilitre) },
		func(f *farm) { f.w.Fill(pump, dosing.FromMillilitres(100*some), f.now.Up+time.Hour) },
		func(f *farm) {
			f.w.ByHand(dosing.Dose{Tank: tank, Pump: pump, Volume: dosing.FromMillilitres(200 * some), Up: f.now.Up})
		},
		func(f *farm) { f.w.RestoreLevel(f.now, tank, 1000*some) },
		func(f *farm) { f.w.RestorePumpLatch(tank, pump, CauseNoResponse, f.now) },
		func(f *farm) { f.w.RestoreLatch(tank, CauseLeak, f.now) },
		func(f *farm) { f.w.Learned(tank, some, some, 3) },
		func(f *farm) { f.w.Reconfigure(f.now, f.s, nil) },
		func(f *farm) { f.g.Largest(f.now, tank, pump) },
	}
	return others[r.IntN(len(others))]
}

// Whatever the watch is told must let every row be judged: a method that changes it
// and forgets so would leave a judgement standing for wholeEvery.
func TestWhateverIsToldIsJudgedInTheNextRound(t *testing.T) {
	f := newFarm(t)
	key := f.open(0, acidPump, dosing.Millilitre)
	dose := dosing.Dose{Tank: 0, Pump: basePump, Volume: dosing.Millilitre, Up: f.now.Up}
	for name, tell := range map[string]func(w *Watch){
		"Rejected": func(w *Watch) { w.Rejected(f.now, 0, "no number") }, "Link": func(w *Watch) { w.Link(f.now, true) },
		"SetLedger": func(w *Watch) { w.SetLedger(f.now, LedgerReady) }, "OtherController": func(w *Watch) { w.OtherController(f.now, false, "") },
		"Jumped": func(w *Watch) { w.Jumped(f.now, time.Hour) }, "SetMode": func(w *Watch) { w.SetMode(f.now, 0, ModeArmed) },
		"SetState": func(w *Watch) { w.SetState(f.now, 0, OperatorState{}) }, "Confirm": func(w *Watch) { w.Confirm(f.now, 0) },
		"Aim": func(w *Watch) { w.Aim(0, dosing.Target{PH: 5.9, EC: 2}) }, "Serviced": func(w *Watch) { w.Serviced(f.now, 0) },
		"Opened": func(w *Watch) { w.Opened(dose) }, "ByHand": func(w *Watch) { w.ByHand(dose) }, "Voided": func(w *Watch) { w.Voided(acidPump, 1) },
		"Doubted": func(w *Watch) { w.Doubted(f.now, 0, acidPump) }, "Used": func(w *Watch) { w.Used(0, time.Hour, 1) },
		"Demand": func(w *Watch) { w.Demand(0, 1, 1) }, "Fill": func(w *Watch) { w.Fill(0, 1, f.now.Up) },
		"Contradicted": func(w *Watch) { w.Contradicted(f.now, 1, basePump, "said so") }, "Spent": func(w *Watch) { w.Spent(f.now, acidPump, 1) },
		"Raised":         func(w *Watch) { w.Raised(f.now, 0, acidPump, 1, 2, 1) },
		"RefusedForGood": func(w *Watch) { w.RefusedForGood(f.now, 1, basePump, "no") }, "Accepted": func(w *Watch) { w.Accepted(basePump) },
		"BehindNode":       func(w *Watch) { w.BehindNode(f.now, "order 9-000009") },
		"RestoreLatch":     func(w *Watch) { w.RestoreLatch(1, CauseLeak, f.now) },
		"RestorePumpLatch": func(w *Watch) { w.RestorePumpLatch(1, basePump, CauseNoResponse, f.now) },
		"Calibrated":       func(w *Watch) { w.Calibrated(0, dosing.QualityMaintenanceRequired) },
		"RestoreLevel":     func(w *Watch) { w.RestoreLevel(f.now, 0, 1000) },
		"FloodAhead":       func(w *Watch) { w.FloodAhead(0, "bench is flooded", true) },
	} {
		f.w.told = false
		tell(f.w)
		if !f.w.told {
			t.Errorf("%s leaves rows unjudged", name)
		}
	}
	f.w.told = false
	if f.w.Closed(f.now, 0, acidPump, key, FateKnown, dosing.Millilitre); !f.w.told {
		t.Error("Closed leaves rows unjudged")
	}
	// These change nothing but what its own rows read in every round, or judge themselves.
	silent := map[string]bool{"Read": true, "Heartbeat": true, "Learned": true, "Measured": true, "RestoreUnseen": true, "Refilled": true, "Evaluate": true, "Clear": true, "EpochRaised": true, "Reconfigure": true, "NewLatches": true}
	asked := map[string]bool{"Behind": true, "Lacks": true, "Blocks": true, "BufferFloor": true, "DailyCap": true, "Doubt": true, "Fit": true, "HourlyCap": true, "Input": true, "Late": true, "Loaded": true, "StuckLevel": true, "Unanswered": true, "Miscompensated": true, "Mode": true, "Node": true, "OffBalance": true,
		"Resting": true, "Test": true, "SourceWater": true, "Trips": true, "Unseen": true, "UnseenMost": true, "UnseenShare": true, "UnseenToRecord": true, "UnseenWords": true, "Usual": true, "Volume": true}
	told := map[string]bool{"Rejected": true, "Link": true, "SetLedger": true, "OtherController": true, "Jumped": true, "SetMode": true, "SetState": true,
		"Confirm": true, "Aim": true, "Serviced": true, "Opened": true, "ByHand": true, "Voided": true, "Doubted": true, "Used": true, "Demand": true, "Fill": true, "Contradicted": true, "Raised": true, "Spent": true, "RefusedForGood": true, "Accepted": true, "BehindNode": true,
		"RestoreLatch": true, "RestorePumpLatch": true, "RestoreLevel": true, "Calibrated": true, "Closed": true, "FloodAhead": true}
	for i, typ := 0, reflect.TypeOf(f.w); i < typ.NumMethod(); i++ {
		if name := typ.Method(i).Name; !silent[name] && !asked[name] && !told[name] {
			t.Errorf("%s: say here whether it changes what a row reads", name)
		}
	}
}
