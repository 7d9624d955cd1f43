package web

import (
	"fmt"
	"strconv"

	"leat/controller"
)

// ionBar is one ion as a bar of 200 units, of which 100 are the target.
type ionBar struct {
	Name, Class, Words string
	Amount, Low, Wide  string
	Milligrams, Target string
}

// farOff is the share of the target from which an ion is shown as far off.
const farOff = 0.15

// ionBars are the macronutrients of the recipe, each against its target.
func ionBars(v *controller.IonsView) (bars []ionBar) {
	for i := range v.Ions {
		ion := &v.Ions[i]
		if !ion.Macro || !(ion.Target > 0) {
			continue
		}
		scale := 100 / ion.Target
		inside := func(x float64) float64 { return min(max(x, 0), 200) }
		low, high := inside(scale*(ion.Amount-ion.Off)), inside(scale*(ion.Amount+ion.Off))
		b := ionBar{Name: ion.Name, Class: "near", Amount: figure(inside(scale * ion.Amount)), Low: figure(low), Wide: figure(high - low),
			Milligrams: milligrams(ion.Amount * ion.Milligrams), Target: milligrams(ion.Target * ion.Milligrams)}
		if off := ion.Amount/ion.Target - 1; off > farOff || off < -farOff {
			b.Class = "far"
		}
		b.Words = fmt.Sprintf("%s: %s of %s mg/L, give or take %s", b.Name, b.Milligrams, b.Target, milligrams(ion.Off*ion.Milligrams))
		bars = append(bars, b)
	}
	return bars
}

func figure(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

// milligrams prints as many digits as an analysis has.
func milligrams(v float64) string {
	if v < 20 {
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 0, 64)
}
