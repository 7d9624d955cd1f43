package safety

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// line is a titration curve with one buffer capacity, meq/L per pH.
type line float64

func (l line) AcidNeeded(from, to float64) float64 { return (from - to) * float64(l) }
func (l line) PHAfter(from, acid float64) float64  { return from - acid/float64(l) }
func (l line) Buffer(float64) float64              { return float64(l) }

// The pumps of the test farm.
const (
	acidPump dosing.PumpID = iota
	basePump
	calciumPump
	sulfatePump
	pumpCount
)

// The inputs of one tank of the test farm, in order; the station's follow.
var tankInputs = []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC, dosing.QuantityTemperature, dosing.QuantityLevel,
	dosing.QuantityCirculation, dosing.QuantityLeak, dosing.QuantityFlood, dosing.QuantityTopUp, dosing.QuantitySampleFlow,
	dosing.QuantityOutlet, dosing.QuantityRedox}

// nominal is what each input reads on a good day.
var nominal = [dosing.QuantityCount]float64{dosing.QuantityPH: 5.8, dosing.QuantityEC: 1.9, dosing.QuantityTemperature: 20,
	dosing.QuantityLevel: 1000, dosing.QuantityCirculation: 1, dosing.QuantitySampleFlow: 1, dosing.QuantityOutlet: 1,
	dosing.QuantityRedox: 320, dosing.QuantityStockLevel: 40}

// farm is a station of two tanks of 1000 L that share four pumps on two nodes, with
// every input. It sends readings every 5 s and heartbeats every 2 s.
type farm struct {
	t      *testing.T
	s      *Settings
	totals *dosing.Totals
	w      *Watch
	g      *Gate
	now    dosing.Instant
	value  map[dosing.InputID]float64
	mute   map[dosing.InputID]bool
	node   [2]farmNode
	noise  float64
	step   int
	every  int // seconds between readings
	key    uint64
}

type farmNode struct {
	boot   string
	tick   time.Duration
	rate   float64
	busy   bool
	silent bool
}

func farmSettings() *Settings {
	s := &Settings{Station: "row", StartSettling: time.Minute, PumpNode: []NodeID{0, 0, 1, 1},
		Nodes: []Node{{Name: "reagents", FullContract: true}, {Name: "stocks", FullContract: true}},
		Pumps: []dosing.Pump{
			{Name: "acid", Reagent: "nitric acid", Role: dosing.RoleAcid, Group: dosing.GroupAcid, PerSecond: dosing.Millilitre, MinDose: dosing.Millilitre, AcidPerML: 10, ECPerML: 1},
			{Name: "base", Reagent: "potassium hydroxide", Role: dosing.RoleBase, Group: dosing.GroupBase, PerSecond: dosing.Millilitre, MinDose: dosing.Millilitre, AcidPerML: -10, ECPerML: 1},
			{Name: "calcium", Reagent: "calcium nitrate", Role: dosing.RoleStock, Group: dosing.GroupCalcium, PerSecond: 10 * dosing.Millilitre, MinDose: 5 * dosing.Millilitre, ECPerML: 1, Share: 0.5, MacroIon: true, Container: 100 * dosing.Litre},
			{Name: "sulfate", Reagent: "magnesium sulfate", Role: dosing.RoleStock, Group: dosing.GroupSulfate, PerSecond: 10 * dosing.Millilitre, MinDose: 5 * dosing.Millilitre, ECPerML: 1, Share: 0.5, MacroIon: true},
		},
		Caps: []Caps{
			{PerDose: 50 * dosing.Millilitre, PerHour: 200 * dosing.Millilitre, PerDay: 2 * dosing.Litre, OnTime: time.Minute},
			{PerDose: 50 * dosing.Millilitre, PerHour: 200 * dosing.Millilitre, PerDay: 2 * dosing.Litre, OnTime: time.Minute},
			{PerDose: 200 * dosing.Millilitre, PerHour: 2 * dosing.Litre, PerDay: 20 * dosing.Litre, OnTime: time.Minute},
			{PerDose: 200 * dosing.Millilitre, PerHour: 2 * dosing.Litre, PerDay: 20 * dosing.Litre, OnTime: time.Minute},
		},
	}
	for id, name := range []string{"north", "south"} {
		s.Tanks = append(s.Tanks, Tank{Tank: dosing.Tank{Name: name, Volume: 1000, MinVolume: 500, MaxVolume: 1100, DeadTime: time.Minute,
			TimeConstant: time.Minute, BufferScale: 1, TopUp: dosing.Water{Alkalinity: 2, EC: 0.3}, PHNoise: 0.01, ECNoise: 0.005},
			MinTemperature: 10, MaxTemperature: 30})
		for _, q := range tankInputs {
			s.Inputs = append(s.Inputs, Input{Name: name + " " + q.String(), Tank: dosing.TankID(id), Quantity: q, Period: 5 * time.Second})
		}
	}
	s.Inputs = append(s.Inputs,
		Input{Name: "stop", Tank: dosing.AllTanks, Quantity: dosing.QuantityStop, Period: 5 * time.Second},
		Input{Name: "calcium level", Tank: dosing.AllTanks, Quantity: dosing.QuantityStockLevel, Pump: calciumPump, Period: 5 * time.Second})
	return s
}

