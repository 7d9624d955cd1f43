package web

import (
	"testing"

	"leat/controller"
	"leat/dosing"
)

func TestUSUnitsStandBesideTheMetricOnesAndOnlyWhereTheyAreAskedFor(t *testing.T) {
	reading := func(q dosing.Quantity, v float64) controller.InputView {
		return controller.InputView{Quantity: q, Present: true, Value: v}
	}
	for _, c := range []struct {
		in   controller.InputView
		want string
	}{{reading(dosing.QuantityTemperature, 21.2), " (70.2 °F)"}, {reading(dosing.QuantityTemperature, -40), " (-40.0 °F)"}, {reading(dosing.QuantityLevel, 1000), " (264 gal)"},
		{reading(dosing.QuantityPH, 5.8), ""}, {controller.InputView{Quantity: dosing.QuantityLevel}, ""}} {
		if got := besideReading(c.in, true); got != c.want {
			t.Errorf("%+v: %q, want %q", c.in, got, c.want)
		}
		if got := besideReading(c.in, false); got != "" {
			t.Errorf("metric: %q", got)
		}
	}
	if got := besideVolume(20*dosing.Litre, true) + besideVolume(20*dosing.Millilitre, true); got != " (5.28 gal)" {
		t.Errorf("%q", got)
	}
	h := newHouse(t, func(o *Options) { o.US = true })
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north")
	want(t, page, "21.2 °C (70.2 °F)")
	_, page = b.get("/stocks")
	want(t, page, "1000 mL (0.26 gal)")
}
