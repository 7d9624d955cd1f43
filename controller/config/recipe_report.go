package config

import (
	"fmt"
	"math"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
)

// recipeReport is the first blend of a tank as figures.
func (f *File) recipeReport(id dosing.TankID) *RecipeReport {
	plan, plant := f.Settings.Tanks[id].Ratio, &f.plants[id]
	m := plant.fresh
	r := &RecipeReport{Name: m.Task.Recipe.Name, Source: m.Task.Recipe.Source(), MaxAmmonium: plan.MaxNH4}
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
	if lever, ok := blend.AdviseAmmonium(m.Acid, m.Reached.Nitrogen(), m.Reached[blend.NH4]/max(m.Reached.Nitrogen(), 1e-9), plan.MaxNH4); ok {
		r.AmmoniumAdvice = lever.String()
	}
	r.Gathers = gathers(m, plan)
	return r
}

// sensibleWeek is the share of a tank that a grower replaces in a week without being
// better served by other water.
const sensibleWeek = 0.25

// gathers says which ions the source water heaps up, and what holds them.
func gathers(m *blend.Mix, plan *ratio.Plan) (all []GatherReport) {
	var target blend.Content
	for s := range target {
		target[s] = m.Wants[s].Amount
	}
	for _, g := range ratio.Gathers(plan.Water, target, plan.EC) {
		r := GatherReport{Name: g.Ion.Symbol(), Water: plan.Water.Milligrams(g.Ion), Takes: g.Takes * g.Ion.Mass()}
		r.Text = fmt.Sprintf("water brings %s mg/L of %s and a usual crop takes %s mg with each litre: it gathers; ", figure(r.Water), r.Name, figure(r.Takes))
		switch {
		case math.IsInf(g.PerWeek, 1):
			r.Text += fmt.Sprintf("no dump holds it within %.0f %% of its target, since this water itself holds more, and no stock takes anything away: only other water does, as this with %.0f %% of rain water", 100*ratio.DumpAt, math.Ceil(100*g.Rain))
		case g.PerWeek > sensibleWeek:
			r.PerWeek = g.PerWeek
			r.Text += fmt.Sprintf("to hold it within %.0f %% of its target, %.0f %% of the tank must be replaced with this water each week, which is more than is sensible: with %.0f %% of rain water in it it gathers no more", 100*ratio.DumpAt, 100*g.PerWeek, math.Ceil(100*g.Rain))
		default:
			r.PerWeek = g.PerWeek
			r.Text += fmt.Sprintf("about %.0f %% of the tank replaced with this water each week holds it within %.0f %% of its target", math.Ceil(100*g.PerWeek), 100*ratio.DumpAt)
		}
		all = append(all, r)
	}
	if l := ratio.Leaves(plan.Water, target, plan.EC); l.EC >= worthWeek {
		all = append(all, leaves(l, plan))
	}
	return all
}

// worthWeek is the EC that what plants leave may take in a week without a word, mS/cm.
const worthWeek = 0.03

// leaves says how much EC the nutrients lose to what plants leave of the water.
func leaves(l ratio.Leaving, plan *ratio.Plan) GatherReport {
	r := GatherReport{Name: "what plants leave", PerWeek: l.PerWeek}
	r.Text = fmt.Sprintf("what plants leave of this water (most of its %s mg/L of Na and %s mg/L of Cl, and what is above) takes %.2f mS/cm more of EC each week that nothing is dumped; the page says which EC setpoint makes up for it, and when a dump is due: about %.0f %% of the tank each week",
		figure(plan.Water.Milligrams(blend.Na)), figure(plan.Water.Milligrams(blend.Cl)), l.EC, math.Ceil(100*l.PerWeek))
	if l.PerWeek > sensibleWeek {
		r.Text += ", which is more than is sensible: take water that holds less of them"
	}
	return r
}

func (p *printer) recipe(r *RecipeReport) {
	p.line("  recipe %s, at most %s %% of its nitrogen as ammonium; the first blend, made from the source water:", r.Name, figure(100*r.MaxAmmonium))
	if r.Source != "" {
		p.line("  recipe's source: %s", r.Source)
	}
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
	if len(r.Gathers) > 0 {
		p.line("  what gathers, by a crop that takes %s mS/cm of nutrients with each litre and %s %% of the tank's water a week:", figure(ratio.UsualUptake), figure(100*ratio.UsualWeek))
	}
	for _, g := range r.Gathers {
		p.line("    %s", g.Text)
	}
	if r.AmmoniumAdvice != "" {
		p.line("  against a pH that climbs: %s", r.AmmoniumAdvice)
	}
}
