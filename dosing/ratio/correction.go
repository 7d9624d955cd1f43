package ratio

import (
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/blend"
)

// Correction is how the stocks bring a tank back to its recipe while EC is held at a
// setpoint: what the loop then gives, and what the tank holds in the end.
type Correction struct {
	EC      float64       // the setpoint, mS/cm
	In      time.Duration // until then, at the pace at which plants take
	Given   []float64     // mL by pump
	Content blend.Content // mmol/L in the end
	Worst   blend.Substance
	Off     float64 // of the macronutrient that is then farthest off, as a share of its target; ammonium left out
}

// Correct foresees the correction at a setpoint of EC. It is what Solve hands to the loop,
// and nothing else: no dose follows from it. False where the account knows nothing, or where
// no stock can give anything that lacks.
func Correct(t *Tank, ec float64) (c Correction, ok bool) {
	if !t.started || !(ec > 0) {
		return c, false
	}
	at := *t // Solve replaces what it changes
	at.toward = ec
	stocks, pumps := t.plan.serving(func(s *blend.Stock) bool { return s.Role == dosing.RoleStock })
	o := at.ahead()
	given, err := feedOf(&at, &o, stocks).Amounts()
	if err != nil {
		return c, false
	}
	c = Correction{EC: ec, Given: make([]float64, len(t.plan.Stocks)), Content: o.left}
	sum := 0.0
	for i, pump := range pumps {
		c.Given[pump] = given[i] * t.plan.Litres
		c.Content = c.Content.Plus(stocks[i].Content, given[i]/1000)
		sum += given[i]
	}
	c.In = time.Duration(o.uptake / max(float64(t.pace), usualPace/4) * float64(time.Hour))
	target := t.Target(t.toward) // of now: a raise that ends is no other recipe
	for s := blend.NO3; s <= blend.S; s++ {
		c.Content[s] = max(c.Content[s], 0)
		if off := c.Content[s]/target[s] - 1; target[s] > 0 && s != blend.NH4 && math.Abs(off) > math.Abs(c.Off) {
			c.Worst, c.Off = s, off
		}
	}
	return c, sum > 0
}

// Faster is the setpoint of EC that makes good sooner what a nutrient lacks; 0 = none is
// worth it: as for a dump, a tenth counts, if the account is sure of it. The stocks are then
// given in the proportion of what lacks. None while a dump is due, which takes out again what
// was given, or EC is still on its way. It is higher by the warn band of EC, so that nobody is
// called when it ends.
func Faster(t *Tank) float64 {
	if !t.Left().atSetpoint() || t.analysed.IsZero() || t.toward > t.plan.EC+1e-3 || t.toward < t.plan.EC-1e-3 || len(t.Left().Dumps()) > 0 {
		return 0
	}
	target, wants := t.Target(t.toward), t.Wants()
	for s := blend.NO3; s <= blend.S; s++ {
		lacks := 1 - t.content[s]/target[s]
		if target[s] > 0 && s != blend.NH4 && wants[s] > 0 && lacks > DumpAt && float64(lacks*target[s]) > Quantile*t.Off(s) {
			return math.Round(100*(t.plan.EC+dosing.WarnBand.EC)) / 100
		}
	}
	return 0
}
