package safety

import (
	"time"

	"leat/dosing"
)

// senses takes the readings and says what each is worth.
type senses struct {
	*state
	waters *waters
}

// Read assesses a reading and keeps it. It returns the reading's own quality; what
// it is worth later, its age included, tells Input. It allocates nothing.
func (sn *senses) Read(r dosing.Reading) dosing.Quality {
	if int(r.Input()) >= len(sn.inputs) {
		return dosing.QualityFailure
	}
	i := &sn.inputs[r.Input()]
	if !i.fitted || r.Quantity() != i.quantity {
		return dosing.QualityFailure
	}
	if !r.Retained() {
		sn.heard = max(sn.heard, r.At().Up)
	}
	known, before := i.based && i.kept == lastsCount, i.base
	quality := i.take(r, i.probe && sn.moving(i.tank, r.At().Up), i.probe && sn.watered(i.tank, r.At().Up))
	if i.came = quality; known && quality.MayDose() && int(i.tank) < len(sn.tanks) {
		sn.startled(i, before, r.At().Up)
	}
	for t := range sn.tanks {
		if i.tank == dosing.TankID(t) || i.tank == dosing.AllTanks {
			sn.tanks[t].news |= 1 << i.quantity
		}
	}
	if !quality.MayDose() || int(i.tank) >= len(sn.tanks) {
		return quality
	}
	t := &sn.tanks[i.tank]
	if t.responses != nil {
		t.responses.Read(r.At(), i.quantity, r.Value())
	}
	if t.warmth.reads(i.quantity, r.Value()); i.quantity == dosing.QuantityEC {
		sn.waters.followWarmth(t, r.At().Up)
	}
	if i.quantity == dosing.QuantityOutlet && r.Value() >= 0.5 {
		t.outlet.opened.set(r.At().Up)
	}
	if i.quantity == dosing.QuantityLevel && t.inputs[dosing.QuantityLevel][0] == r.Input() {
		t.flood.Level(r.Value(), t.plant.Volume, r.At().Up)
	}
	if i.quantity == dosing.QuantityLevel && t.inputs[dosing.QuantityLevel][0] == r.Input() && i.kept == lastsCount && r.At().Up-i.founded >= lastsFor {
		sn.waters.levelled(t, r.Value(), r.At())
	}
	return quality
}

// moving says whether something dosed may still move the probes of a tank.
func (sn *senses) moving(id dosing.TankID, up time.Duration) bool {
	if len(sn.open) > 0 || int(id) >= len(sn.tanks) {
		return true
	}
	t := &sn.tanks[id]
	return len(t.uncertain) > 0 || t.lastDose.within(t.plant.DeadTime+7*t.plant.TimeConstant, up)
}

// watered says whether water that comes in, or comes home from a flood, may still
// move the probes of a tank.
func (sn *senses) watered(id dosing.TankID, up time.Duration) bool {
	if int(id) >= len(sn.tanks) {
		return true
	}
	t := &sn.tanks[id]
	return t.water.valve.within(t.plant.MixingTime()+afterClosing, up) || t.flood.Within(t.plant.MixingTime(), up) ||
		t.group[dosing.QuantityCirculation].adverse || t.wait.until > up
}

// Input is the last reading of an input and its quality now: its age, work on the
// probes and a stopped sample line included. It is false when none ever came.
func (sn *senses) Input(in dosing.InputID) (last dosing.Reading, q dosing.Quality, ok bool) {
	if int(in) >= len(sn.inputs) || !sn.inputs[in].shown {
		return dosing.Reading{}, dosing.QualityFailure, false
	}
	i := &sn.inputs[in]
	q, _ = i.now(max(sn.last, i.last.At().Up))
	if int(i.tank) < len(sn.tanks) && i.probe {
		t := &sn.tanks[i.tank]
		if t.operator.Maintenance {
			q = min(q, dosing.QualityFunctionCheck)
		}
		if t.group[dosing.QuantitySampleFlow].adverse {
			q = min(q, dosing.QualityOutOfSpecification)
		}
	}
	return i.last, q, true
}

// Doubt says why the newest reading of an input was not valid for dosing when it came, and
// why the input is not now; "" = it is.
func (sn *senses) Doubt(now dosing.Instant, in dosing.InputID) (came, stands string) {
	if int(in) >= len(sn.inputs) {
		return "", ""
	}
	return sn.inputs[in].doubt(now.Up)
}

// Fit is the value by which the gate judges a quantity of a tank now: of one probe
// itself, of two their mean, of more their median. It is false when it is not fit.
func (sn *senses) Fit(id dosing.TankID, q dosing.Quantity) (value float64, ok bool) {
	if int(id) >= len(sn.tanks) || q >= dosing.QuantityCount {
		return 0, false
	}
	g := &sn.tanks[id].group[q]
	return g.value, g.standing == standFit
}
