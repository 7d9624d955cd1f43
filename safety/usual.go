package safety

import (
	"math"

	"leat/dosing"
)

// Usual is what the doses of one reagent usually did ÷ what was commissioned; not known
// before some have answered.
type Usual struct {
	Known bool
	Does  float64
}

// Usual tells what a tank's doses of acid, base or stock usually do.
func (w *Watch) Usual(id dosing.TankID, role dosing.Role) Usual {
	class, ok := classOf(role)
	if !ok || int(id) >= len(w.tanks) || w.tanks[id].responses == nil {
		return Usual{}
	}
	p := &w.tanks[id].responses.pools[class]
	return Usual{Known: p.answers >= AnswersWant, Does: math.Exp(p.usual)}
}
