package response

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// While EC is held, a stock gives so little at a time that no dose of it can be judged alone: an
// empty container hides for hours behind its neighbours, since the loop gives more of all. So one
// filter follows EC for days with a ratio for each stock, what it does ÷ what it should, and a drift
// for plants and evaporation. What they share (a probe's cell, the volume, slow water) cancels: a
// stock is named by how far it lies from the mean of the others.
const (
	balanceOwn    = 0.35  // sd of a stock's ratio about what all do, before anything was seen
	balanceAll    = 0.3   // sd of what all do
	balanceWalk   = 0.05  // sd by which a ratio may have changed in an hour
	balanceDrift  = 0.05  // sd of the drift, mS/cm/h
	balanceFloor  = 0.002 // sd of a mean of readings that no averaging removes, mS/cm
	balanceTiming = 0.2   // share of what arrives in a bin that may come in another
	balanceStep   = 5.0   // deviations beyond which EC stepped by itself: a bubble, somebody's stock

	// While more than this is given within three mixing times, and as many of what slow water takes to even out,
	// EC is made up, not held: water that answers late, in ponds and benches, would be laid to the stock that came first.
	balanceHeld = 0.1 // mS/cm
	balanceRest = 3

	// Readings are looked at this late: what is poured within a bin becomes one mark, which must be whole, and a rise of
	// the level tells only after a while that water came.
	balanceLate = 2 * BinsPerMixing // bins

	balanceLeast = 0.25 // by which a stock must lie from the others beyond doubt,
	balanceZ     = 2.5  // so many deviations
	balanceBack  = 0.1  // nearer than which it is as the others again
)

// balance is that filter: level, drift, top-up's dilution ÷ what was told, a ratio for each stock.
type balance struct {
	pumps   []dosing.PumpID
	states  []int // by pump: its state; 0 = it is no stock
	x       []float64
	p       [][]float64
	gain    []float64
	courses []course  // by state
	before  []float64 // what had arrived at the last mean of readings, by state
	row     []float64
	stands  []int // by state: 1 = it does more than the others, -1 = less

	begun bool
	bin   int64         // of the last mean of readings
	clock time.Duration // of the courses: marks that arrive until then are in them
}

const (
	balanceTopUp  = 2 // state
	balanceOthers = 3 // the first stock's
)

func newBalance(pumps []dosing.Pump) balance {
	b := balance{states: make([]int, len(pumps))}
	for i := range pumps {
		if pumps[i].Role == dosing.RoleStock && pumps[i].ECPerML > 0 {
			b.states[i] = balanceOthers + len(b.pumps)
			b.pumps = append(b.pumps, dosing.PumpID(i))
		}
	}
	n := balanceOthers + len(b.pumps)
	b.x, b.gain, b.before, b.row = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	b.courses, b.stands = make([]course, n), make([]int, n)
	for range n {
		b.p = append(b.p, make([]float64, n))
	}
	b.forget()
	return b
}

// forget drops what was learned of all stocks.
func (b *balance) forget() {
	b.begun = false
	for i := range b.p {
		clear(b.p[i])
	}
	b.x[1], b.p[1][1] = 0, float64(balanceDrift*balanceDrift)
	b.x[balanceTopUp], b.p[balanceTopUp][balanceTopUp] = 1, float64(balanceAll*balanceAll)
	for i := balanceOthers; i < len(b.x); i++ {
		b.x[i], b.stands[i] = 1, 0
		for j := balanceOthers; j < len(b.x); j++ {
			b.p[i][j] = float64(balanceAll * balanceAll)
		}
		b.p[i][i] += float64(balanceOwn * balanceOwn)
	}
}

// refilled drops what was learned of one stock: it does again what the others do, as far as is known.
func (b *balance) refilled(pump dosing.PumpID) {
	if int(pump) >= len(b.states) || b.states[pump] == 0 {
		return
	}
	s := b.states[pump]
	clear(b.stands) // what the others were compared with is gone
	for i := range b.p {
		b.p[s][i], b.p[i][s] = 0, 0
	}
	b.x[s], b.p[s][s] = 1, float64(balanceAll*balanceAll)+float64(balanceOwn*balanceOwn)
}