// newFarm makes a farm, armed and past its start and its first small doses; change edits the
// settings first.
func newFarm(t *testing.T, change ...func(*Settings)) *farm {
	t.Helper()
	f := freshFarm(t, change...)
	f.pass(90 * time.Second)
	for i := range f.w.tanks {
		for class := range f.w.tanks[i].accounts {
			f.w.tanks[i].accounts[class].tastes = tastesNear
		}
	}
	return f
}

// freshFarm makes a farm that has just started.
func freshFarm(t *testing.T, change ...func(*Settings)) *farm {
	s := farmSettings()
	for _, c := range change {
		c(s)
	}
	f := &farm{t: t, s: s, value: map[dosing.InputID]float64{}, mute: map[dosing.InputID]bool{},
		totals: dosing.NewTotals(len(s.Pumps), len(s.Tanks)), noise: 0.01, every: 5,
		now: dosing.Instant{Wall: time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC), Up: time.Second}}
	for i := range f.node {
		f.node[i] = farmNode{boot: "first", rate: 1}
	}
	curves := make([]dosing.Titration, len(s.Tanks))
	for i := range curves {
		curves[i] = line(1)
	}
	for i := range s.Inputs {
		f.value[dosing.InputID(i)] = nominal[s.Inputs[i].Quantity]
	}
	f.w = NewWatch(s, f.totals, curves, f.now)
	f.g = NewGate(f.w)
	f.w.SetLedger(f.now, LedgerReady)
	f.w.Link(f.now, true)
	for i := range s.Tanks {
		f.w.SetMode(f.now, dosing.TankID(i), ModeArmed)
		f.w.Aim(dosing.TankID(i), dosing.Target{PH: 5.8, EC: 2.0})
	}
	return f
}

// input finds the first input of a quantity of a tank, or of the station.
func (f *farm) input(tank dosing.TankID, q dosing.Quantity) dosing.InputID {
	f.t.Helper()
	for i := range f.s.Inputs {
		if f.s.Inputs[i].Quantity == q && (f.s.Inputs[i].Tank == tank || f.s.Inputs[i].Tank == dosing.AllTanks) {
			return dosing.InputID(i)
		}
	}
	f.t.Fatalf("no %s input", q)
	return 0
}

func (f *farm) set(tank dosing.TankID, q dosing.Quantity, value float64) {
	f.value[f.input(tank, q)] = value
}

// drift moves a reading so slowly that it is no jump.
func (f *farm) drift(tank dosing.TankID, q dosing.Quantity, to float64) {
	id := f.input(tank, q)
	for math.Abs(f.value[id]-to) > 0.1 {
		f.value[id] += math.Copysign(0.1, to-f.value[id])
		f.pass(5 * time.Second)
	}
	f.value[id] = to
	f.pass(5 * time.Second)
}

func (f *farm) silence(tank dosing.TankID, q dosing.Quantity, silent bool) {
	f.mute[f.input(tank, q)] = silent
}

