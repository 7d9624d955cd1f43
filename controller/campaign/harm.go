package campaign

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// Harm is what doses added to a water's distance from its setpoints after the first fault
// of a night, at worst, against the twin that got none.
type Harm struct {
	PH float64 `json:"ph"`
	EC float64 `json:"ec_ms_per_cm"`
}

// Bounds of the harm that doses may do under a single fault: where the buffer capacity
// was only commissioned it may be wrong by a factor of three, and nothing that waits for
// the probe's word can know that before.
var (
	harmBound     = Harm{PH: 0.60, EC: 0.25}
	measuredBound = Harm{PH: 0.30, EC: 0.25}
)

// bound is the harm that doses may do in a night, by what of its tanks was measured.
func (t *Trace) bound() Harm {
	for i := range t.Settings.Safety.Tanks {
		if t.Settings.Safety.Tanks[i].BufferSpread == 0 {
			return harmBound
		}
	}
	return measuredBound
}

// unbounded are the faults whose harm no dose does, and only containers, contactor or a second probe
// bound: rule 16 leaves them out. What they did stands among the worst all the same.
var unbounded = map[string]bool{"pump-stuck-on": true, "siphon": true, "siphon-back": true, "ph-drift": true}

// share is how much of a bound the harm is.
func (h Harm) share(bound Harm) float64 { return max(h.PH/bound.PH, h.EC/bound.EC) }

// sour is the pH below which distance is counted in acid: there the buffer has gone, and
// a drop more is a pH more.
const sour = 4.5

// comes is within what time a person who was called comes. What becomes of a tank that stands stopped for
// days, while its twin's water goes its own way, is nobody's dose.
const comes = 10 * time.Hour

// attended is until when harm is judged: a night beyond the first call of tonight or now after the first fault.
func (t *Trace) attended() time.Duration {
	from := time.Duration(-1)
	for i := range t.Samples {
		if t.Samples[i].Twinned {
			from = t.Samples[i].At
			break
		}
	}
	for i := range t.Minutes {
		m := &t.Minutes[i]
		called := func(a controller.AlarmView) bool { return a.State.Stands() && a.Priority <= safety.PriorityTonight }
		if from >= 0 && m.At >= from && slices.ContainsFunc(m.Alarms, called) {
			return m.At + comes
		}
	}
	return t.Ends
}

// harm is by tank the worst; zero where there is no twin.
func (t *Trace) harm() Harm {
	var worst Harm
	until := t.attended()
	for i := range t.Samples {
		s := &t.Samples[i]
		if !s.Twinned || s.At > until {
			continue
		}
		target := s.Target
		worst.PH = max(worst.PH, t.far(s.Tank, s.PH, target)-t.far(s.Tank, s.TwinPH, target))
		worst.EC = max(worst.EC, math.Abs(s.EC-float64(target.EC))-math.Abs(s.TwinEC-float64(target.EC)))
	}
	return worst
}

// far is how far a pH lies from its setpoint; below 4.5 by the acid that it took, over the
// buffer capacity at the setpoint.
func (t *Trace) far(id dosing.TankID, ph float64, target dosing.Target) float64 {
	if ph >= sour {
		return math.Abs(ph - float64(target.PH))
	}
	curve := t.Curves[id]
	return float64(target.PH) - sour + curve.AcidNeeded(sour, ph)/curve.Buffer(float64(target.PH))
}

// HarmReport is the harm by doses over all nights that had a fault.
type HarmReport struct {
	Nights int         `json:"nights"`
	Above  int         `json:"nights_above_bound"`
	PHP50  float64     `json:"ph_p50"`
	PHP99  float64     `json:"ph_p99"`
	PHMax  float64     `json:"ph_max"`
	ECMax  float64     `json:"ec_max_ms_per_cm"`
	Worst  []HarmNight `json:"worst_nights"`
}

// HarmNight is a night in which doses did much harm.
type HarmNight struct {
	Night int    `json:"night"`
	Seed  uint64 `json:"seed"`
	Fault string `json:"fault"`
	Harm
	share float64 // of its bound
}

// harm sums up what doses did in nights with a fault.
func (r *Report) harm(outcomes []*Outcome) {
	var ph []float64
	h := HarmReport{}
	for _, out := range outcomes {
		if !out.Twinned {
			continue
		}
		h.Nights++
		share := out.Harm.share(out.bound)
		if share > 1 && !unbounded[out.Fault] {
			h.Above++
		}
		ph = append(ph, out.Harm.PH)
		h.PHMax, h.ECMax = max(h.PHMax, out.Harm.PH), max(h.ECMax, out.Harm.EC)
		h.Worst = append(h.Worst, HarmNight{Night: out.Night, Seed: out.Seed, Fault: out.Fault, Harm: out.Harm, share: share})
	}
	if h.Nights == 0 {
		return
	}
	h.PHP50, h.PHP99 = quantile(ph, 0.5), quantile(ph, 0.99)
	slices.SortStableFunc(h.Worst, func(a, b HarmNight) int {
		return cmp.Compare(b.share, a.share)
	})
	h.Worst = h.Worst[:min(len(h.Worst), 10)]
	r.Harm = &h
}

// write prints the figures and the worst nights by name.
func (h *HarmReport) write(p *printer) {
	if h == nil {
		return
	}
	p.line("added by doses to the distance from the setpoint: pH %.2f (half of the nights), %.2f (99 of 100), %.2f (worst), EC %.2f (worst); above %.2f pH (%.2f where the buffer capacity was measured) or %.2f mS/cm: %d of %d nights",
		h.PHP50, h.PHP99, h.PHMax, h.ECMax, harmBound.PH, measuredBound.PH, harmBound.EC, h.Above, h.Nights)
	for _, n := range h.Worst {
		p.line("    night %d: %.2f pH, %.2f mS/cm%s", n.Night, n.PH, n.EC, suffix(n.Fault))
	}
}

func suffix(fault string) string {
	if fault == "" {
		return ""
	}
	return fmt.Sprintf(" (%s)", fault)
}
