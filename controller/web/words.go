package web

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/report"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// words are the functions of the page template: figures and ages as people say
// them.
func words(scale dosing.ECScale, us bool) template.FuncMap {
	return template.FuncMap{
		"age":      ageWords,
		"labelled": labelled,
		"ionBars":  ionBars,
		"milligrams": func(mmol, each float64) string {
			if mg := mmol * each; mg < 20 {
				return strconv.FormatFloat(mg, 'f', 1, 64)
			}
			return strconv.FormatFloat(mmol*each, 'f', 0, 64)
		},
		"percent": func(v float64) string { return strconv.FormatFloat(100*v, 'f', 1, 64) + " %" },
		"in":      inWords,
		"value":   func(in controller.InputView) string { return valueWords(in, scale) + besideReading(in, us) },
		"two":     func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) },
		"ec":      func(v float64) string { return dosing.Conductivity(v).String() + scale.Beside(dosing.Conductivity(v)) },
		// A spread of a logarithm as people say it.
		"factor": func(spread float64) string { return strconv.FormatFloat(math.Exp(spread), 'f', 1, 64) },
		"clock":  func(t time.Time) string { return t.Format("2 Jan 15:04") },
		"plain":  inputWords,
		"signed": func(v float64) string { return fmt.Sprintf("%+.3f", v) },
		"volume": func(v dosing.Volume) string { return volumeWords(v) + besideVolume(v, us) },
		"now":    nowFigures,
		"wants": func(state alarm.State) bool {
			return state != alarm.Acknowledged && state != alarm.Shelved
		},
		"one":        func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) },
		"aged":       agedWords,
		"heard":      func(age time.Duration) string { return "heard " + ageStep(age) + " ago" },
		"mark":       func(s controller.Standing) string { return marks[min(s, controller.StandingCount)] },
		"tone":       tone,
		"alarmTone":  alarmTone,
		"alarmState": alarmStateWords,
		"holds":      holds,
		"letters":    letters,
		"lasts":      lastsWords,
		"litres":     func(ml float64) string { return millilitres(ml) },
		"share":      func(v *float64) string { return shareWords(v) },
		"seconds":    func(v report.Seconds) string { return leftWords(v.Duration()) },
		"standards":  controller.Standards,
		"ions":       func() []string { return analysisIons },
		"exports":    func() any { return exports },
		"plus":       func(a, b int) int { return a + b },
		"effect":     effectWords,
		"ofCause":    func(c safety.Cause) string { return safety.Of(c).Text },
		"standing":   func(t *controller.TankView) []controller.HoldView { return holdsOf(t, false) },
		"waiting":    func(t *controller.TankView) []controller.HoldView { return holdsOf(t, true) },
		"sparks":     func(d *pageData, tank string) []spark { return d.sparks[tank] },
		"moment":     func(t time.Time) string { return t.Format("15:04") },
		"left":       func(now, then time.Time) string { return leftWords(then.Sub(now)) },
		"until":      untilWords,
		"ask":        func(d *pageData, do, quantity string) *formData { return d.form(do, quantity) },
		"part":       func(d *pageData, do, part string) *formData { return d.part(do, part) },
		"partOf":     func(d *pageData, tank, do, part string) *formData { return d.partOf(tank, do, part) },
		"setpoint": func(d *pageData, v controller.SetpointView, quantity, label string) setpointForm {
			return d.setpoint(v, quantity, label)
		},
	}
}

// inputWords is the name of an input as people say it.
func inputWords(in controller.InputView) string {
	switch in.Quantity {
	case dosing.QuantityPH:
		return "pH"
	case dosing.QuantityEC:
		return "EC"
	}
	return strings.ReplaceAll(in.Name, "_", " ")
}

// volumeWords is a volume with the digits that a person reads; the record keeps all.
func volumeWords(v dosing.Volume) string {
	switch ml := v.Millilitres(); {
	case ml >= 10_000:
		return strconv.FormatFloat(v.Litres(), 'f', 1, 64) + " L"
	case ml >= 100:
		return strconv.FormatFloat(ml, 'f', 0, 64) + " mL"
	default:
		return strconv.FormatFloat(ml, 'f', 1, 64) + " mL"
	}
}

// figureNow is a reading that the tank is steered by, large, beside what is wanted.
type figureNow struct {
	Name, Value, Wanted string
	Remark, Age         string // of the reading
	Far                 string // in words, when the warn band is left
}

func nowFigures(t controller.TankView) (figures []figureNow) {
	for _, in := range t.Inputs {
		wanted, band := t.PH.Working, dosing.WarnBand.PH
		switch in.Quantity {
		case dosing.QuantityPH:
		case dosing.QuantityEC:
			wanted, band = t.EC.Working, dosing.WarnBand.EC
		default:
			continue
		}
		f := figureNow{Name: inputWords(in), Value: "–", Wanted: strconv.FormatFloat(wanted, 'f', 2, 64), Remark: in.Quality.String()}
		if in.Present {
			f.Age = agedWords(in)
			f.Value = strconv.FormatFloat(in.Value, 'f', 2, 64)
			switch off := in.Value - wanted; {
			case off > band:
				f.Far = "too high"
			case off < -band:
				f.Far = "too low"
			}
		} else {
			f.Remark = "no reading yet"
		}
		figures = append(figures, f)
	}
	return figures
}

