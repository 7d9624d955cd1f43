package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

func TestTheGateNamesTheRest(t *testing.T) {
	f := newFarm(t)
	f.drift(0, dosing.QuantityPH, 6.2)
	f.pass(10 * time.Minute)
	water := f.tested()
	water.answers(acidPump, 1, 3)
	// The drift and the doses that hold against it look alike.
	water.slope, water.from = 0.375, water.now.Up
	for water.Rests(dosing.RoleAcid, 6.2) == 0 {
		if water.now.Up > 6*time.Hour {
			t.Fatal("doses that hold evenly against a drift were given no rest")
		}
		water.gives(acidPump, -0.0125, 1)
		water.passes(2 * time.Minute)
	}
	if _, cause := f.g.Largest(f.now, 0, acidPump); cause != CauseAnswerWait {
		t.Errorf("acid that is given rest is withheld by %s", cause)
	}
	if verdict := f.judge(0, acidPump, dosing.Millilitre); verdict.Cause != CauseAnswerWait || verdict.Detail == "" {
		t.Errorf("and for what, in figures: %+v", verdict)
	}
	if most, cause := f.g.Largest(f.now, 0, calciumPump); most == 0 {
		t.Errorf("a stock is withheld for it, too: %s", cause)
	}
	f.drift(0, dosing.QuantityPH, 6.4)
	f.pass(2 * time.Minute)
	if most, cause := f.g.Largest(f.now, 0, acidPump); most == 0 {
		t.Errorf("pH moved by 0.2 meanwhile, and the acid is withheld by %s", cause)
	}
}
