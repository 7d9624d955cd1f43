package config

import (
	"fmt"

	"leat/dosing"
	"leat/dosing/blend"
)

// recipeReport is the first blend of a tank as figures.
func (f *File) recipeReport(id dosing.TankID) *RecipeReport {
	plan, plant := f.Settings.Tanks[id].Ratio, &f.plants[id]
	m := plant.fresh
	r := &RecipeReport{Name: m.Task.Recipe.Name, Source: m.Task.Recipe.Source, Ammonium: plan.NH4Most}
	shares := sharesOf(f.Settings.Safety.Pumps, plant.amounts)
	for i := range f.Settings.Safety.Pumps {
		if p := &f.Settings.Safety.Pumps[i]; p.ServesTank(id) {
			r.Stocks = append(r.Stocks, BlendReport{Pump: p.Name, PerLitre: plant.amounts[i], Share: shares[i]})
		}
	}
	for s := blend.NO3; s < blend.Carbon; s++ {
		w := m.Wants[s]
		if m.Reached[s] > 0 || w.Amount > 0 {
			r.Ions = append(r.Ions, TargetReport{Name: s.Symbol(), Target: w.Amount * s.Mass(), Reached: m.Reached.Milligrams(s), Water: plan.Water.Milligrams(s), Why: m.Why(s)})
		}
	}
	if lever, ok := blend.AmmoniumLever(m.Acid, m.Reached.Nitrogen(), m.Reached[blend.NH4]/max(m.Reached.Nitrogen(), 1e-9), plan.NH4Most); ok {
		r.Lever = lever.String()
	}
	return r
}

func (p *printer) recipe(r *RecipeReport) {
	p.line("  recipe %s, at most %s %% of its nitrogen as ammonium; the first blend, made from the source water:", r.Name, figure(100*r.Ammonium))
	rows := [][]string{{"stock", "mL per litre", "share"}}
	for _, s := range r.Stocks {
		share := "-"
		if s.Share > 0 {
			share = figure(100*s.Share) + " %"
		}
		rows = append(rows, []string{s.Pump, figure(s.PerLitre), share})
	}
	p.table(rows)
	rows = [][]string{{"mg/L", "water", "target", "reached", "off", "why not nearer"}}
	for _, i := range r.Ions {
		target, off, why := "-", "-", "-"
		if i.Why != "" {
			why = i.Why
		}
		if i.Target > 0 {
			target, off = figure(i.Target), fmt.Sprintf("%+.1f %%", 100*(i.Reached/i.Target-1))
		}
		rows = append(rows, []string{i.Name, figure(i.Water), target, figure(i.Reached), off, why})
	}
	p.table(rows)
	p.line("  shares change as acid, base, water and plants bend the ratio, and with each analysis (leat blend lab -send)")
	if r.Lever != "" {
		p.line("  against a pH that climbs: %s", r.Lever)
	}
}
