package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem"
)

func printMix(w io.Writer, job *blendJob, m *blend.Mix, volumes []float64) {
	title := fmt.Sprintf("%s, %s L", m.Task.Recipe.Name, short(job.litres))
	if m.Task.EC > 0 {
		title += fmt.Sprintf(", EC %.2f mS/cm (%.2f of the recipe's strength)", m.Settled.EC25, m.Factor)
	}
	fmt.Fprintln(w, title)
	if source := m.Task.Recipe.Source(); source != "" {
		fmt.Fprintln(w, source)
	}
	fmt.Fprintln(w)
	printAmounts(w, m, volumes)
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
	printList(w, "Note", append(append([]string{}, job.notes...), m.Remarks...))
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
	lever, ok := blend.AmmoniumLever(m.Acid, n, m.Reached[blend.NH4]/max(n, 1e-9), m.Task.NH4Most)
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

// mixDocument is the JSON of a mixture; its keys are promised.
type mixDocument struct {
	Recipe       string                     `json:"recipe"`
	Source       string                     `json:"source,omitempty"`
	Strength     *float64                   `json:"strength"`
	Litres       float64                    `json:"litres"`
	Stocks       []stockDocument            `json:"stocks"`
	Elements     map[string]elementDocument `json:"elements"`
	PH           *float64                   `json:"ph"`
	PHAtOnce     *float64                   `json:"ph_at_once"`
	EC25         *float64                   `json:"ec25_ms_per_cm"`
	AcidMeq      *float64                   `json:"acid_needed_meq_per_l"`
	Cations      *float64                   `json:"cations_meq_per_l"`
	Anions       *float64                   `json:"anions_meq_per_l"`
	NH4Share     *float64                   `json:"nh4_share_of_n"`
	Saturation   map[string]*float64        `json:"saturation"`
	Published    map[string]*span           `json:"saturation_published,omitempty"`
	Reasons      []string                   `json:"reasons"`
	Rounding     string                     `json:"rounding,omitempty"`
	Alternatives []string                   `json:"alternatives"`
	Notes        []string                   `json:"notes"`
	Order        []string                   `json:"order"`
	Cautions     []string                   `json:"cautions"`
}

type stockDocument struct {
	Name     string   `json:"name"`
	Role     string   `json:"role"`
	Unit     string   `json:"unit"` // mL or g
	PerLitre *float64 `json:"per_litre"`
	InAll    *float64 `json:"in_all"`
	Share    *float64 `json:"share"`
}

type elementDocument struct {
	Base    *float64 `json:"base_mg_per_l"`
	Acid    *float64 `json:"acid_or_base_mg_per_l"`
	Stocks  *float64 `json:"stocks_mg_per_l"`
	Reached *float64 `json:"reached_mg_per_l"`
	Target  *float64 `json:"target_mg_per_l"` // null without one
}

func mixDocumentOf(job *blendJob, m *blend.Mix, volumes []float64) mixDocument {
	cations, anions := m.Charges()
	d := mixDocument{Recipe: m.Task.Recipe.Name, Source: m.Task.Recipe.Source(), Strength: digits(m.Factor), Litres: job.litres, Elements: map[string]elementDocument{},
		PH: digits(m.Settled.PH), PHAtOnce: digits(m.AtOnce.PH), EC25: digits(m.Settled.EC25), AcidMeq: digits(m.Acid), Cations: digits(cations), Anions: digits(anions),
		NH4Share: digits(m.Reached[blend.NH4] / m.Reached.Nitrogen()), Saturation: map[string]*float64{}, Reasons: list(m.Reasons), Rounding: m.Rounding, Alternatives: list(m.Alternatives),
		Notes: list(append(append([]string{}, job.notes...), m.Remarks...)), Order: list(mixingOrder(m)), Cautions: blend.Cautions}
	shares := m.Shares()
	for i := range m.Task.Stocks {
		s := &m.Task.Stocks[i]
		unit := "mL"
		if s.Solid {
			unit = "g"
		}
		d.Stocks = append(d.Stocks, stockDocument{s.Name, s.Role.String(), unit, digits(m.Amounts[i]), digits(volumes[i]), digits(shares[i])})
	}
	for s := range blend.SubstanceCount {
		if s == blend.Carbon || s == blend.Rest {
			continue
		}
		e := elementDocument{Base: digits(m.Task.Base.Milligrams(s)), Acid: digits(part(m, s, true)), Stocks: digits(part(m, s, false)), Reached: digits(m.Reached.Milligrams(s))}
		if w := m.Wants[s]; w.Stated && w.Weight > 0 {
			e.Target = digits(w.Amount * s.Mass())
		}
		d.Elements[s.Symbol()] = e
	}
	if m.N.Stated {
		d.Elements["N"] = elementDocument{Reached: digits(m.Reached.Nitrogen() * 14.007), Target: digits(m.N.Amount * 14.007)}
	}
	for phase, si := range m.Settled.Saturation {
		d.Saturation[chem.Phase(phase).String()] = digits(si)
	}
	d.Published = publishedSaturation(&m.Settled.Saturation)
	return d
}

// list makes an empty list of none, so that JSON has [] and not null.
func list(texts []string) []string {
	if texts == nil {
		return []string{}
	}
	return texts
}

// writeAmounts writes the amounts as CSV, as a stock sheet names them.
func writeAmounts(path string, m *blend.Mix, volumes []float64) error {
	var out strings.Builder
	w := csv.NewWriter(&out)
	rows := [][]string{{"stock", "per_litre", "in_all", "unit", "share"}}
	shares := m.Shares()
	for i := range m.Task.Stocks {
		s := &m.Task.Stocks[i]
		unit := "mL"
		if s.Solid {
			unit = "g"
		}
		number := func(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }
		name := s.Name
		if strings.IndexAny(name, "=+-@") == 0 { // no spreadsheet takes it for a formula
			name = "'" + name
		}
		rows = append(rows, []string{name, number(m.Amounts[i]), number(volumes[i]), unit, number(shares[i])})
	}
	if err := w.WriteAll(rows); err != nil {
		return err
	}
	return os.WriteFile(path, []byte(out.String()), 0o644)
}
