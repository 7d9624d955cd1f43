package safety

import "leat/dosing"

// rangeBack is how far inside its range a value must be again after it was outside: one that stands
// at the edge would come and go with its noise.
var rangeBack = [dosing.QuantityCount]float64{dosing.QuantityPH: 0.1, dosing.QuantityEC: 0.02, dosing.QuantityTemperature: 0.5, dosing.QuantityRedox: 10}

// edges says that a value whose input was outside its range is not well inside it yet.
func (i *inputState) edges(was fault, value float64) bool {
	back := rangeBack[i.quantity]
	return (was == faultRange || was == faultEdge) && !(value >= i.low+back && value <= i.high-back)
}
