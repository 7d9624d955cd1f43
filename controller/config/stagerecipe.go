package config

import (
	"strconv"

	"leat/dosing"
)

// stageRecipes reads the recipes of a tank's stages and solves each from the same water and
// row, so that none is found wanting on the day on which it begins.
func (b *mixes) stageRecipes(id dosing.TankID) {
	set := &b.settings().Tanks[id]
	for i := range set.Schedule.Stages {
		in, stage := &b.layout.Tanks[id].Stages[i].Recipe, &set.Schedule.Stages[i]
		if !in.Stated {
			continue
		}
		path := join(join(join(join("tank", strconv.Itoa(int(id))), "stage"), strconv.Itoa(i)), "recipe")
		if !b.layout.Tanks[id].Recipe.Stated {
			b.fault(path, "", "stands in a tank without a recipe, whose stocks are shared by hand", "state [tank.recipe], and its source water")
			continue
		}
		before := len(b.faults)
		recipe := b.wanted(path, in.Name, in.Elements)
		if len(b.faults) > before || set.Ratio == nil {
			continue
		}
		plan := *set.Ratio
		plan.Recipe = recipe
		fresh, amounts, err := plan.Fresh()
		if err != nil {
			b.blame(path, in.Elements, err)
			continue
		}
		for _, why := range fresh.Reasons {
			b.warn(path, why)
		}
		stage.Ratio = &plan
		b.file.plants[id].later = append(b.file.plants[id].later, amounts)
	}
}
