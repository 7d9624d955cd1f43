package worksheet

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"leat/dosing/blend"
	"leat/dosing/chem/solution"
)

// Correction is how a tank is corrected from a laboratory's analysis.
type Correction struct {
	job      *Job
	asked    blend.Correction
	estimate *blend.Analysis // what the tank was thought to hold; nil: nobody said
	checks   []blend.Check
	verdict  blend.Verdict
	out      *blend.Corrected
}

// Correct corrects the job's tank; the job says recipe, stocks, water and volume, and c the
// rest.
func (j *Job) Correct(c blend.Correction, estimate *blend.Analysis) (*Correction, error) {
	c.Recipe, c.EC, c.PH, c.TempC, c.MaxNH4 = j.Task.Recipe, j.Task.EC, j.Task.PH, j.Task.TempC, j.Task.MaxNH4
	c.Stocks, c.Water, c.Litres = j.Task.Stocks, j.Water, j.Litres
	temp := c.TempC
	if temp == 0 {
		temp = 25
	}
	checks, verdict := blend.CheckAnalysis(c.Tank, temp)
	out, err := blend.Correct(c)
	return &Correction{j, c, estimate, checks, verdict, out}, err
}

// CSV is the amounts to carry out, as a table.
func (c *Correction) CSV() string {
	m, litres := advised(c.out, c.job.Litres)
	return amountsCSV(m, scaled(m.Amounts, litres))
}

// advised is the mixture to carry out: after dumping where that is needed.
func advised(out *blend.Corrected, litres float64) (*blend.Mix, float64) {
	if out.After != nil {
		return out.After, litres
	}
	return out.Add, litres
}

func scaled(amounts []float64, by float64) []float64 {
	all := make([]float64, len(amounts))
	for i, v := range amounts {
		all[i] = v * by
	}
	return all
}

// Text is the correction for a person.
func (c *Correction) Text() string {
	var out strings.Builder
	c.print(&out)
	return out.String()
}

func (c *Correction) print(w io.Writer) {
	fmt.Fprintf(w, "The analysis: %s\n", c.verdict)
	for _, check := range c.checks {
		fmt.Fprintf(w, "  %-9s %-16s %s\n", check.Name, check.Verdict, check.Text)
	}
	if c.verdict == blend.Repeat {
		fmt.Fprintln(w, "  Do not correct the tank by it: have the analysis repeated. What follows holds only if it is right.")
	}
	if c.estimate != nil {
		printEstimate(w, &c.asked, c.estimate)
	}
	fmt.Fprintf(w, "\nBy adding alone, %s L\n\n", short(c.asked.Litres))
	printAmounts(w, c.out.Add, scaled(c.out.Add.Amounts, c.asked.Litres))
	fmt.Fprintln(w)
	printElements(w, c.out.Add)
	fmt.Fprintln(w)
	printOutcome(w, c.out.Add)
	printList(w, "Why not nearer", c.out.Add.Reasons)
	printDump(w, &c.asked, c.out)
	printLongRun(w, c.out)
	m, _ := advised(c.out, c.asked.Litres)
	printList(w, "Note", c.job.notes(m))
	printList(w, "Order, each stirred in before the next", mixingOrder(m))
	printList(w, "Cautions", blend.Cautions)
}

func printEstimate(w io.Writer, c *blend.Correction, estimate *blend.Analysis) {
	fmt.Fprintf(w, "\n%-10s %10s %10s %8s\n", "mg/L", "estimated", "measured", "off")
	for s := range blend.SubstanceCount {
		if !estimate.Stated[s] || !c.Tank.Stated[s] {
			continue
		}
		off := ""
		if estimate.Content[s] > 0 {
			off = fmt.Sprintf("%+.0f %%", 100*(c.Tank.Content[s]/estimate.Content[s]-1))
		}
		fmt.Fprintf(w, "%-10s %10s %10s %8s\n", s, short(estimate.Content.Milligrams(s)), short(c.Tank.Content.Milligrams(s)), off)
	}
}

