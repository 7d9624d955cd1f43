package campaign

import (
	"slices"

	"leat/safety"
)

// latched: what a trip stopped stays stopped until a person has cleared it. Water that
// nobody has confirmed is the matter of another rule.
func latched(w *trail) {
	for i := range w.Latches {
		l := &w.Latches[i]
		row := safety.Of(l.Cause)
		if l.Cause == safety.CauseSolutionUnconfirmed || row.Latches == safety.LatchesNever {
			continue
		}
		stop := Hold{Cause: l.Cause, Action: safety.Stop, Scope: row.Scope, Pump: l.Pump}
		if l.Pump != "" {
			stop.Scope = safety.ScopePump
		}
		for k := range w.Orders {
			o := &w.Orders[k]
			p := &w.Settings.Safety.Pumps[o.Pump]
			if o.At > l.At && stop.stops(p) && l.reaches(&stop, w.tank(o.Tank).Name) && !cleared(w, l, o) {
				w.violate(o.At, "%s was dosed, though %s latched at %s and nobody has cleared it", p.Name, l.Cause, l.At)
			}
		}
	}
}

// reaches says whether a stop that was recorded with one tank is one of another, too.
func (l *Latch) reaches(stop *Hold, tank string) bool {
	return stop.Scope == safety.ScopePump || stop.Scope == safety.ScopeStation || l.Tank == "" || l.Tank == tank
}

// cleared says whether a latch was cleared before an order. A pump that serves several
// tanks is cleared through any of them.
func cleared(w *trail, l *Latch, o *Ordered) bool {
	return slices.ContainsFunc(w.Clears, func(c Clear) bool {
		return c.At >= l.At && c.At <= o.At && (l.Pump != "" && c.Pump == l.Pump || c.Pump == "" && c.Tank == l.Tank)
	})
}
