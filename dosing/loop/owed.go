package loop

import (
	"math"

	"leat/dosing"
)

// blend is the row's recipe and what of it was begun and not yet delivered. A
// blend is owed whole: plants that get the calcium of a portion but not its
// sulfate are fed another recipe, so the remainder stands until it is given.
type blend struct {
	pumps     []dosing.Pump
	stocks    []dosing.PumpID
	volume    float64         // litres of tank
	shares    []float64       // of the blend by volume, by pump
	owed      []dosing.Volume // by pump; negative where a pump gave more than it was owed
	part      []float64       // parts of a microlitre that rounding down left, by pump
	ecPerML   float64         // mS/cm of 1 mL of blend in 1 L
	acidPerML float64         // meq/L of 1 mL of blend in 1 L
	smallest  float64         // mS/cm of the smallest blend of which some stock can give a dose; at most coarsest

	traceRefused withheld // a stock without a macro ion
}

// portion is the largest blend begun at once, mS/cm. Large enough that groups
// that must wait for one another do not change places for every drop, small
// enough to stay within what may be in transit.
const portion = 0.2

// mostOwed bounds what a trace stock that was away for days gets when it is back:
// its part of a blend worth this, mS/cm. All of it at once would be a dose no
// crop was meant to have.
const mostOwed = 1.0

// coarsest bounds the smallest blend, mS/cm. A small tank that shares its stocks with a
// large one is steered by single doses, which leat check keeps below it: half of a whole
// blend of them may be more than the band.
const coarsest = 0.02

func newBlend(pumps []dosing.Pump, stocks []dosing.PumpID, volume float64) blend {
	b := blend{pumps: pumps, stocks: stocks, volume: volume, owed: make([]dosing.Volume, len(pumps)), part: make([]float64, len(pumps))}
	shares := make([]float64, len(pumps))
	for _, id := range stocks {
		shares[id] = pumps[id].Share
	}
	b.reshare(shares)
	return b
}

// reshare gives the blends that are begun from now on other shares. What is owed
// of an earlier one stands.
func (b *blend) reshare(shares []float64) {
	b.shares, b.ecPerML, b.acidPerML, b.smallest = shares, 0, 0, 0
	least := math.Inf(1)
	for _, id := range b.stocks {
		p := &b.pumps[id]
		b.ecPerML += float64(shares[id] * p.ECPerML)
		b.acidPerML += float64(shares[id] * p.AcidPerML)
		if shares[id] > 0 {
			least = min(least, p.MinDose.Millilitres()/shares[id])
		}
	}
	if b.volume > 0 && !math.IsInf(least, 1) {
		b.smallest = min(float64(least*b.ecPerML)/b.volume, coarsest)
	}
}

// usable says whether the row can raise EC at all.
func (b *blend) usable() bool { return b.ecPerML > 0 && b.volume > 0 && b.smallest > 0 }

// acid is what a blend worth ec mS/cm brings, meq/L.
func (b *blend) acid(ec float64) float64 { return float64(ec/b.ecPerML) * b.acidPerML }

// owe begins a blend worth ec mS/cm, rounded down to the microlitre; what the
// rounding leaves is kept for the next.
func (b *blend) owe(ec float64) {
	microlitres := float64(float64(ec*b.volume)/b.ecPerML) * float64(dosing.Millilitre)
	for _, id := range b.stocks {
		exact := float64(microlitres*b.shares[id]) + b.part[id]
		whole := math.Floor(exact)
		if !(whole >= 0 && whole < float64(dosing.LargestVolume)) {
			continue
		}
		if b.owed[id] > dosing.FromMillilitres(float64(mostOwed*b.volume)/b.ecPerML*b.shares[id]) {
			continue
		}
		b.owed[id] += dosing.Volume(whole)
		b.part[id] = exact - whole
	}
}

// step is the least blend, mS/cm, of which one more stock is due.
func (b *blend) step() float64 {
	least := math.Inf(1)
	for _, id := range b.stocks {
		if b.shares[id] > 0 && !b.due(id) {
			// Half a microlitre, so that rounding leaves it due.
			lack := (float64(b.pumps[id].MinDose-b.owed[id]) + 0.5) / float64(dosing.Millilitre)
			least = min(least, lack/b.shares[id])
		}
	}
	return float64(least*b.ecPerML) / b.volume
}

// ready says whether the gate would let any stock of the row go now.
func (b *blend) ready(limits []dosing.Volume) bool {
	for _, id := range b.stocks {
		if limits[id] >= b.pumps[id].MinDose {
			return true
		}
	}
	return false
}

// due says whether the pump is owed at least a dose it can repeat.
func (b *blend) due(id dosing.PumpID) bool { return b.owed[id] >= b.pumps[id].MinDose }

// left says what still waits of the blend: whole tells that a stock that the
// others must wait for is due, trace that one without a macro ion is due and the
// gate refuses it.
func (b *blend) left(limits []dosing.Volume) (whole, trace bool) {
	for _, id := range b.stocks {
		switch {
		case !b.due(id):
		case b.pumps[id].MacroIon || limits[id] >= b.pumps[id].MinDose:
			whole = true
		default:
			trace = true
		}
	}
	return whole, trace
}

// ecOwed is what the unfinished blend is worth, mS/cm.
func (b *blend) ecOwed() float64 {
	sum := 0.0
	for _, id := range b.stocks {
		if b.owed[id] > 0 {
			sum += float64(b.owed[id].Millilitres()*b.pumps[id].ECPerML) / b.volume
		}
	}
	return sum
}

// next is the stock to give now, at most most mS/cm of it: one of the last
// group first, so that a group is finished before another starts, else the first
// of the order calcium, sulfate, … of the groups. Stocks the gate holds are
// passed over.
func (b *blend) next(last dosing.Group, limits []dosing.Volume, room float64) (dosing.PumpID, dosing.Volume, bool) {
	var best dosing.PumpID
	var volume dosing.Volume
	found := false
	for _, id := range b.stocks {
		p := &b.pumps[id]
		v := min(b.owed[id], limits[id])
		if p.ECPerML > 0 {
			v = min(v, dosing.FromMillilitres(float64(room*b.volume)/p.ECPerML))
		}
		if v < p.MinDose {
			continue
		}
		if found {
			q := &b.pumps[best]
			if q.Group == last && q.Group != dosing.GroupNeutral || p.Group != last && p.Group >= q.Group {
				continue
			}
		}
		best, volume, found = id, v, true
	}
	return best, volume, found
}