func printDump(w io.Writer, c *blend.Correction, out *blend.Corrected) {
	tolerance := strconv.FormatFloat(100*c.Tolerance, 'g', 3, 64) + " %"
	switch {
	case math.IsNaN(out.Dump):
		fmt.Fprintf(w, "\nNo share dumped brings every macronutrient within %s: even with fresh water these stocks cannot\n", tolerance)
		printList(w, "Why, with fresh water", out.Fresh.Reasons)
	case out.Dump == 0:
		fmt.Fprintf(w, "\nNothing need be dumped: adding brings every macronutrient within %s%s\n", tolerance, leftOutside(out.Add, c.Tolerance))
	default:
		litres := out.Dump * c.Litres
		fmt.Fprintf(w, "\nDump %.1f %% of the tank, %s L, and refill with source water, to bring every macronutrient within %s%s\n\n", 100*out.Dump, short(litres), tolerance, leftOutside(out.After, c.Tolerance))
		printAmounts(w, out.After, scaled(out.After.Amounts, c.Litres))
		fmt.Fprintln(w)
		printElements(w, out.After)
		fmt.Fprintln(w)
		printOutcome(w, out.After)
		printList(w, "Why not nearer", out.After.Reasons)
		fmt.Fprintln(w, "\nWhere it may be dumped to is a matter of local code.")
	}
}

// leftOutside names what is not a matter of the share dumped and stays off all the
// same: micronutrients, and ammonium that lacks.
func leftOutside(m *blend.Mix, tolerance float64) string {
	var names []string
	for s := range blend.SubstanceCount {
		if o := m.Off(s); m.Wants[s].Amount > 0 && math.Abs(o) > tolerance && (!s.Macro() || s == blend.NH4 && o < 0) {
			names = append(names, fmt.Sprintf("%s %+.0f %%", s.Symbol(), 100*o))
		}
	}
	if names == nil {
		return ""
	}
	return "; outside it stay " + strings.Join(names, ", ")
}

func printLongRun(w io.Writer, out *blend.Corrected) {
	if out.NoLongRun != "" {
		fmt.Fprintf(w, "\nNo standing shares give what the plants took since the last analysis: %s\n", out.NoLongRun)
	}
	if out.LongRun == nil {
		return
	}
	fmt.Fprintln(w, "\nStanding shares that give what the plants took since the last analysis")
	was, now := out.Fresh.Shares(), out.LongRun.Shares()
	for i := range out.LongRun.Task.Stocks {
		s := &out.LongRun.Task.Stocks[i]
		if s.Share > 0 {
			was[i] = s.Share
		}
		if now[i] > 0 || was[i] > 0 {
			fmt.Fprintf(w, "  %-20s %5.1f %% → %5.1f %%\n", s.Name, 100*was[i], 100*now[i])
		}
	}
	fmt.Fprintf(w, "  EC of what they took: %.2f mS/cm a litre of water\n", out.LongRun.Settled.EC25)
	printList(w, "Why the shares give no nearer", out.LongRun.Reasons)
}

// labDocument is the JSON of a correction; its keys are promised.
type labDocument struct {
	Verdict   string              `json:"analysis"`
	Checks    []checkDocument     `json:"checks"`
	Estimated map[string]*float64 `json:"estimated_mg_per_l"`
	Measured  map[string]*float64 `json:"measured_mg_per_l"`
	Add       mixDocument         `json:"add"`
	Dump      *float64            `json:"dump_share"` // null: no share suffices
	After     *mixDocument        `json:"after_dump"`
	LongRun   *mixDocument        `json:"long_run"`
	NoLongRun string              `json:"no_long_run,omitempty"`
}

type checkDocument struct {
	Name    string `json:"name"`
	Verdict string `json:"verdict"`
	Text    string `json:"text"`
}

// Document is the JSON of the correction.
func (c *Correction) Document() any { return c.document() }

func (c *Correction) document() labDocument {
	of := func(m *blend.Mix) *mixDocument {
		if m == nil {
			return nil
		}
		d := c.job.mixDocument(m, scaled(m.Amounts, c.asked.Litres))
		return &d
	}
	d := labDocument{Verdict: c.verdict.String(), Estimated: map[string]*float64{}, Measured: map[string]*float64{}, Add: *of(c.out.Add), Dump: solution.Digits(c.out.Dump), After: of(c.out.After), LongRun: of(c.out.LongRun), NoLongRun: c.out.NoLongRun}
	for _, check := range c.checks {
		d.Checks = append(d.Checks, checkDocument{check.Name, check.Verdict.String(), check.Text})
	}
	for s := range blend.SubstanceCount {
		if c.asked.Tank.Stated[s] {
			d.Measured[s.Symbol()] = solution.Digits(c.asked.Tank.Content.Milligrams(s))
		}
		if c.estimate != nil && c.estimate.Stated[s] {
			d.Estimated[s.Symbol()] = solution.Digits(c.estimate.Content.Milligrams(s))
		}
	}
	return d
}
