package controller_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/sim"
	"leat/deploy"
)

// A farm whose crop wants another recipe from the second stage on.
const stagesOfRecipes = `
[[tank.stage]]
name = "leaves"
from = "2026-02-01"

[[tank.stage]]
name = "fruit"
from = "2026-03-01T20:00"
ec = "1.9 mS/cm"

[tank.stage.recipe]
name = "strawberry"

[tank.ph_setpoint]`

func TestAStageOfTheCropBringsItsRecipe(t *testing.T) {
	file, err := config.Parse("farm", []byte(strings.Replace(string(deploy.Sample), "\n[tank.ph_setpoint]", stagesOfRecipes, 1)), config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	s := &stage{rig: unstarted(t, file, sim.Options{Seed: 7}), t: t, taps: map[string]func([]byte) []byte{}}
	s.start(t, evening, s.listen)
	s.pass(100 * time.Minute)
	before := s.view(north).Ions
	s.pass(30 * time.Minute)
	after := s.view(north).Ions
	if before.Recipe != "lettuce" || after.Recipe != "strawberry" {
		t.Fatalf("recipe %s, then %s", before.Recipe, after.Recipe)
	}
	changed := false
	for i := range after.Shares {
		changed = changed || after.Shares[i].Share != before.Shares[i].Share
	}
	if !changed {
		t.Error("the stocks are shared as before")
	}
	// What the tank holds is not forgotten by that.
	for i := range after.Ions {
		if a, b := after.Ions[i], before.Ions[i]; a.Name == "K" && (a.Amount < 0.9*b.Amount || a.Amount > 1.1*b.Amount) {
			t.Errorf("K %.2f mmol/L, then %.2f", b.Amount, a.Amount)
		}
	}
	marks := 0
	for _, n := range s.notices {
		if n.Kind == controller.NoticeChange && strings.Contains(n.Text, "recipe strawberry: stage fruit of the crop") {
			marks++
		}
	}
	if marks != 1 {
		t.Errorf("told %d times", marks)
	}
	s.restart(time.Minute)
	s.pass(5 * time.Minute)
	if got := s.view(north).Ions.Recipe; got != "strawberry" {
		t.Errorf("after a restart the recipe is %s", got)
	}
}
