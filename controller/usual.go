package controller

import (
	"time"

	"leat/dosing"
	"leat/dosing/ratio"
)

// UsualDay is what a usual crop draws of each pump in a day, mL: a forecast for the days
// before the first that is on record. Zero = not foreseen, as of a base and of water. The
// recipe is that of the crop's stage at the time.
func UsualDay(set *Settings, at time.Time) []float64 {
	all := make([]float64, len(set.Safety.Pumps))
	for i := range set.Tanks {
		id := dosing.TankID(i)
		if plan, _ := set.Tanks[i].planAt(at); plan != nil {
			if day, err := plan.UsualDay(); err == nil && len(day) == len(all) {
				for p, ml := range day {
					all[p] += ml
				}
			}
			continue
		}
		tank := &set.Safety.Tanks[i]
		drink, blendEC := ratio.UsualDrink(float64(tank.Volume)), 0.0
		for p := range set.Safety.Pumps {
			if pump := &set.Safety.Pumps[p]; pump.ServesTank(id) {
				blendEC += float64(pump.Share * pump.ECPerML)
			}
		}
		for p := range set.Safety.Pumps {
			switch pump := &set.Safety.Pumps[p]; {
			case !pump.ServesTank(id):
			case pump.Role == dosing.RoleStock && blendEC > 0:
				all[p] += pump.Share * drink * ratio.UsualUptake / blendEC
			case pump.Role == dosing.RoleAcid && pump.AcidPerML > 0:
				all[p] += drink * tank.TopUp.Alkalinity / pump.AcidPerML
			}
		}
	}
	return all
}

// planAt is the recipe that the stage of the crop at a time brings, with that stage, else
// the tank's.
func (t *TankSettings) planAt(at time.Time) (plan *ratio.Plan, stage string) {
	plan = t.Ratio
	begun := t.Schedule.begun(at)
	for i := range begun {
		if begun[i].Ratio != nil {
			plan, stage = begun[i].Ratio, begun[i].Name
		}
	}
	return plan, stage
}
