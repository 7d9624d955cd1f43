package ratio

import (
	"math"
	"testing"

	"leat/dosing/blend"
)

// Worked by hand: 700 L of which a usual crop drinks 35 % in a week, so 35 L a day. 10 mmol/L
// of potassium chloride, whose ions form no pairs, have 1.4127 mS/cm at 25 °C (CRC Handbook of
// Chemistry and Physics, molar conductivity 141.27 S cm²/mol at 0.01 mol/L). A crop that takes
// 1.25 mS/cm with each litre takes 10 · 1.25 / 1.4127 = 8.848 mmol of it, in a day 309.7 mmol; of a
// stock of 74.55 g/L, which is 1 mol/L, 309.7 mL.
func TestAUsualDayIsTheOneWorkedByHand(t *testing.T) {
	recipe := blend.Recipe{Name: "salt alone"}
	recipe.Wants[blend.K], recipe.Wants[blend.Cl] = blend.Want{Stated: true, Amount: 10, Weight: 1}, blend.Want{Stated: true, Amount: 10, Weight: 1}
	p := &Plan{Recipe: recipe, Water: blend.Analysis{PH: 7}.Water().Content, Stocks: row(t, "kcl,potassium chloride,74.55,g/L\n"+nitric), Litres: 700, EC: 1.4127, PH: 5.8}
	day, err := p.UsualDay()
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(day[0]/309.7-1) > 0.02 {
		t.Errorf("%.1f mL of potassium chloride a day; by hand 309.7", day[0])
	}
	if math.Abs(day[1]) > 0.1 {
		t.Errorf("%.2f mL of acid a day against water without alkalinity", day[1])
	}
	// A tank of twice the water has twice the crop.
	p.Litres = 1400
	if twice, err := p.UsualDay(); err != nil || math.Abs(twice[0]-2*day[0]) > 1e-6 {
		t.Errorf("of twice the tank %v, %v", twice, err)
	}
}

// Worked by hand: 35 L a day of a water of 3 meq/L, of which pH 5.8 leaves hardly any, want
// 105 meq of acid, less what carbonate stays. Nitric acid of 38 % is 1.234 g/mL (CRC
// Handbook), which is 7.44 meq/mL: 14.1 mL.
func TestAcidOfAUsualDayMeetsTheAlkalinityOfWhatIsDrunk(t *testing.T) {
	p := plan(t, nitric)
	water := blend.Analysis{Alkalinity: 3, PH: 7.4}
	water.Content[blend.Ca], water.Content[blend.Mg] = 1.1, 0.4
	for s := range water.Content {
		water.Stated[s] = water.Content[s] > 0
	}
	p.Water, p.Litres = water.Water().Content, 700
	day, err := p.UsualDay()
	if err != nil {
		t.Fatal(err)
	}
	acid := day[len(day)-1]
	if !(acid > 0.85*14.1 && acid < 1.02*14.1) {
		t.Errorf("%.2f mL of acid a day; by hand at most 14.1, and most of it", acid)
	}
	// What the water brings of calcium is not bought again.
	soft := plan(t, nitric)
	soft.Litres = 700
	of, err := soft.UsualDay()
	if err != nil || !(of[0] > day[0]+1) {
		t.Errorf("calcium stock %.1f mL a day with 1.1 mmol/L in the water, %.1f with 0.3: %v", day[0], of[0], err)
	}
}
