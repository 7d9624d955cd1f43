package worksheet

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem"
)

// Text is the mixture as a table to pin to the wall.
func (x *Mixture) Text() string {
	var out strings.Builder
	x.print(&out)
	return out.String()
}

func (x *Mixture) print(w io.Writer) {
	m := x.mix
	title := fmt.Sprintf("%s, %s L", m.Task.Recipe.Name, short(x.job.Litres))
	if m.Task.EC > 0 {
		title += fmt.Sprintf(", EC %.2f mS/cm (%.2f of the recipe's strength)", m.Settled.EC25, m.Factor)
	}
	fmt.Fprintln(w, title)
	if source := m.Task.Recipe.Source(); source != "" {
		fmt.Fprintln(w, source)
	}
	fmt.Fprintln(w)
	printAmounts(w, m, x.volumes)
	fmt.Fprintln(w)
	printElements(w, m)
	fmt.Fprintln(w)
	printOutcome(w, m)
	if m.Rounding != "" {
		fmt.Fprintf(w, "%-13s %s\n", "rounding", m.Rounding)
	}
	printList(w, "Why not nearer", m.Reasons)
	printList(w, "Also possible", m.Alternatives)
	printList(w, "Against a pH that climbs", leverOf(m))
	printList(w, "Note", x.job.notes(m))
	printList(w, "Order, each stirred in before the next", mixingOrder(m))
	printList(w, "Cautions", blend.Cautions)
}

