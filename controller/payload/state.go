package payload

import (
	"math"
	"strconv"
	"time"

	"leat/controller"
)

// AppendState writes a tank's state: mode, cause, next step in words, readings
// with their quality, and every interlock that holds. At is the wall time of the
// view.
func AppendState(dst []byte, t *controller.TankView, at time.Time) []byte {
	e := object(dst)
	e.text("tank", t.Name)
	e.moment("at", at)
	e.text("mode", t.Mode.String())
	e.text("cause", t.Cause.String())
	e.text("reason", t.Reason)
	e.text("next", t.Next)
	e.some("would_dose", t.WouldDose)
	e.some("titration", t.Titration)
	e.some("fill", t.Fill)
	e.some("schedule", t.Schedule)
	e.yes("fit", t.Fit)
	e.key("readings")
	e.dst = append(e.dst, '[')
	for i := range t.Inputs {
		if i > 0 {
			e.dst = append(e.dst, ',')
		}
		e.dst = appendInput(e.dst, &t.Inputs[i])
	}
	e.dst = append(e.dst, ']')
	e.key("interlocks")
	e.dst = append(e.dst, '[')
	for i := range t.Holds {
		if i > 0 {
			e.dst = append(e.dst, ',')
		}
		e.dst = appendHold(e.dst, &t.Holds[i])
	}
	e.dst = append(e.dst, ']')
	e.key("containers")
	e.dst = append(e.dst, '[')
	for i := range t.Stocks {
		if i > 0 {
			e.dst = append(e.dst, ',')
		}
		e.dst = appendStock(e.dst, &t.Stocks[i])
	}
	e.dst = append(e.dst, ']')
	// Until pH or EC leaves its bands if nothing is dosed; left out when that is
	// not in sight.
	if t.LeavesWarn >= 0 {
		e.seconds("leaves_warn_s", t.LeavesWarn)
	}
	if t.LeavesHarm >= 0 {
		e.seconds("leaves_harm_s", t.LeavesHarm)
	}
	return e.end()
}

// StateKey is what a person must be told of at once when it changes: mode, cause, words,
// interlocks, fitness, quality of the readings. The figures in them, values and ages run on
// and are left out; values have topics of their own.
func StateKey(dst []byte, t *controller.TankView) []byte {
	add := func(words ...string) {
		for _, w := range words {
			for i := range len(w) {
				if w[i] < '0' || w[i] > '9' {
					dst = append(dst, w[i])
				}
			}
			dst = append(dst, 0)
		}
	}
	add(t.Mode.String(), t.Cause.String(), t.Reason, t.Next, t.WouldDose, t.Schedule, strconv.FormatBool(t.Fit))
	for i := range t.Inputs {
		in := &t.Inputs[i]
		add(in.Name, in.Quality.String(), strconv.FormatBool(in.Present), strconv.FormatBool(in.Retained))
		if in.Calibration != nil {
			dst = in.Calibration.At.AppendFormat(dst, time.RFC3339)
		}
	}
	for i := range t.Holds {
		h := &t.Holds[i]
		add(h.Cause.String(), h.Action.String(), h.Pump)
		dst = h.Since.Wall.AppendFormat(dst, time.RFC3339)
	}
	return dst
}

func appendInput(dst []byte, in *controller.InputView) []byte {
	e := object(dst)
	e.text("probe", in.Name)
	e.text("quantity", in.Quantity.String())
	if in.NotFitted != "" {
		e.text("not_fitted", in.NotFitted)
		return e.end()
	}
	if in.Present {
		e.number("value", in.Value, shownDecimals(in.Quantity))
		e.some("unit", in.Quantity.Unit())
		e.seconds("age_s", in.Age)
	}
	e.text("quality", in.Quality.String())
	if in.Retained {
		e.yes("retained", true)
	}
	if c := in.Calibration; c != nil {
		e.moment("calibrated", c.At)
		e.text("calibration", c.Words)
		if !c.Due.IsZero() {
			e.moment("calibration_due", c.Due)
		}
	}
	return e.end()
}

// appendStock writes what a container holds; what is not known is left out. Rounded, so that
// a dose more or less is no new state.
func appendStock(dst []byte, s *controller.StockView) []byte {
	e := object(dst)
	e.text("pump", s.Pump)
	if s.Left >= 0 {
		e.number("left_l", s.Left.Litres(), 2)
	}
	if s.Known {
		e.number("demand_l_per_day", s.PerDay/1000, 3)
		if s.Left >= 0 && !math.IsInf(s.Days, 0) {
			e.number("lasts_days", s.Days, 1)
			e.number("lasts_min_days", s.Low, 1)
			e.number("lasts_max_days", s.High, 1)
		}
	}
	return e.end()
}

func appendHold(dst []byte, h *controller.HoldView) []byte {
	e := object(dst)
	e.text("cause", h.Cause.String())
	e.text("action", h.Action.String())
	e.text("scope", h.Scope.String())
	e.some("pump", h.Pump)
	e.text("text", h.Text)
	e.text("clears", h.Clears)
	e.moment("since", h.Since.Wall)
	return e.end()
}

// AppendAlarm writes where an alarm stands.
func AppendAlarm(dst []byte, a controller.AlarmView) []byte {
	e := object(dst)
	e.text("cause", a.Cause.String())
	e.text("state", a.State.String())
	e.text("priority", a.Priority.String())
	e.text("code", a.Priority.Code())
	e.text("text", a.Text)
	e.text("advice", a.Advice)
	e.moment("since", a.Since.Wall)
	return e.end()
}