// send makes and passes one reading.
func (f *farm) send(id dosing.InputID, value float64, sequence uint64, retained bool) dosing.Quality {
	f.t.Helper()
	r, err := dosing.NewReading(id, f.s.Inputs[id].Quantity, value, f.now, sequence, retained)
	if err != nil {
		f.t.Fatal(err)
	}
	return f.w.Read(r)
}

// pass lets time pass in steps of a second.
func (f *farm) pass(d time.Duration) {
	f.t.Helper()
	for end := f.now.Up + d; f.now.Up < end; {
		f.now = f.now.Add(time.Second)
		f.step++
		for i := range f.node {
			n := &f.node[i]
			n.tick += time.Duration(n.rate * float64(time.Second))
			if f.step%2 == 0 && !n.silent {
				f.w.Heartbeat(f.now, NodeID(i), n.boot, n.tick, !n.busy)
			}
		}
		if f.step%f.every == 0 {
			for i := range f.s.Inputs {
				if id := dosing.InputID(i); !f.mute[id] && f.s.Inputs[i].NotFitted == "" {
					value := f.value[id]
					if q := f.s.Inputs[i].Quantity; q == dosing.QuantityPH || q == dosing.QuantityEC {
						// A probe is never quite still.
						value += f.noise * float64((f.step*7919)%11-5) / 5
					}
					f.send(id, value, 0, false)
				}
			}
		}
		f.w.Evaluate(f.now)
	}
}

// trip finds a trip of a tank.
func (f *farm) trip(tank dosing.TankID, cause Cause) (Trip, bool) {
	for _, trip := range f.w.Trips(tank) {
		if trip.Cause == cause {
			return trip, true
		}
	}
	return Trip{}, false
}

// free says for each pump whether the gate would let it dose into the tank.
func (f *farm) free(tank dosing.TankID) (free [pumpCount]bool) {
	for p := range pumpCount {
		largest, cause := f.g.Largest(f.now, tank, p)
		free[p] = largest > 0
		if free[p] != (cause == CauseNone) {
			f.t.Fatalf("pump %d: %s allowed with cause %s", p, largest, cause)
		}
	}
	return free
}

func (f *farm) wantFree(tank dosing.TankID, when string, want [pumpCount]bool) {
	f.t.Helper()
	if got := f.free(tank); got != want {
		var causes [pumpCount]Cause
		for p := range pumpCount {
			_, causes[p] = f.g.Largest(f.now, tank, p)
		}
		f.t.Fatalf("%s: acid, base, calcium, sulfate may dose into tank %d: %v, want %v (causes %v, trips %+v)", when, tank, got, want, causes, f.w.Trips(tank))
	}
}

// open gives a dose: it is judged, counted and left open.
func (f *farm) open(tank dosing.TankID, p dosing.PumpID, v dosing.Volume) uint64 {
	f.t.Helper()
	clearance, verdict := f.g.Judge(f.now, dosing.Plan{Tank: tank, Pump: p, Volume: v, Reason: dosing.ReasonPHHigh})
	if !verdict.Allowed || clearance == nil {
		f.t.Fatalf("%s of pump %d refused: %s (%s)", v, p, verdict.Cause, verdict.Detail)
	}
	f.key++
	f.w.Opened(dosing.Dose{Key: f.key, Tank: tank, Pump: p, Volume: v, Up: f.now.Up, Open: true})
	return f.key
}

// gave counts a dose that was given whatever the gate would have said of it.
func (f *farm) gave(tank dosing.TankID, p dosing.PumpID, v dosing.Volume) {
	d := dosing.Dose{Tank: tank, Pump: p, Volume: v, Up: f.now.Up}
	f.totals.Count(d)
	f.w.given(d, d.Up)
}

// dose gives a dose and lets the node report it.
func (f *farm) dose(tank dosing.TankID, p dosing.PumpID, v dosing.Volume) {
	f.t.Helper()
	key := f.open(tank, p, v)
	f.pass(5 * time.Second)
	f.w.Closed(f.now, tank, p, key, FateKnown, v)
	f.pass(time.Second)
}

// The ways in which pumps are free.
var (
	allFree      = [pumpCount]bool{true, true, true, true}
	noneFree     = [pumpCount]bool{}
	reagentsOnly = [pumpCount]bool{true, true, false, false}
	stocksOnly   = [pumpCount]bool{false, false, true, true}
)
