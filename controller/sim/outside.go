package sim

import (
	"fmt"
	"math"

	"leat/dosing/chem"
)

// Water is a tank's water that somebody else computes, in place of the chemistry,
// plants and air of this package. Pumps, nodes, probes and faults of those stay.
type Water interface {
	// Step lets so many seconds pass, in which so many mL of each pump entered, in
	// the order of the settings, and returns the water after them. The first call has
	// no seconds: it asks for the start.
	Step(seconds float64, millilitres []float64) (WaterState, error)
}

// WaterState is the water of a tank as its probes would see it if they were perfect.
type WaterState struct {
	PH, EC25        float64 // EC in mS/cm at 25 °C
	Celsius, Litres float64
	Flood, TopUp    bool
	Still           bool // the circulation stands
	// Seen is what reaches the probes where that is other water; nil = the same. Twin is
	// the water as it would be without the doses since a fault began; nil = unknown.
	Seen, Twin *Solution
}

// Solution is pH and EC (mS/cm at 25 °C) of some water.
type Solution struct{ PH, EC25 float64 }

// check refuses what no water can be.
func (s *WaterState) check() error {
	type claim struct {
		what      string
		v         float64
		low, high float64
	}
	claims := []claim{{"pH", s.PH, 0, 14}, {"EC", s.EC25, 0, 200}, {"temperature", s.Celsius, 0, 50}, {"litres", s.Litres, 0, 1e6}}
	for _, w := range []*Solution{s.Seen, s.Twin} {
		if w != nil {
			claims = append(claims, claim{"pH", w.PH, 0, 14}, claim{"EC", w.EC25, 0, 200})
		}
	}
	for _, c := range claims {
		if !(c.v >= c.low && c.v <= c.high) {
			return fmt.Errorf("the plant says %s %g; give a number from %g to %g", c.what, c.v, c.low, c.high)
		}
	}
	return nil
}

// outside asks for five seconds of the water that somebody else computes. After an
// error the water stays as it was; Err tells it.
func (f *Farm) outside(t *tank, seconds float64) {
	if f.err != nil {
		return
	}
	given := make([]float64, len(t.delivered))
	for i, v := range t.delivered {
		given[i] = (v - t.told[i]).Millilitres()
		t.told[i] = v
	}
	state, err := t.water.Step(seconds, given)
	if err == nil {
		err = state.check()
	}
	if err != nil {
		f.err = err
		return
	}
	if rise := state.Litres - t.bulk.litres; t.topUp && rise > 0 && seconds > 0 {
		t.book.toppedUp.litres += rise // the program tells of its valve and level alone
	}
	t.state = state
	t.bulk, t.plume, t.pipe, t.entered = parcel{litres: state.Litres}, parcel{}, nil, parcel{}
	for i := range t.zones {
		if z := &t.zones[i]; !z.floods() {
			z.water = parcel{} // it is part of what the program computes
		}
	}
	t.celsius, t.topUp, t.flood = state.Celsius, state.TopUp, state.Flood
	t.speed = 1
	if state.Still {
		t.speed = 0
	}
	factor, ok := chem.ISO7888(state.Celsius)
	if !ok {
		factor = 1
	}
	t.now.PH, t.now.EC25, t.now.EC, t.now.TempC = state.PH, state.EC25, state.EC25/factor, math.Round(state.Celsius*50)/50
}

// Err is what an outside water failed with; nil while all is well.
func (f *gauges) Err() error { return f.err }
