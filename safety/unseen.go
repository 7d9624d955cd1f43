package safety

import (
	"leat/dosing"
	"leat/safety/response"
)

// UnseenShare is what of a class of reagents no reading of a tank has shown ÷ what may be;
// zero while no buffer is known, for then none is given.
func (w *Watch) UnseenShare(id dosing.TankID, role dosing.Role) float64 {
	class, ok := response.ClassOf(role)
	if !ok || int(id) >= len(w.tanks) {
		return 0
	}
	if limit := w.tanks[id].unseenMost(class); limit > 0 {
		return max(w.tanks[id].accounts[class].given, 0) / limit
	}
	return 0
}

// UnseenMost is how much of a class of reagents may be unseen, meq/L or mS/cm.
func (w *Watch) UnseenMost(id dosing.TankID, role dosing.Role) float64 {
	class, ok := response.ClassOf(role)
	if !ok || int(id) >= len(w.tanks) {
		return 0
	}
	return w.tanks[id].unseenMost(class)
}

func (t *tankState) unseenMost(class response.Class) float64 {
	commissioned, _ := t.buffers()
	return t.accounts[class].limit(t, commissioned)
}

// UnseenWords says how much of a class of reagents no reading of a tank has shown yet.
func (w *Watch) UnseenWords(id dosing.TankID, role dosing.Role) string {
	class, ok := response.ClassOf(role)
	if !ok || int(id) >= len(w.tanks) {
		return ""
	}
	t := &w.tanks[id]
	return t.accounts[class].words(t.unseenMost(class))
}

// Unseen is what no reading of a tank has shown of acid and base, meq/L, and of stock, mS/cm.
type Unseen struct{ Acid, Base, Stock float64 }

// Unseen tells the accounts of a tank.
func (w *Watch) Unseen(id dosing.TankID) Unseen {
	if int(id) >= len(w.tanks) {
		return Unseen{}
	}
	a := &w.tanks[id].accounts
	return Unseen{Acid: max(a[response.Acid].given, 0), Base: max(a[response.Base].given, 0), Stock: max(a[response.Stock].given, 0)}
}

// released is the share of its limit by which an account must have fallen before that is
// worth a row of the record.
const released = 0.2

// UnseenToRecord tells the accounts of a tank when evidence has taken out of one what the
// record should know, at most once in a mixing time. A restart before that is written finds
// more than there is, never less.
func (w *Watch) UnseenToRecord(now dosing.Instant, id dosing.TankID) (Unseen, bool) {
	if int(id) >= len(w.tanks) {
		return Unseen{}, false
	}
	t := &w.tanks[id]
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
	return w.Unseen(id), true
}

// RestoreUnseen brings back what an earlier run had given and no reading had shown: as
// recorded, and all doses since.
func (w *Watch) RestoreUnseen(now dosing.Instant, id dosing.TankID, written Unseen, since map[dosing.PumpID]dosing.Volume) {
	if int(id) >= len(w.tanks) {
		return
	}
	t := &w.tanks[id]
	amounts := [response.Classes]float64{written.Acid, written.Base, written.Stock}
	for pump, volume := range since {
		if int(pump) < len(w.pumps) {
			if class, amount, ok := w.amount(t, &w.settings.Pumps[pump], volume); ok {
				amounts[class] += amount
			}
		}
	}
	for pump := range w.settings.Pumps {
		// A restart is no arming: what was dosed just now has shown what it does.
		if class, _, ok := w.amount(t, &w.settings.Pumps[pump], dosing.Millilitre); ok && w.totals.Hour(dosing.PumpID(pump), now.Up) > 0 {
			t.accounts[class].tastes = tastesNear
		}
	}
	for class, amount := range amounts {
		if a := &t.accounts[class]; amount > 0 {
			a.given, a.recorded, a.last, a.restored, a.full = amount, amount, now.Up, true, true
		}
	}
}
