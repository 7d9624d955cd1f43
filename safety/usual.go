package safety

import (
	"math"

	"leat/dosing"
	"leat/safety/response"
)

// Usual is what the doses of one reagent usually did ÷ what was commissioned; not known
// before some have answered.
type Usual struct {
	Known bool
	Does  float64
}

// Usual tells what a tank's doses of acid, base or stock usually do.
func (ac *accounts) Usual(id dosing.TankID, role dosing.Role) Usual {
	class, ok := response.ClassOf(role)
	if !ok || int(id) >= len(ac.tanks) || ac.tanks[id].responses == nil {
		return Usual{}
	}
	usual, answers := ac.tanks[id].responses.Usual(class)
	return Usual{Known: answers >= response.AnswersWant, Does: math.Exp(usual)}
}

// Late tells what of a tank answers later than commissioned.
func (ac *accounts) Late(id dosing.TankID) response.Late {
	if int(id) >= len(ac.tanks) {
		return response.Late{}
	}
	return ac.tanks[id].responses.Late()
}

// SourceWater says what the top-up of a tank brings beyond what was told; "" while it is
// as told.
func (wa *waters) SourceWater(id dosing.TankID) string {
	if int(id) >= len(wa.tanks) {
		return ""
	}
	return wa.tanks[id].responses.SourceWater()
}

// OffBalance says which stock of a tank does otherwise than the others; "" while none does.
func (wa *waters) OffBalance(id dosing.TankID) string {
	if int(id) >= len(wa.tanks) {
		return ""
	}
	return response.OffBalance(wa.tanks[id].responses)
}
