package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// An EC probe is compensated to 25 °C once. Where the transmitter does it and leat is told
// that the value is raw, it is done twice; where neither does, never. Then EC swings with the
// day's warmth, stocks are dosed into each cool morning, and no reading shows it: only the
// run of EC beside that of temperature, once doses, top-up, what evaporates and what plants
// take are told apart. That takes half a day or more, and water that warms and cools.
const (
	warmthBlock = 10 * time.Minute // readings are averaged over this
	warmthLeast = 12 * time.Hour   // and followed for so long: a morning looks like plants that take less
	warmthSwing = 2.0              // °C between the coolest and the warmest of it
	// The share of EC per °C that is no small error of a declared slope, and how sure it
	// must be.
	warmthWrong = 0.008
	warmthZ     = 5.0

	warmthStart  = 0.03  // sd of the error of compensation before anything is known, per °C
	warmthGain   = 0.15  // sd of what the stocks do ÷ predicted
	warmthRate   = 0.03  // sd of what the plants take, mS/cm/h
	warmthWander = 0.002 // sd by which that changes in an hour, mS/cm/h,
	warmthMoody  = 0.2   // and as a share of itself
	warmthBlur   = 0.003 // sd of a mean of readings in steps of a probe, mS/cm
	warmthUnsure = 0.5   // share of what comes in in a block that may be seen in another
	// A block further off than this many deviations is lights that went on or off: what
	// plants take is unsure anew. Twice that is no plant: the water is followed anew.
	warmthTurn = 3.5
	warmthLost = 12.0
)

// warmth follows EC beside temperature: a filter over the salt in the water as EC at full
// volume, how fast that changes by itself, the error of compensation per °C, and what the
// stocks do ÷ predicted.
type warmth struct {
	began time.Duration // of the block
	ec, t struct {
		sum, count float64
	}
	given   float64 // mS/cm at full volume, in this block
	onWay   float64 // of earlier blocks, not arrived yet
	came    float64 // L of top-up that had ever come when the block began
	spoilt  bool    // by a flood, standing water or work
	stirred float64 // share of the water that came in and is not mixed yet

	on          bool
	since       time.Duration
	zero        float64 // °C from which the error counts
	least, most float64 // °C
	x           [4]float64
	p           [4][4]float64
}

// reads adds a reading that may dose.
func (h *warmth) reads(q dosing.Quantity, value float64) {
	switch q {
	case dosing.QuantityEC:
		h.ec.sum += value
		h.ec.count++
	case dosing.QuantityTemperature:
		h.t.sum += value
		h.t.count++
	}
}

// followWarmth ends a block when it is time.
func (wa *waters) followWarmth(t *tankState, up time.Duration) {
	h := &t.warmth
	h.spoilt = h.spoilt || wa.on(t, dosing.QuantityFlood, up) || t.flood.Within(t.plant.MixingTime(), up) || t.operator.Maintenance || t.operator.Cleaning ||
		t.group[dosing.QuantityCirculation].adverse || t.doubt.why != ""
	if up-h.began < warmthBlock {
		return
	}
	level := &t.group[dosing.QuantityLevel]
	if h.spoilt || h.ec.count < 5 || h.t.count < 1 || level.standing != standFit || up-h.began > 2*warmthBlock {
		h.on = false
	} else {
		share := level.smooth / float64(t.plant.Volume)
		fresh := (t.water.came - h.came) / float64(t.plant.Volume)
		h.block(up, h.ec.sum/h.ec.count, h.t.sum/h.t.count, share, fresh, float64(t.plant.TopUp.EC), t.plant.DeadTime+2*t.plant.TimeConstant)
	}
	h.began, h.spoilt, h.came = up, false, t.water.came
	h.ec.sum, h.ec.count, h.t.sum, h.t.count, h.given = 0, 0, 0, 0, 0
}

// begin follows anew from a value. What is known of the error and of the stocks stands.
func (h *warmth) begin(up time.Duration, salt, celsius float64) {
	e, g := h.p[2][2], h.p[3][3]
	if h.since == 0 {
		e, g = warmthStart*warmthStart, warmthGain*warmthGain
		h.x[3] = 1
		h.since, h.least, h.most = up, celsius, celsius
	}
	h.p = [4][4]float64{}
	h.p[0][0], h.p[1][1], h.p[2][2], h.p[3][3] = 0.01*0.01, warmthRate*warmthRate, e, g
	h.x[0], h.x[1] = salt, 0
	h.on, h.zero, h.onWay = true, celsius, 0
}