// read goes on to the mean of readings that is complete now.
func (b *balance) read(r *Responses, up time.Duration) {
	bin := r.ec.Bin(up) - balanceLate
	if len(b.pumps) < 2 || b.begun && bin <= b.bin {
		return
	}
	m, late := &r.ec.bins[uint64(max(bin, 0))%binCount], r.ec.Span(balanceLate)
	if r.water.flood.Within(r.tank.FloodWait()+late, up) || r.pending && up >= r.pendUntil ||
		r.marks.stocksSince(up-late-balanceRest*(r.tank.MixingTime()+slowFade(&r.tank))) > balanceHeld {
		b.begun = false
		return
	}
	if m.index != bin || m.count == 0 {
		return
	}
	middle := time.Duration((float64(bin) + 0.5) * float64(r.ec.width))
	known := b.arrive(r, middle)
	value, variance := m.sum/m.count, r.ec.noise/m.count+float64(balanceFloor*balanceFloor)+r.ec.grain()
	if !b.begun || bin-b.bin > BinsPerMixing {
		b.begin(value, variance)
	} else {
		b.predict(time.Duration(bin-b.bin)*r.ec.width, known)
		b.correct(value, variance)
	}
	b.begun, b.bin = true, bin
	copy(b.before, b.row)
	b.judge(later(&r.tank))
}

// arrive moves the courses on to a time and returns what acid and base brought meanwhile.
func (b *balance) arrive(r *Responses, to time.Duration) (known float64) {
	q := question{deadTime: r.tank.DeadTime, lag: r.tank.TimeConstant, slow: r.tank.Slow, fade: slowFade(&r.tank)}
	lag, fade := q.lag.Seconds(), q.fade.Seconds()
	const others = 0 // the level's own course: what acid and base bring along
	was := b.courses[others].value(&q)
	for i := range b.courses {
		b.courses[i].decay((to - b.clock).Seconds(), lag, fade)
	}
	for i := range r.marks.kept() {
		m := &r.marks.list[i]
		arrives := m.up + q.deadTime
		if arrives <= b.clock || arrives > to {
			continue
		}
		state, effect := others, m.ec
		switch {
		case m.class == topUpClass:
			state = balanceTopUp
		case m.class == Stock:
			state = b.states[m.pump]
		}
		c := course{arrived: effect, lagging: effect, fading: effect}
		c.decay((to - arrives).Seconds(), lag, fade)
		b.courses[state].arrived += c.arrived
		b.courses[state].lagging += c.lagging
		b.courses[state].fading += c.fading
	}
	b.clock = to
	for i := range b.row {
		b.row[i] = b.courses[i].value(&q)
	}
	return b.row[others] - was
}

// slowFade is the time in which a dose's excess over the slow water falls to 37 %; 0 where all water is quick.
func slowFade(t *dosing.Tank) time.Duration {
	if !(t.Slow > 0) {
		return 0
	}
	return time.Duration((1 - t.Slow) * float64(t.Exchange))
}

// begin takes the level anew; what was learned of the stocks stands.
func (b *balance) begin(value, variance float64) {
	for i := range b.p {
		b.p[0][i], b.p[i][0] = 0, 0
	}
	b.x[0], b.p[0][0] = value, variance
}

