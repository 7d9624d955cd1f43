package payload

import (
	"math"

	"leat/dosing"
)

// largestBeat is how far every JSON reader counts exactly.
const largestBeat = 1 << 53

// AppendLease writes the permission to dose, valid 10 s at the node. Only the
// decision emits it, after its checks.
func AppendLease(dst []byte, epoch uint32, beat uint64) []byte {
	e := object(dst)
	e.count("epoch", uint64(epoch))
	e.count("beat", beat)
	return e.end()
}

// ParseLease reads the permission to dose at the node.
func ParseLease(body []byte) (epoch uint32, beat uint64, err error) {
	epoch, beat, _, err = parseLease(body)
	return epoch, beat, err
}

// parseLease returns also where the beat stands.
func parseLease(body []byte) (epoch uint32, beat uint64, counter []byte, err error) {
	fields, err := fieldsOf(body, "epoch", "beat")
	if err != nil {
		return 0, 0, nil, err
	}
	epoch, beat = fields.epoch(), fields.count("beat", largestBeat)
	if fields.err != nil {
		return 0, 0, nil, fields.err
	}
	return epoch, beat, fields.get("beat").raw, nil
}

func (f *fields) epoch() uint32 {
	epoch := f.count("epoch", math.MaxUint32)
	if f.err == nil && epoch == 0 {
		f.fail("epoch", "the epoch of the daemon, 1 or more")
	}
	return uint32(epoch)
}

// AppendStop writes the order to stop a pump at once; "" stops all.
func AppendStop(dst []byte, epoch uint32, pump string) []byte {
	e := object(dst)
	e.count("epoch", uint64(epoch))
	e.some("pump", pump)
	return e.end()
}

// ParseStop reads a stop order at the node; pump "" is all. A stop that names a
// pump in a way that cannot be read is refused here, and a node that gets this
// error stops everything.
func ParseStop(body []byte) (epoch uint32, pump string, err error) {
	fields, err := fieldsOf(body, "epoch", "pump")
	if err != nil {
		return 0, "", err
	}
	epoch, pump = fields.epoch(), fields.optionalName("pump")
	if fields.err != nil {
		return 0, "", fields.err
	}
	return epoch, pump, nil
}

// AppendSupply writes the order to cut the group supply. There is no payload that
// closes it again: that is done by hand, at the contactor.
func AppendSupply(dst []byte, epoch uint32) []byte {
	e := object(dst)
	e.count("epoch", uint64(epoch))
	e.yes("cut", true)
	return e.end()
}

// ParseSupply reads the order to cut the group supply at the node.
func ParseSupply(body []byte) (epoch uint32, err error) {
	fields, err := fieldsOf(body, "epoch", "cut")
	if err != nil {
		return 0, err
	}
	epoch = fields.epoch()
	if cut := fields.yes("cut"); fields.err == nil && !cut {
		fields.fail("cut", "true: closing again is done by hand")
	}
	if fields.err != nil {
		return 0, fields.err
	}
	return epoch, nil
}

// AppendFit writes whether a tank's water may go to plants.
func AppendFit(dst []byte, fit bool, cause string) []byte {
	e := object(dst)
	e.yes("fit", fit)
	e.text("cause", cause)
	return e.end()
}

// ParseFit reads whether a tank's water may go to plants; for the nodes of flood
// zones.
func ParseFit(body []byte) (fit bool, cause string, err error) {
	fields, err := fieldsOf(body, "fit", "cause")
	if err != nil {
		return false, "", err
	}
	fit, cause = fields.yes("fit"), fields.optional("cause", longestNote)
	if fields.err != nil {
		return false, "", fields.err
	}
	return fit, cause, nil
}

// shownDecimals is how many decimals of a quantity people are shown: one more than
// the probe resolves.
func shownDecimals(q dosing.Quantity) int {
	switch q {
	case dosing.QuantityPH, dosing.QuantityEC:
		return 3
	case dosing.QuantityTemperature:
		return 2
	}
	return 1
}
