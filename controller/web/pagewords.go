package web

import (
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// pageWords are what single pages need beside the words of all.
func pageWords() template.FuncMap {
	return template.FuncMap{
		"shifts":  shiftsOf,
		"lacks":   lacksOf,
		"rights":  rightsOf,
		"dayTime": func(d time.Duration) string { return time.Time{}.Add(d).Format("15:04") },
		"long":    longWords,
		"wanted":  wantedWords,
		"probe":   probeOf,
		"calibrated": func(in controller.InputView) bool {
			return in.Quantity == dosing.QuantityPH || in.Quantity == dosing.QuantityEC
		},
		"served":    servedBy,
		"runFields": func() []int { return []int{1, 2, 3} },
		"sentence":  sentenceWords,
		"grams":     gramsWords,
		"calledAt":  calledAt,
		"sameName":  strings.EqualFold,
		"perMinute": func(perSecond float64) float64 { return 60 * perSecond },
	}
}

// shift is a stock's share of the blend before and after an analysis.
type shift struct{ Pump, Before, After string }

func shiftsOf(before, after []controller.ShareView) (rows []shift) {
	percent := func(of []controller.ShareView, pump string) string {
		for _, s := range of {
			if s.Pump == pump {
				return strconv.FormatFloat(100*s.Share, 'f', 1, 64) + " %"
			}
		}
		return "–"
	}
	for _, s := range slices.Concat(before, after) {
		if !slices.ContainsFunc(rows, func(r shift) bool { return r.Pump == s.Pump }) {
			rows = append(rows, shift{s.Pump, percent(before, s.Pump), percent(after, s.Pump)})
		}
	}
	return rows
}

// right is what one role may beyond the roles before it.
type right struct {
	Role, Words string
	Deeds       []string
}

// deeds are the requests as people say them.
var deeds = [controller.RequestCount]string{controller.RequestSetpoint: "change setpoints", controller.RequestArm: "arm", controller.RequestObserve: "let a tank only observe", controller.RequestStop: "stop dosing",
	controller.RequestClear: "clear a stop", controller.RequestPause: "pause", controller.RequestResume: "resume", controller.RequestMaintenance: "begin work on probes or pumps", controller.RequestCleaning: "begin a cleaning",
	controller.RequestConfirmWater: "confirm the water", controller.RequestServiced: "enter a service", controller.RequestHandDose: "record a manual addition", controller.RequestAcknowledge: "acknowledge alarms",
	controller.RequestShelve: "keep an alarm quiet", controller.RequestAnalysis: "enter an analysis", controller.RequestRaiseEpoch: "raise the epoch, on the machine itself", controller.RequestVoid: "void an entry",
	controller.RequestRefill: "enter a refill", controller.RequestMark: "mark a time", controller.RequestCalibrate: "calibrate probes", controller.RequestEndHoliday: "end a holiday",
	controller.RequestPumpRate: "measure a pump", controller.RequestNewTube: "enter a new tube"}

// rightsOf is what each role may ask for, as the core holds it.
func rightsOf() (rights []right) {
	for role := controller.RoleView; role < controller.RoleCount; role++ {
		var kinds []string
		for kind := controller.RequestNone + 1; kind < controller.RequestCount; kind++ {
			if kind.Needs() == role {
				kinds = append(kinds, deeds[kind])
			}
		}
		words := "look"
		if len(kinds) > 0 {
			words = "that too, and:"
		}
		rights = append(rights, right{role.String(), words, kinds})
	}
	return rights
}

// longWords is a long time in hours or days.
func longWords(d time.Duration) string {
	if d < 48*time.Hour {
		return leftWords(d)
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}

// wantedWords is a setpoint of a schedule by day and by night.
func wantedWords(day, night float64) string {
	switch {
	case day == 0 && night == 0:
		return "as before"
	case night == 0:
		return strconv.FormatFloat(day, 'f', 2, 64)
	case day == 0:
		return "as before, " + strconv.FormatFloat(night, 'f', 2, 64) + " by night"
	}
	return fmt.Sprintf("%.2f, %.2f by night", day, night)
}

func probeOf(t *controller.TankView, name string) controller.InputView {
	for i := range t.Inputs {
		if t.Inputs[i].Name == name {
			return t.Inputs[i]
		}
	}
	return controller.InputView{}
}

// servedBy are the tanks that a pump serves.
func servedBy(d *pageData, p *controller.PumpView) (tanks []*controller.TankView) {
	for i := range p.Largest {
		for k := range d.Tanks {
			if d.Tanks[k].Name == p.Largest[i].Tank {
				tanks = append(tanks, &d.Tanks[k])
			}
		}
	}
	return tanks
}

// sentenceWords makes a sentence of a text that others put into one.
func sentenceWords(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// gramsWords is a mass with the digits that a person reads.
func gramsWords(g float64) string {
	if g < 1 {
		return strconv.FormatFloat(1000*g, 'f', 0, 64) + " mg"
	}
	return strconv.FormatFloat(g, 'f', 1, 64) + " g"
}

// calledAt is when a person is called for work on probes or pumps that nobody ended; empty
// where there is none.
func calledAt(t *controller.TankView) string {
	for i := range t.Holds {
		if h := &t.Holds[i]; h.Cause == safety.CauseMaintenance {
			return h.Since.Wall.Add(alarm.PersonFor).Format("15:04")
		}
	}
	return ""
}
