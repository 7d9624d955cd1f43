package safety

import (
	"leat/dosing"
	"leat/safety/response"
)

// UnseenShare is what of a class of reagents no reading of a tank has shown ÷ what may be;
// zero while no buffer is known, for then none is given.
func (ac *accounts) UnseenShare(id dosing.TankID, role dosing.Role) float64 {
	class, ok := response.ClassOf(role)
	if !ok || int(id) >= len(ac.tanks) {
		return 0
	}
	if limit := ac.tanks[id].unseenMost(class); limit > 0 {
		return max(ac.tanks[id].accounts[class].given, 0) / limit
	}
	return 0
}

// UnseenMost is how much of a class of reagents may be unseen, meq/L or mS/cm.
func (ac *accounts) UnseenMost(id dosing.TankID, role dosing.Role) float64 {
	class, ok := response.ClassOf(role)
	if !ok || int(id) >= len(ac.tanks) {
		return 0
	}
	return ac.tanks[id].unseenMost(class)
}

func (t *tankState) unseenMost(class response.Class) float64 {
	commissioned, _ := t.buffers()
	return t.accounts[class].limit(t, commissioned)
}

// UnseenWords says how much of a class of reagents no reading of a tank has shown yet.
func (ac *accounts) UnseenWords(id dosing.TankID, role dosing.Role) string {
	class, ok := response.ClassOf(role)
	if !ok || int(id) >= len(ac.tanks) {
		return ""
	}
	t := &ac.tanks[id]
	return t.accounts[class].words(t.unseenMost(class))
}

// Unseen is what no reading of a tank has shown of acid and base, meq/L, and of stock, mS/cm.
type Unseen struct{ Acid, Base, Stock float64 }

// Unseen tells the accounts of a tank.
func (ac *accounts) Unseen(id dosing.TankID) Unseen {
	if int(id) >= len(ac.tanks) {
		return Unseen{}
	}
	a := &ac.tanks[id].accounts
	return Unseen{Acid: max(a[response.Acid].given, 0), Base: max(a[response.Base].given, 0), Stock: max(a[response.Stock].given, 0)}
}

// released is the share of its limit by which an account must have fallen before that is
// worth a row of the record.
const released = 0.2

// UnseenToRecord tells the accounts of a tank when evidence has taken out of one what the
// record should know, at most once in a mixing time. A restart before that is written finds
// more than there is, never less.
func (ac *accounts) UnseenToRecord(now dosing.Instant, id dosing.TankID) (Unseen, bool) {
	if int(id) >= len(ac.tanks) {
		return Unseen{}, false
	}
	t := &ac.tanks[id]
	commissioned, _ := t.buffers()
	due := false
	for class := range t.accounts {
		a := &t.accounts[class]
		if a.recordedAt.within(t.plant.MixingTime(), now.Up) {
			return Unseen{}, false
		}
		limit := a.limit(t, commissioned)
		due = due || limit > 0 && a.recorded-max(a.given, 0) > released*limit
	}
	if !due {
		return Unseen{}, false
	}
	for class := range t.accounts {
		a := &t.accounts[class]
		a.recorded = max(a.given, 0)
		a.recordedAt.set(now.Up)
	}
	return ac.Unseen(id), true
}

// RestoreUnseen brings back what an earlier run had given and no reading had shown: as
// recorded, and all doses since.
func (ac *accounts) RestoreUnseen(now dosing.Instant, id dosing.TankID, written Unseen, since map[dosing.PumpID]dosing.Volume) {
	if int(id) >= len(ac.tanks) {
		return
	}
	t := &ac.tanks[id]
	amounts := [response.Classes]float64{written.Acid, written.Base, written.Stock}
	for pump, volume := range since {
		if int(pump) < len(ac.pumps) {
			if class, amount, ok := ac.amount(t, &ac.settings.Pumps[pump], volume); ok {
				amounts[class] += amount
			}
		}
	}
	for pump := range ac.settings.Pumps {
		// A restart is no arming: what was dosed just now has shown what it does.
		if class, _, ok := ac.amount(t, &ac.settings.Pumps[pump], dosing.Millilitre); ok && ac.totals.Hour(dosing.PumpID(pump), now.Up) > 0 {
			t.accounts[class].tastes = tastesNear
		}
	}
	for class, amount := range amounts {
		if a := &t.accounts[class]; amount > 0 {
			a.given, a.recorded, a.last, a.restored, a.full = amount, amount, now.Up, true, true
		}
	}
}
