package campaign

import (
	"math"
	"time"

	"leat/dosing"
)

// wholeBlends: whenever no stock is owed a dose that it can repeat, what was
// delivered of each stock since the start stands in the ratio of the blend within
// one smallest dose each. Nights in which a stock was held are not judged.
func wholeBlends(w *trail) {
	if w.Faulty {
		return
	}
	for id := range w.Settings.Safety.Tanks {
		if w.Settings.Tanks[id].Ratio != nil {
			continue // its shares change by design; the daemon's own tests follow them
		}
		wholeBlendsOf(w, dosing.TankID(id))
	}
}

func wholeBlendsOf(w *trail, id dosing.TankID) {
	name := w.tank(id).Name
	given := map[dosing.PumpID]dosing.Volume{}
	owed := map[string]dosing.Volume{}
	debt := 0
	for i := range w.doses {
		d := &w.doses[i]
		if d.order.Tank != id || d.pump.Role != dosing.RoleStock || !d.closed {
			continue
		}
		given[d.order.Pump] += d.volume
		for debt < len(w.Debts) && w.Debts[debt].At <= d.end {
			if x := &w.Debts[debt]; x.Tank == name {
				owed[x.Pump] = x.Volume
			}
			debt++
		}
		compareShares(w, id, d.end, given, owed)
	}
}

func compareShares(w *trail, id dosing.TankID, at time.Duration, given map[dosing.PumpID]dosing.Volume, owed map[string]dosing.Volume) {
	least, most, slack := math.Inf(1), math.Inf(-1), 0.0
	for i := range w.Settings.Safety.Pumps {
		p := &w.Settings.Safety.Pumps[i]
		if p.Role != dosing.RoleStock || !p.ServesTank(id) || !(p.Share > 0) {
			continue
		}
		if owed[p.Name] >= p.MinDose {
			return // a blend is under way
		}
		blend := given[dosing.PumpID(i)].Millilitres() / p.Share
		least, most = min(least, blend), max(most, blend)
		slack = max(slack, p.MinDose.Millilitres()/p.Share)
	}
	if most-least > 2*slack+1e-6 {
		w.violate(at, "no blend is under way, yet the stocks given make between %.2f and %.2f mL of it", least, most)
	}
}
