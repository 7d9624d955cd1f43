package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// reader makes requests of form values, whoever sends them: a page, the local socket, a
// program.
type reader struct {
	now      func() *controller.View
	analysis func(list string, into *controller.Request) error // nil = none are taken
}

// read makes a request of form values; each sender uses the same names.
func (a *reader) read(value func(string) string) (controller.Request, error) {
	kind, ok := controller.ParseRequestKind(value("do"))
	if !ok {
		return controller.Request{}, fmt.Errorf("do=%.40q: no such request", value("do"))
	}
	request := controller.Request{Kind: kind, Until: value("until"), Note: value("note"), Confirm: value("confirm")}
	view := a.now()
	if view == nil {
		return request, fmt.Errorf("the daemon is starting; try again in a moment")
	}
	found := false
	var names []string
	for i := range view.Tanks {
		names = append(names, view.Tanks[i].Name)
		if view.Tanks[i].Name == value("tank") {
			request.Tank, found = dosing.TankID(i), true
		}
	}
	if !found && !kind.OfStation() {
		return request, fmt.Errorf("there is no tank %.40q; there are: %s", value("tank"), strings.Join(names, ", "))
	}
	err := a.readDetails(view, value, &request)
	return request, err
}

// readDetails reads what some requests need beside their tank.
func (a *reader) readDetails(view *controller.View, value func(string) string, request *controller.Request) error {
	var err error
	switch request.Kind {
	case controller.RequestSetpoint:
		if request.Value, err = typed(value("value")); err != nil {
			return err
		}
		request.Quantity = map[string]dosing.Quantity{"ph": dosing.QuantityPH, "ec": dosing.QuantityEC}[value("quantity")]
	case controller.RequestAcknowledge, controller.RequestShelve:
		cause, ok := safety.ParseCause(value("cause"))
		if !ok {
			return fmt.Errorf("cause=%.40q: no such cause", value("cause"))
		}
		request.Cause = cause
		if request.Kind == controller.RequestShelve {
			return readShelf(value, view.At.Wall, request)
		}
	case controller.RequestConfirmWater:
		return a.readWater(value, request)
	case controller.RequestAnalysis:
		list, err := analysisOf(value)
		if err == nil {
			err = a.readAnalysis(list, request)
		}
		if err != nil {
			return err
		}
		if text := value("sampled"); text != "" {
			if request.Sampled, err = sampledAt(text, view.At.Wall.Location()); err != nil {
				return err
			}
		}
	case controller.RequestPumpRate, controller.RequestNewTube:
		if request.Runs, err = runsOf(value); err != nil {
			return err
		}
		return readPump(view, value("pump"), "that was measured or replaced", request)
	case controller.RequestCalibrate:
		return readCalibrating(value, request)
	case controller.RequestMeter:
		return readMeter(value, request)
	case controller.RequestVoid:
		request.Entry = value("entry")
	case controller.RequestHandDose:
		ml, err := typed(value("ml"))
		if err != nil || !(ml > 0) {
			return fmt.Errorf("%.40q: want millilitres, more than nothing", value("ml"))
		}
		request.Volume = dosing.FromMillilitres(ml)
		return readPump(view, value("pump"), "whose liquid was added", request)
	case controller.RequestRefill:
		litres, err := typed(value("litres"))
		if err != nil || !(litres > 0) || litres > 1e6 {
			return fmt.Errorf("%.40q: want the litres that the container holds now, more than nothing", value("litres"))
		}
		request.Volume, request.Batch = dosing.FromMillilitres(litres*1000), value("batch")
		return readPump(view, value("pump"), "whose container was filled", request)
	}
	return nil
}

// readShelf reads how long an alarm is kept quiet: for a time, or until one.
func readShelf(value func(string) string, now time.Time, request *controller.Request) (err error) {
	if value("until") != "" {
		end, err := controller.Until(value("until"), now)
		request.For = end.Sub(now)
		return err
	}
	if request.For, err = time.ParseDuration(value("for")); err != nil {
		return fmt.Errorf("for=%.40q: want a time such as 2h", value("for"))
	}
	return nil
}

// readMeter reads what a hand meter said, of pH, EC or both.
func readMeter(value func(string) string, request *controller.Request) (err error) {
	if value("ph") != "" {
		if request.Meter.PH, err = typed(value("ph")); err != nil {
			return err
		}
	}
	if value("ec") != "" {
		request.Meter.EC, err = typed(value("ec"))
	}
	return err
}

// readPump finds a pump by its name.
func readPump(view *controller.View, name, which string, request *controller.Request) error {
	var names []string
	for i := range view.Pumps {
		if view.Pumps[i].Name == name {
			request.Pump = dosing.PumpID(i)
			return nil
		}
		names = append(names, view.Pumps[i].Name)
	}
	return fmt.Errorf("pump=%.40q: no such pump; choose the one %s: %s", name, which, strings.Join(names, ", "))
}

// readWater reads which water a person confirms; empty = not said.
func (a *reader) readWater(value func(string) string, request *controller.Request) error {
	text := value("water")
	if text == "" {
		return nil
	}
	name, other, named := strings.Cut(text, ":")
	water, ok := controller.ParseWater(name)
	if !ok || named != (water.OfTank()) {
		return fmt.Errorf("water=%.40q: want one of same, source, recipe, analysis, unknown, or tank:NAME", text)
	}
	request.Water = water
	if named {
		view := a.now()
		id := slices.IndexFunc(view.Tanks, func(t controller.TankView) bool { return t.Name == other })
		if id < 0 {
			return fmt.Errorf("water=%.40q: no tank is called %.40q", text, other)
		}
		request.Other = dosing.TankID(id)
	}
	if part := value("replaced"); part != "" {
		percent, err := typed(strings.TrimSuffix(strings.TrimSpace(part), "%"))
		if err != nil {
			return err
		}
		if !(percent > 0 && percent <= 100) {
			return fmt.Errorf("replaced=%.40q: want more than 0 and at most 100 %%", part)
		}
		request.Replaced = percent / 100
	}
	if water.Described() {
		return a.readAnalysis(value("analysis"), request)
	}
	return nil
}

func (a *reader) readAnalysis(list string, request *controller.Request) error {
	if a.analysis == nil {
		return fmt.Errorf("this page takes no analyses")
	}
	return a.analysis(list, request)
}

// sampledAt reads a time with its zone, or one from a phone's calendar, which has none
// and is the station's.
func sampledAt(text string, zone *time.Location) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		at, err = time.ParseInLocation("2006-01-02T15:04", text, zone)
	}
	if err != nil {
		return at, fmt.Errorf("%.40q: want a time such as 2026-01-01T09:00, or with a zone 2026-01-01T09:00:00Z", text)
	}
	return at, nil
}

// typed reads a number from a phone, whose keys may offer a comma and no point. A
// mark between thousands would make another number of it, so one mark is all.
func typed(text string) (float64, error) {
	plain := strings.TrimSpace(text)
	if strings.Count(plain, ",") == 1 && !strings.Contains(plain, ".") {
		plain = strings.Replace(plain, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%.40q is not a number; write it as 5.9 or 5,9", text)
	}
	return v, nil
}
