package loop

import (
	"math"
	"time"
)

// outlook is one quantity seen from its target. Amounts are in the coordinate of
// the loop, meq/L of acid or mS/cm, positive where the value is too high.
type outlook struct {
	known    bool
	value    float64 // filtered
	settled  float64 // where it comes to rest with what is already on its way
	slope    float64 // amount per unit of the value at the estimate
	need     float64 // whole settled need at the learned buffer
	cautious float64 // what may be dosed now: a fraction of it at the pessimistic buffer
	topUp    bool    // most of the need is top-up that is still entering
	moving   float64 // net amount in transit
}

// look computes the need of a quantity. The proportional step takes a fraction of
// the measured error at the pessimistic capacity, e^(gain − spread), less what is
// already in transit in full. A need shrinks only as answers arrive, so
// doses in the dead time cannot pile up. Drift over the horizon, what leaks into the slow
// water and top-up that is still entering are amounts, known without the buffer, and are
// met in full.
//
// The integral is the drift alone: a setpoint step changes the need at once and
// leaves nothing behind, which an add-only loop could not take back.
func (o *observer) look(target, moving float64, ahead time.Duration) outlook {
	capacity := o.capacity()
	coming := float64(o.drift*ahead.Hours()) - o.waters.leak(ahead) - moving
	failing := o.curve.AcidNeeded(o.value, target) * capacity
	v := outlook{
		known:  true,
		value:  o.value,
		slope:  o.curve.Buffer(o.value) * capacity,
		need:   failing + coming + o.entering,
		moving: moving,
	}
	v.settled = o.curve.PHAfter(o.value, -(coming+o.entering)/capacity)
	v.topUp = v.need*o.entering > 0 && math.Abs(o.entering) > math.Abs(v.need)/2
	v.cautious = v.need
	if failing*v.need > 0 {
		v.cautious = float64(o.tuning.fraction*(float64(o.caution()*failing)-moving)) + coming + moving + o.entering
		if v.cautious*v.need < 0 {
			v.cautious = 0
		}
	}
	v.agree(failing)
	if !finite(v.need) || !finite(v.cautious) || !finite(v.settled) || !(v.slope > 0) {
		return outlook{}
	}
	return v
}

// agree keeps what is on its way from speaking for more of its opposite than the reading
// shows or would be needed if nothing were on its way: it may be there by a person's word
// alone. While the reading speaks against a dose the gate refuses it, and says so.
func (v *outlook) agree(failing float64) {
	if !(v.moving*v.need < 0) || !(failing*v.need > 0) {
		return
	}
	sign := math.Copysign(1, v.need)
	most := max(math.Abs(failing), sign*(v.need+v.moving))
	v.need = sign * min(math.Abs(v.need), most)
	v.cautious = max(-most, min(most, v.cautious))
}

// amount is how much to dose now toward a smaller need, as a positive number; 0
// in the dead band of band plus half the smallest dose around target. Less than
// the smallest dose becomes one smallest dose if nothing of the kind is on its
// way: outside the dead band it leaves less error than it finds.
func (v *outlook) amount(target, band, smallest float64) float64 {
	if !v.known || !(math.Abs(v.settled-target) > band+float64(smallest/v.slope)/2) {
		return 0
	}
	wanted := math.Abs(v.cautious)
	if wanted >= smallest {
		return wanted
	}
	moving := v.moving
	if v.need < 0 {
		moving = -moving
	}
	if moving < smallest/2 && math.Abs(v.need) > smallest/2 {
		return smallest
	}
	return 0
}

func finite(x float64) bool { return x-x == 0 }

// leave leaves part of an acid need to acid that is to come with stock, but never more
// than keeps pH within its band until then. Base is never given ahead of it.
func (v *outlook) leave(target, acid float64) {
	acid = min(acid, float64(leftPH*v.slope), v.need)
	if !(acid > 0) {
		return
	}
	v.settled -= float64((v.settled - target) * acid / v.need)
	v.need -= acid
	v.cautious = max(0, v.cautious-acid)
}