// block takes the means of one block.
func (h *warmth) block(up time.Duration, ec, celsius, share, fresh, topUp float64, lag time.Duration) {
	salt := ec * share
	left := math.Exp(-float64(up-h.began) / float64(max(lag, time.Second)))
	h.stirred = float64(h.stirred*left) + fresh
	if !h.on {
		h.begin(up, salt, celsius)
		return
	}
	hours := (up - h.began).Hours()
	h.onWay += h.given
	arrived := h.onWay * (1 - left)
	h.onWay -= arrived
	h.predict(hours, arrived, float64(fresh*topUp))
	blur := math.Hypot(warmthBlur, float64(warmthUnsure*h.stirred*ec))
	row := [4]float64{1, 0, salt * (celsius - h.zero), 0}
	off, s := h.weigh(&row, salt, blur)
	if off*off > float64(warmthLost*warmthLost*s) {
		h.begin(up, salt, celsius)
		return
	}
	if off*off > float64(warmthTurn*warmthTurn*s) {
		for i := range h.p {
			h.p[1][i], h.p[i][1] = 0, 0
		}
		h.p[1][1] = warmthRate * warmthRate
		h.p[0][0] += float64(warmthRate * warmthRate * hours * hours)
		off, s = h.weigh(&row, salt, blur)
	}
	h.correct(&row, off, s)
	h.least, h.most = min(h.least, celsius), max(h.most, celsius)
}

// predict carries the filter over a block.
func (h *warmth) predict(hours, arrived, topped float64) {
	h.x[0] += float64(hours*h.x[1]) + float64(arrived*h.x[3]) + topped
	for j := range h.p {
		h.p[0][j] += float64(hours*h.p[1][j]) + float64(arrived*h.p[3][j])
	}
	for i := range h.p {
		h.p[i][0] += float64(hours*h.p[i][1]) + float64(arrived*h.p[i][3])
	}
	early := float64(warmthUnsure * arrived)
	h.p[0][0] += float64(early*early) + float64(1e-6*hours)
	wander := math.Hypot(warmthWander, float64(warmthMoody*h.x[1]))
	h.p[1][1] += float64(wander * wander * hours)
}

// weigh returns how far a block lies from what was expected, with the variance of that.
func (h *warmth) weigh(row *[4]float64, salt, blur float64) (off, s float64) {
	off, s = salt, float64(blur*blur)
	for i := range row {
		off -= float64(row[i] * h.x[i])
		for j := range row {
			s += float64(row[i] * h.p[i][j] * row[j])
		}
	}
	return off, s
}

func (h *warmth) correct(row *[4]float64, off, s float64) {
	var pr [4]float64
	for i := range pr {
		for j := range row {
			pr[i] += float64(h.p[i][j] * row[j])
		}
	}
	for i := range pr {
		h.x[i] += float64(pr[i] / s * off)
		for j := range pr {
			h.p[i][j] -= float64(pr[i] / s * pr[j])
		}
	}
}

// sure says that the compensation is wrong beyond doubt.
func (h *warmth) sure() bool {
	sd := math.Sqrt(max(h.p[2][2], 0))
	return h.on && h.began-h.since >= warmthLeast && h.most-h.least >= warmthSwing && math.Abs(h.x[2]) >= warmthWrong && math.Abs(h.x[2]) > float64(warmthZ*sd)
}

// Miscompensated says how EC of a tank moves with temperature beside all else that moves it;
// "" where it does not.
func (wa *waters) Miscompensated(id dosing.TankID) string {
	if int(id) >= len(wa.tanks) || !wa.tanks[id].warmth.sure() {
		return ""
	}
	h := &wa.tanks[id].warmth
	name := wa.settings.Inputs[wa.tanks[id].inputs[dosing.QuantityEC][0]].Name
	way := "it is not brought to 25 °C, or by too little"
	if h.x[2] < 0 {
		way = "it is brought to 25 °C twice, or by too much"
	}
	return fmt.Sprintf("%s changes by %+.1f %% per °C (%.0f to %.0f °C) beyond what doses, water and plants explain: %s", name, 100*h.x[2], h.least, h.most, way)
}