// ageWords is a duration with one unit.
func ageWords(d time.Duration) string {
	switch {
	case d < 0:
		return "just now"
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}

// forecastStep is how finely a forecast is told: it is no better than that.
const forecastStep = 10 * time.Minute

// inWords says when a band is left, rounded down.
func inWords(d time.Duration) string {
	switch {
	case d == alarm.Unforeseen:
		return "not foreseen: nothing was read yet"
	case d < 0:
		return "not left in sight"
	case d == 0:
		return "outside now"
	}
	if d < forecastStep {
		return fmt.Sprintf("left within %.0f min", forecastStep.Minutes())
	}
	return "left in " + leftWords(d.Truncate(forecastStep))
}

func valueWords(in controller.InputView, scale dosing.ECScale) string {
	if !in.Present {
		return "no reading yet"
	}
	switch {
	case in.Quantity.Switch():
		return switchWords(in.Quantity, in.Value != 0)
	case in.Quantity == dosing.QuantityPH:
		return dosing.PH(in.Value).String()
	case in.Quantity == dosing.QuantityEC:
		return dosing.Conductivity(in.Value).String() + scale.Beside(dosing.Conductivity(in.Value))
	}
	digits := 1
	if math.Abs(in.Value) >= 100 {
		digits = 0
	}
	return strconv.FormatFloat(in.Value, 'f', digits, 64) + " " + in.Quantity.Unit()
}

func switchWords(q dosing.Quantity, on bool) string {
	pair := map[dosing.Quantity][2]string{
		dosing.QuantityCirculation: {"off", "runs"}, dosing.QuantityLeak: {"dry", "wet"}, dosing.QuantityFlood: {"none", "under way"},
		dosing.QuantityTopUp: {"closed", "open"}, dosing.QuantitySampleFlow: {"off", "flows"}, dosing.QuantityOutlet: {"closed", "proved open"},
		dosing.QuantityStop: {"released", "pressed"}, dosing.QuantityLight: {"dark", "burn"},
	}[q]
	if on {
		return pair[1]
	}
	return pair[0]
}

// marks stand beside the colour of a standing, which nobody need see.
var marks = [controller.StandingCount + 1]string{"?", "!!", "!", "–", "→", "○", "✓", "?"}

// tone is the colour of a standing: green where all is held, red where a person is
// needed before the day.
func tone(s controller.Standing) string {
	switch {
	case s == controller.StandingWell:
		return "well"
	case s.Calls():
		return "call"
	}
	return "calm"
}

func alarmTone(a controller.AlarmView) string {
	if a.State.Stands() && a.Priority <= safety.PriorityTonight {
		return "call"
	}
	return "calm"
}

func alarmStateWords(s alarm.State) string {
	switch s {
	case alarm.ReturnedUnacknowledged:
		return "over, not acknowledged"
	case alarm.Latched:
		return "acknowledged, stays until it is cleared"
	case alarm.Unacknowledged:
		return "not acknowledged"
	case alarm.Shelved:
		return "kept quiet"
	}
	return s.String()
}

// freshFor is the age below which figures are told no further apart: readings come
// every few seconds, and a page that counted them would be sent for nothing else.
const freshFor = 20 * time.Second

func agedWords(in controller.InputView) string { return ageStep(in.Age) + " old" }

func ageStep(age time.Duration) string {
	switch {
	case age < freshFor:
		return fmt.Sprintf("under %.0f s", freshFor.Seconds())
	case age < 2*time.Minute:
		return fmt.Sprintf("over %.0f s", age.Truncate(freshFor).Seconds())
	}
	return "over " + ageWords(age.Truncate(time.Minute))
}

// leftWords is a time that runs down, to the minute.
func leftWords(d time.Duration) string {
	minutes := int(max(d, 0).Round(time.Minute).Minutes())
	if minutes < 60 {
		return fmt.Sprintf("%d min", minutes)
	}
	return fmt.Sprintf("%d h %d min", minutes/60, minutes%60)
}

func untilWords(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return ", until " + at.Format("2 Jan 15:04")
}

// letters is how large a sentence is written: the shorter, the larger, so that it always
// fills about the same room.
func letters(text string) string {
	switch n := len([]rune(text)); {
	case n <= 40:
		return "brief"
	case n <= 76:
		return "middle"
	case n <= 110:
		return "long"
	}
	return "full"
}

// holdsOf are the interlocks that are part of the work, or the others that no alarm of
// the page tells of.
func holdsOf(t *controller.TankView, routine bool) (found []controller.HoldView) {
	for i := range t.Holds {
		h := &t.Holds[i]
		told := slices.ContainsFunc(t.Alarms, func(a controller.AlarmView) bool { return a.Cause == h.Cause })
		if h.Routine() == routine && !told {
			found = append(found, *h)
		}
	}
	return found
}

// effectWords is what 10 mL of a liquid do to a tank, where that can be seen.
func effectWords(p controller.PourView) string {
	if effect := effectOf(p); effect != "" {
		return "; 10 mL: " + effect
	}
	return ""
}

func effectOf(p controller.PourView) string {
	var parts []string
	if math.Abs(p.PH) >= 0.005 {
		parts = append(parts, fmt.Sprintf("pH %+.2f", p.PH))
	}
	if math.Abs(p.EC) >= 0.005 {
		parts = append(parts, fmt.Sprintf("EC %+.2f", p.EC))
	}
	return strings.Join(parts, ", ")
}

// lastsWords is for how long a container lasts.
func lastsWords(s controller.StockView) string {
	switch {
	case s.Left < 0:
		return "not known: no refill was entered"
	case !s.Known:
		return "not known yet: less than a day of doses is on record"
	case math.IsInf(s.Days, 1):
		return "nothing is drawn from it"
	case s.Days < 1:
		return "empty within a day"
	}
	return fmt.Sprintf("%.0f days (%.0f to %.0f)", math.Floor(s.Days), math.Floor(s.Low), math.Floor(min(s.High, 999)))
}

func shareWords(v *float64) string {
	if v == nil {
		return "not known"
	}
	return report.Percent(*v)
}
