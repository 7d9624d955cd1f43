package controller_test

import (
	"math"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
	"leat/safety"
)

// Worked by hand, two tanks on a row without recipes: 700 L and 140 L, of which 35 % are
// drunk in a week: 35 and 7 L a day, and each takes 1.25 mS/cm: 43.75 and 8.75 mS/cm·L. The
// blend is 3 parts of a stock that adds 0.1 mS/cm to a litre for each mL and 1 part of one that adds
// 0.2: 0.125 a mL. So 350 mL of it for the first tank, 262.5 and 87.5, and 70 mL for the other,
// 52.5 and 17.5. The top-up's 2 meq/L want 70 meq of an acid of 5 meq/mL: 14 mL.
func TestTheFirstDaysDemandIsTheOneWorkedByHand(t *testing.T) {
	set := &controller.Settings{Tanks: make([]controller.TankSettings, 2)}
	set.Safety.Tanks = []safety.Tank{{Tank: dosing.Tank{Volume: 700, TopUp: dosing.Water{Alkalinity: 2}}}, {Tank: dosing.Tank{Volume: 140, TopUp: dosing.Water{Alkalinity: 2}}}}
	set.Safety.Pumps = []dosing.Pump{{Name: "a", Role: dosing.RoleStock, Share: 0.75, ECPerML: 0.1}, {Name: "b", Role: dosing.RoleStock, Share: 0.25, ECPerML: 0.2},
		{Name: "acid", Role: dosing.RoleAcid, AcidPerML: 5, Serves: 1}, {Name: "base", Role: dosing.RoleBase, AcidPerML: -3}}
	for i, want := range []float64{315, 105, 14, 0} {
		if got := controller.UsualDay(set, evening)[i]; math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %g mL a day, by hand %g", set.Safety.Pumps[i].Name, got, want)
		}
	}
}

func TestTheFirstDaysDemandIsThatOfTheStageOfTheCrop(t *testing.T) {
	salt := func(name string, mg float64) *ratio.Plan {
		stocks, err := blend.ReadStocks("stock,holds,amount,unit\nkno3,potassium nitrate,101.1,g/L\nmgso4,magnesium sulfate heptahydrate,246.5,g/L\n")
		if err != nil {
			t.Fatal(err)
		}
		recipe := blend.Recipe{Name: name}
		for s, amount := range map[blend.Substance]float64{blend.K: 8, blend.NO3: 8, blend.Mg: mg, blend.S: mg} {
			recipe.Wants[s] = blend.Want{Stated: true, Amount: amount, Weight: 1}
		}
		return &ratio.Plan{Recipe: recipe, Water: blend.Analysis{PH: 7}.Water().Content, Stocks: stocks, Litres: 700, EC: 1.5, PH: 5.8}
	}
	set := &controller.Settings{Tanks: make([]controller.TankSettings, 1)}
	set.Safety.Tanks = []safety.Tank{{Tank: dosing.Tank{Volume: 700}}}
	set.Safety.Pumps = []dosing.Pump{{Name: "kno3", Role: dosing.RoleStock}, {Name: "mgso4", Role: dosing.RoleStock}}
	set.Tanks[0].Ratio = salt("leaves", 1)
	set.Tanks[0].Schedule.Stages = []controller.Stage{{Name: "heads", From: evening, Ratio: salt("heads", 4)}}
	before, after := controller.UsualDay(set, evening.Add(-time.Hour)), controller.UsualDay(set, evening.Add(time.Hour))
	if !(before[1] > 0 && math.Abs(before[1]/before[0]-1.0/8) < 0.01 && math.Abs(after[1]/after[0]-4.0/8) < 0.02) {
		t.Errorf("mL a day before the stage %v and in it %v; want 1:8 and 4:8", before, after)
	}
}
