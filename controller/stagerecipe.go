package controller

import (
	"leat/dosing"
	"leat/dosing/ratio"
	"leat/safety/ledger"
)

// followStages changes the recipe of a tank when a stage of its crop brings another. What the
// tank holds stays known: the account goes on, towards the other recipe.
func (ac *accounts) followStages(now dosing.Instant) {
	for i := range ac.tanks {
		id := dosing.TankID(i)
		wanted, stage := ac.recipeOf(now, id)
		t := &ac.tanks[i]
		if wanted == t.settings.Ratio || ac.dose.state != doseNone {
			t.ions.staged = true
			continue
		}
		found := t.ions.staged
		t.settings.Ratio = wanted
		ac.reconfigure(now, id)
		t.ions.staged = true
		if !found {
			continue // a start finds its stage under way: nothing has changed
		}
		text := "recipe " + wanted.Recipe.Name + ": stage " + stage + " of the crop"
		ac.change(ledger.Change{Kind: ledger.ChangeMark, At: now, Tank: ac.tankName(id), Note: text, By: fromSchedule})
		ac.notice(Notice{Kind: NoticeChange, Tank: id, Text: text})
	}
}

// recipeOf is the recipe that holds now, and the stage that brought it.
func (ac *accounts) recipeOf(now dosing.Instant, id dosing.TankID) (plan *ratio.Plan, stage string) {
	return ac.settings.Tanks[id].planAt(now.Wall)
}
