package safety

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// startled says that a pH has leapt and stayed there, as no dose and no plant takes it: somebody
// poured something in, or the water lost what it buffered with. What it buffered until then says
// nothing any more, so the next doses are first ones again.
func (sn *senses) startled(i *inputState, before float64, up time.Duration) {
	if i.quantity != dosing.QuantityPH || !(math.Abs(i.base-before) > jumpLimit) || len(sn.open) > 0 || sn.tanks[i.tank].lastDose.within(lastsFor, up) {
		return // the current of a pump that runs may do it
	}
	sn.told = true
	t := &sn.tanks[i.tank]
	for _, class := range [...]response.Class{response.Acid, response.Base} {
		a := &t.accounts[class]
		a.untrust()
		a.tasting = 0
	}
	if t.responses != nil {
		t.responses.Disturbed()
	}
}