func printAmounts(w io.Writer, m *blend.Mix, volumes []float64) {
	shares := m.Shares()
	wide := 12
	for i := range m.Task.Stocks {
		wide = max(wide, len([]rune(m.Task.Stocks[i].Name)))
	}
	fmt.Fprintf(w, "%-*s %12s %12s %8s\n", wide, "stock", "per litre", "in all", "share")
	for i := range m.Task.Stocks {
		s := &m.Task.Stocks[i]
		unit, share := "mL", ""
		if s.Solid {
			unit = "g"
		}
		if s.Role == dosing.RoleStock && !s.Solid {
			share = fmt.Sprintf("%.1f %%", 100*shares[i])
		}
		line := fmt.Sprintf("%-*s %9s %-2s %12s %8s", wide, s.Name, short(m.Amounts[i]), unit, volumeText(volumes[i], s.Solid), share)
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
}

// leverOf is what ammonium's share could do about the acid that the water needs. It
// is advice: the mixture above does not follow it.
func leverOf(m *blend.Mix) []string {
	n := m.Reached.Nitrogen()
	lever, ok := blend.AdviseAmmonium(m.Acid, n, m.Reached[blend.NH4]/max(n, 1e-9), m.Task.MaxNH4)
	if !ok {
		return nil
	}
	return []string{lever.String() + ", once the plants have taken it up"}
}

// part is what the acids and bases, or the stocks, bring of a substance.
func part(m *blend.Mix, s blend.Substance, acids bool) float64 {
	sum := 0.0
	for i := range m.Task.Stocks {
		stock := &m.Task.Stocks[i]
		if (stock.Role != dosing.RoleStock) == acids {
			sum += stock.Content[s] * m.Amounts[i] / 1000
		}
	}
	return sum * s.Mass()
}

func printElements(w io.Writer, m *blend.Mix) {
	base := "water"
	if m.Task.IsTank {
		base = "there" // in the tank, refilled or not
	}
	fmt.Fprintf(w, "%-10s %9s %9s %9s %10s %10s %9s\n", "mg/L", base, "acid/base", "stocks", "reached", "target", "off")
	for s := range blend.SubstanceCount {
		if s == blend.Carbon || s == blend.Rest {
			continue
		}
		want := m.Wants[s]
		reached := m.Reached.Milligrams(s)
		if !want.Stated && reached == 0 {
			continue
		}
		target, off := "", ""
		switch {
		case want.Stated && want.Weight > 0 && want.Amount > 0:
			target, off = short(want.Amount*s.Mass()), signed(100*m.Off(s))
		case want.Stated && want.Weight > 0:
			target = "0"
		case s == blend.Na || s == blend.Cl:
			off = "surplus"
		}
		line := fmt.Sprintf("%-10s %9s %9s %9s %10s %10s %9s", s, short(m.Task.Base.Milligrams(s)), short(part(m, s, true)), short(part(m, s, false)), short(reached), target, off)
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
	if m.N.Stated {
		const n = 14.007
		fmt.Fprintf(w, "%-10s %9s %9s %9s %10s %10s %9s\n", "N in all", short(m.Task.Base.Nitrogen()*n), short(part(m, blend.NO3, true)), short(part(m, blend.NO3, false)+part(m, blend.NH4, false)),
			short(m.Reached.Nitrogen()*n), short(m.N.Amount*n), signed(100*m.OffN()))
	}
}

func printOutcome(w io.Writer, m *blend.Mix) {
	row := func(name, value string) { fmt.Fprintf(w, "%-13s %s\n", name, value) }
	row("pH", fmt.Sprintf("%.2f once carbon dioxide has left, %.2f at once", m.Settled.PH, m.AtOnce.PH))
	row("EC", fmt.Sprintf("%.2f mS/cm at 25 °C", m.Settled.EC25))
	base := "the " + m.Task.BaseName()
	kind, amount := "acid", m.Acid
	if amount < 0 {
		kind, amount = "base", -amount
	}
	row("for pH", fmt.Sprintf("%s alone needs %.2f meq/L of %s to come to pH %.1f and stay", base, amount, kind, m.Task.PH))
	cations, anions := m.Charges()
	row("charge", fmt.Sprintf("cations %.2f, anions %.2f meq/L (phosphate as H2PO4, the rest bicarbonate)", cations, anions))
	if n := m.Reached.Nitrogen(); n > 0 {
		row("ammonium", fmt.Sprintf("%.1f %% of nitrogen", 100*m.Reached[blend.NH4]/n))
	}
	var words []string
	for _, phase := range []chem.Phase{chem.Brushite, chem.Gypsum, chem.Calcite} {
		if si := m.Settled.Saturation[phase]; !math.IsNaN(si) {
			words = append(words, fmt.Sprintf("%s %+.2f", phase, si))
		}
	}
	row("saturation", strings.Join(words, ", ")+" (above 0 it can fall out, brushite above 0.3)")
}

// mixingOrder is the order in which a tank takes its additions.
func mixingOrder(m *blend.Mix) (all []string) {
	add := func(what string, when func(s *blend.Stock) bool) {
		var names []string
		for i := range m.Task.Stocks {
			if s := &m.Task.Stocks[i]; m.Amounts[i] > 0 && when(s) {
				names = append(names, s.Name)
			}
		}
		if len(names) > 0 {
			all = append(all, what+strings.Join(names, ", "))
		}
	}
	group := func(g dosing.Group) func(*blend.Stock) bool {
		return func(s *blend.Stock) bool { return s.Group == g }
	}
	add("silicate, into most of the water, alone: ", group(dosing.GroupSilicate))
	add("acid, into the water, never water into acid: ", group(dosing.GroupAcid))
	add("base: ", group(dosing.GroupBase))
	add("sulfate and phosphate: ", group(dosing.GroupSulfate))
	add("what meets anything: ", group(dosing.GroupNeutral))
	add("calcium, when the others are mixed in: ", group(dosing.GroupCalcium))
	add("iron chelate: ", group(dosing.GroupChelate))
	return all
}

func printList(w io.Writer, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", title)
	for _, line := range lines {
		fmt.Fprintf(w, "  - %s\n", line)
	}
}

// signed prints a per cent with its sign, none for what rounds to nothing.
func signed(percent float64) string {
	if math.Abs(percent) < 0.05 {
		return "0.0 %"
	}
	return fmt.Sprintf("%+.1f %%", percent)
}

// short prints three digits that count.
func short(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v):
		return "–"
	case a < 5e-5:
		return "0"
	case a < 100:
		digits := min(max(2-int(math.Floor(math.Log10(a))), 0), 4)
		return strconv.FormatFloat(v, 'f', digits, 64)
	}
	return strconv.FormatFloat(v, 'f', 0, 64)
}

// volumeText prints a volume as it is measured out.
func volumeText(ml float64, solid bool) string {
	if solid {
		switch {
		case ml >= 1000:
			return strconv.FormatFloat(ml/1000, 'f', 3, 64) + " kg"
		case ml >= 10:
			return strconv.FormatFloat(ml, 'f', 1, 64) + " g"
		}
		return strconv.FormatFloat(ml, 'g', 3, 64) + " g"
	}
	switch {
	case ml >= 1000:
		return short(ml/1000) + " L"
	case ml >= 100:
		return strconv.FormatFloat(ml, 'f', 0, 64) + " mL"
	case math.Abs(ml) < 0.005:
		return "0 mL"
	}
	return strconv.FormatFloat(ml, 'g', 3, 64) + " mL"
}