// predict lets time pass in which known and a share of each stock arrived.
func (b *balance) predict(passed time.Duration, known float64) {
	h := passed.Hours()
	moved := func(i int) float64 {
		if i == 1 {
			return h
		}
		return b.row[i] - b.before[i]
	}
	b.x[0] += known
	unsure := float64(balanceTiming * balanceTiming * known * known)
	for i := 1; i < len(b.x); i++ {
		by := moved(i)
		b.x[0] += float64(by * b.x[i])
		for j := range b.x {
			b.p[0][j] += float64(by * b.p[i][j])
		}
		if i > 1 {
			unsure += float64(balanceTiming * balanceTiming * by * by)
		}
	}
	for i := 1; i < len(b.x); i++ {
		by := moved(i)
		for j := range b.x {
			b.p[j][0] += float64(by * b.p[j][i])
		}
	}
	b.p[0][0] += unsure + float64(creepEC*creepEC*h)
	left := 1 - min(h/4, 1) // a drift is forgotten in hours
	b.x[1] *= left
	for j := range b.x {
		b.p[1][j] *= left
		b.p[j][1] *= left
	}
	b.p[1][1] += float64((1 - float64(left*left)) * balanceDrift * balanceDrift)
	for i := balanceOthers; i < len(b.x); i++ {
		b.p[i][i] += float64(balanceWalk * balanceWalk * h)
	}
}

// correct takes a mean of readings. A step that nothing explains starts the level anew, so that no
// stock is blamed for it.
func (b *balance) correct(value, variance float64) {
	off, s := value-b.x[0], b.p[0][0]+variance
	if off*off > float64(balanceStep*balanceStep*s) {
		b.begin(value, variance)
		return
	}
	for i := range b.x {
		b.gain[i] = b.p[i][0] / s
	}
	for i := range b.x {
		b.x[i] += float64(b.gain[i] * off)
	}
	for j := len(b.x) - 1; j >= 0; j-- {
		first := b.p[0][j]
		for i := range b.x {
			b.p[i][j] -= float64(b.gain[i] * first)
		}
	}
}

// beside is by how much a stock does more than the mean of the others, and how sure that is.
func (b *balance) beside(s int) (by, sd float64) {
	share := -1 / float64(len(b.pumps)-1)
	weight := func(i int) float64 {
		if i == s {
			return 1
		}
		return share
	}
	variance := 0.0
	for i := balanceOthers; i < len(b.x); i++ {
		by += float64(weight(i) * b.x[i])
		for j := balanceOthers; j < len(b.x); j++ {
			variance += float64(weight(i) * weight(j) * b.p[i][j])
		}
	}
	return by, math.Sqrt(max(variance, 0))
}

// later is by how much a stock may do more at first, where zones take up their share later.
func later(t *dosing.Tank) float64 { return t.Later / (1 - t.Later) }

func (b *balance) judge(later float64) {
	for s := balanceOthers; s < len(b.x); s++ {
		by, sd := b.beside(s)
		switch size := math.Abs(by); {
		case size-float64(balanceZ*sd) > balanceLeast+max(math.Copysign(later, by), 0):
			b.stands[s] = int(math.Copysign(1, by))
		case size < balanceBack, b.stands[s]*int(math.Copysign(1, by)) < 0:
			b.stands[s] = 0
		}
	}
}

// OffBalance says which stock of a tank does otherwise than the others for what it should; "" while none does.
// Of two, the one that is farther from what was told.
func OffBalance(r *Responses) string {
	if r == nil {
		return ""
	}
	if r.slowPH.sum >= slowMost/2 {
		return "" // neighbours are told apart by when they show; EC seems late where one of them does not
	}
	b := &r.balance
	worst, far := 0, 0.0
	for s := balanceOthers; s < len(b.x); s++ {
		if off := math.Abs(math.Log(max(b.x[s], 0.05))); b.stands[s] != 0 && off > far {
			worst, far = s, off
		}
	}
	if worst == 0 {
		return ""
	}
	by, sd := b.beside(worst)
	others := b.x[worst] - by
	name := r.pumps[b.pumps[worst-balanceOthers]].Name
	return fmt.Sprintf("%s does %.0f %% of what it should, the other stocks %.0f %%, give or take %.0f: container, strength and pump look alike in this",
		name, 100*max(b.x[worst], 0), 100*others, 100*sd)
}
