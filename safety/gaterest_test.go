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
	p := &f.w.tanks[0].responses.pools[classAcid]
	p.rest, p.stood = f.now.Up+5*time.Minute, 6.2
	if _, cause := f.g.Largest(f.now, 0, acidPump); cause != CauseAnswerWait {
		t.Errorf("acid that is given rest is withheld by %s", cause)
	}
	if verdict := f.judge(0, acidPump, dosing.Millilitre); verdict.Cause != CauseAnswerWait || verdict.Detail == "" {
		t.Errorf("and for what, in figures: %+v", verdict)
	}
	if most, cause := f.g.Largest(f.now, 0, calciumPump); most == 0 {
		t.Errorf("a stock is withheld for it, too: %s", cause)
	}
	p.stood = 6.0
	if most, cause := f.g.Largest(f.now, 0, acidPump); most == 0 {
		t.Errorf("pH moved by 0.2 meanwhile, and the acid is withheld by %s", cause)
	}
}
