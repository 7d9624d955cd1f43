package sim

import (
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

// Truth is what a real farm hides: the water as it is.
type Truth struct {
	At time.Duration
	// PH and EC (mS/cm at 25 °C) of the bulk, solved every five seconds.
	PH, EC float64
	// The same once all that is on its way has mixed, before air and plants answer;
	// flood benches left out.
	SettledPH, SettledEC float64
	Ions                 chem.Totals // of the bulk, mmol/L
	Celsius              float64
	Litres               float64 // circulating, as the level gauge counts
	Flooded              float64 // litres that stand in flood benches
	Flood, TopUp, Light  bool
	Circulation          bool
	// Delivered is what truly entered the tank, by pump; Counted is the same by the
	// nodes' own counts, which know nothing of a worn tube or an empty container.
	Delivered, Counted []dosing.Volume
	Unsolved           int // speciations that failed since the start; 0 in any sane night
}

// gauges tell what is truly so, which no daemon sees.
type gauges struct {
	*site
	trace trace
	err   error // of an outside water
}

// Truth is the state of a tank now.
func (f *gauges) Truth(id dosing.TankID) Truth {
	t := f.tanks[id]
	truth := Truth{
		At: f.now, PH: t.now.PH, EC: t.now.EC25, Ions: t.bulk.perLitre(), Celsius: t.celsius, Litres: t.litres(),
		Flooded: t.all().litres - t.litres(), Flood: t.flooding(), TopUp: t.topUp, Light: t.light,
		Circulation: t.speed+t.trouble.speed > 0.2,
		Delivered:   append([]dosing.Volume(nil), t.delivered...), Counted: append([]dosing.Volume(nil), t.counted...), Unsolved: t.unsolved,
	}
	truth.SettledPH, truth.SettledEC = t.settle()
	return truth
}

// settle solves the water as it will be. Its solver is its own: asking for the
// truth must not change what the farm computes next by a single bit.
func (t *tank) settle() (ph, ec float64) {
	if len(t.pipe) == 0 && t.plume.litres == 0 && t.entered.litres == 0 {
		return t.now.PH, t.now.EC25
	}
	all := t.settled()
	totals := all.perLitre()
	var r chem.Result
	if err := t.rest.Solve(&totals, chem.Conditions{TempC: t.now.TempC, OnlyHere: true}, &r); err != nil {
		return math.NaN(), math.NaN()
	}
	return r.PH, r.EC * t.ratio
}

// Left is what a pump's container holds.
func (f *gauges) Left(p dosing.PumpID) dosing.Volume { return f.pumps[p].left }

// Delivered is what left a pump's container, wherever it went.
func (f *gauges) Delivered(p dosing.PumpID) dosing.Volume { return f.pumps[p].drawn }

// Starts is how many orders the nodes have begun.
func (f *gauges) Starts() int { return f.starts }

// Running is the pump that runs now, by order.
func (f *gauges) Running() (dosing.PumpID, bool) {
	for _, n := range f.nodes {
		if n.running != nil && n.up(f.now) {
			return n.running.pump, true
		}
	}
	return 0, false
}

// Balance is every mole (mmol) and litre that crossed the border of a tank:
// Start + Dosed + ToppedUp + Added - Taken - Drained + air = Present, where the air
// gave GasIn mmol of carbon and took Evaporated litres.
type Balance struct {
	Start, Dosed, ToppedUp, Added, Taken, Drained, Present Content
	GasIn, Evaporated                                      float64
}

// Content is an amount of water with what is dissolved in it.
type Content struct {
	Ions   chem.Totals // mmol
	Litres float64
}

// Balance is the book of a tank.
func (f *gauges) Balance(id dosing.TankID) Balance {
	t := f.tanks[id]
	c := func(p parcel) Content { return Content{p.ions, p.litres} }
	b := &t.book
	return Balance{Start: c(b.start), Dosed: c(b.dosed), ToppedUp: c(b.toppedUp), Added: c(b.added), Taken: c(b.taken),
		Drained: c(b.drained), Present: c(t.all()), GasIn: b.gasIn, Evaporated: b.evaporated}
}

// trace condenses the farm's whole history into one number.
type trace struct{ hash uint64 }

func (t *trace) add(bits uint64) {
	for range 8 {
		t.hash = (t.hash ^ bits&0xff) * 0x100000001b3 // FNV-1a
		bits >>= 8
	}
}

func (f *gauges) fold() {
	f.trace.add(uint64(f.now))
	for _, t := range f.tanks {
		f.trace.add(math.Float64bits(t.now.PH))
		f.trace.add(math.Float64bits(t.now.EC25))
		f.trace.add(math.Float64bits(t.litres()))
		for _, v := range t.delivered {
			f.trace.add(uint64(v))
		}
	}
}

// TraceHash is a hash of the truth of every tank at every five seconds so far: two
// runs with the same hash were the same night.
func (f *gauges) TraceHash() uint64 { return f.trace.hash }

func seconds(s float64) time.Duration { return time.Duration(s) * time.Second }
