package controller

import (
	"fmt"
	"math"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// Meter is what a person read on a hand meter that stood in the tank's water; 0 = not that.
type Meter struct{ PH, EC float64 }

// of are the readings by quantity.
func (m *Meter) of() (read []metered) {
	if m.PH != 0 {
		read = append(read, metered{dosing.QuantityPH, m.PH})
	}
	if m.EC != 0 {
		read = append(read, metered{dosing.QuantityEC, m.EC})
	}
	return read
}

type metered struct {
	quantity dosing.Quantity
	value    float64
}

// askMeter writes down what a hand meter reads beside the probe. Where the two are far apart
// nothing is dosed until a person has found which is right, and that takes effect at once;
// what agreeing lets happen takes effect when its row is durable.
func (cs *calibrations) askMeter(now dosing.Instant, r *Request) {
	why := r.Meter.wrong()
	if why == "" && cs.work[r.Tank].on {
		why = "a probe is being calibrated: it does not stand in the tank's water; enter this when it is back"
	}
	if why != "" {
		cs.refuse(r, why)
		return
	}
	text := ""
	var stops [dosing.QuantityCount]bool
	var rows []ledger.Change
	for _, read := range r.Meter.of() {
		m := safety.BesideMeter(cs.watch, now, r.Tank, read.quantity, read.value)
		row := ledger.Change{Kind: ledger.ChangeMeter, At: now, Tank: cs.tankName(r.Tank), Quantity: read.quantity, Value: read.value, Note: r.Note, By: r.By, From: r.From}
		if m.Known {
			row.Old = math.Round(m.Probe*1000) / 1000
		}
		rows, stops[read.quantity] = append(rows, row), m.Stops
		text = joined(text, meterWords(read, &m))
	}
	if !stops[dosing.QuantityPH] && !stops[dosing.QuantityEC] {
		if cs.wishes.mayWish(r) && cs.mayRecordStep(now, r) {
			for _, row := range rows[:len(rows)-1] {
				cs.change(row)
			}
			cs.wishes.await(now, wish{request: *r, text: text}, rows[len(rows)-1])
		}
		return
	}
	for _, row := range rows {
		cs.change(row)
	}
	cs.doubt(now, r, stops[dosing.QuantityPH], text)
}

// doubt withholds what a probe is needed for that a hand meter contradicts: by EC's the stocks alone, for EC
// never blocks pH.
func (cs *calibrations) doubt(now dosing.Instant, r *Request, pH bool, text string) {
	if r.Note == "" {
		r.Note = "hand meter and probe are far apart"
	}
	cs.wishes.lessen(now, r.Tank, "a hand meter and a probe are far apart", r.By, r.From)
	state, held, what := cs.tanks[r.Tank].operator, ledger.PauseECDoubted, "No stock is dosed until leat mode resume; pH goes on"
	if pH {
		state.Maintenance, held, what = true, RequestMaintenance.String(), "Nothing is dosed until leat mode resume"
	} else {
		state.ECDoubted = true
	}
	cs.modes.setOperator(now, r.Tank, state)
	cs.wishes.awaitLess(now, r, ledger.Change{Kind: ledger.ChangePause, Text: held},
		text+". "+what+": measure once more, check the meter in a fresh standard, and calibrate whichever is wrong")
}

// metered is told that a reading is durable. Where it still agrees and a person entered it, it
// frees what no probe has shown; the answer says so.
func (cs *calibrations) metered(now dosing.Instant, r *Request) (text string) {
	for _, read := range r.Meter.of() {
		m := safety.BesideMeter(cs.watch, now, r.Tank, read.quantity, read.value)
		if m.Agrees && r.From != fromProgram {
			m.Free(cs.watch, now, r.Tank, read.quantity)
		}
		text = joined(text, meterWords(read, &m))
	}
	return text
}

func joined(text, more string) string {
	if text == "" {
		return more
	}
	return text + ". " + more
}

// fromProgram is where the request of a program comes from: it may send the probe's own figure.
const fromProgram = "api"

// wrong is why readings cannot be of a nutrient solution.
func (m *Meter) wrong() string {
	switch {
	case m.PH == 0 && m.EC == 0:
		return "say what the hand meter reads: pH, EC in mS/cm, or both"
	case m.PH != 0 && !(m.PH >= 2 && m.PH <= 12):
		return fmt.Sprintf("pH %g is no reading of a tank: look at the number", m.PH)
	case m.EC != 0 && !(m.EC > 0 && m.EC <= 20):
		return fmt.Sprintf("EC %g mS/cm is no reading of a tank: look at the number and its unit, mS/cm", m.EC)
	}
	return ""
}

// meterWords say how meter and probe stand.
func meterWords(read metered, m *safety.Metered) string {
	name, value := map[bool]string{true: "pH", false: "EC"}[read.quantity == dosing.QuantityPH], read.value
	if !m.Known {
		return fmt.Sprintf("%s %.2f is written down; the probe has no valid reading to put beside it", name, value)
	}
	text := fmt.Sprintf("%s: meter %.2f, probe %.2f, %s apart", name, value, m.Probe, dosing.Signed(m.Probe-value, 2))
	switch {
	case m.Stops:
		return text
	case !m.Agrees:
		return text + ": calibrate the probe soon"
	case m.Freed:
		return text + ": they agree, so doses that the probe had not shown count as seen"
	case m.Kept != "":
		return text + ": they agree; doses that the probe has not shown stay counted, since " + m.Kept
	}
	return text + ": they agree"
}
