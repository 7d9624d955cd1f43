package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"leat/dosing/blend"
)

// runLab corrects a tank from a laboratory's analysis.
func (a *blendAsked) runLab(job *blendJob, stdout io.Writer) error {
	c, estimate, err := a.correction(job)
	if err != nil {
		return err
	}
	temp := c.TempC
	if temp == 0 {
		temp = 25
	}
	checks, verdict := blend.CheckAnalysis(c.Tank, temp)
	out, err := blend.Correct(c)
	if err != nil {
		return err
	}
	if a.csv != "" {
		m, litres := advised(out, job.litres)
		if err := writeAmounts(a.csv, m, scaled(m.Amounts, litres)); err != nil {
			return err
		}
	}
	if a.json {
		return writeJSON(stdout, labDocumentOf(job, &c, estimate, checks, verdict, out))
	}
	var text strings.Builder
	printLab(&text, job, &c, estimate, checks, verdict, out)
	_, err = io.WriteString(stdout, text.String())
	return err
}

func (a *blendAsked) correction(job *blendJob) (c blend.Correction, estimate *blend.Analysis, err error) {
	if a.analysis == "" {
		return c, nil, &wrongUse{"no -analysis: give the laboratory's sheet of the tank"}
	}
	c = blend.Correction{Recipe: job.task.Recipe, EC: job.task.EC, PH: job.task.PH, TempC: job.task.TempC, NH4Most: job.task.NH4Most, Stocks: job.task.Stocks,
		Water: job.water.Content, Litres: job.litres}
	if c.Tank, err = readAnalysis("-analysis", a.analysis); err != nil {
		return c, nil, err
	}
	if a.estimate != "" {
		e, err := readAnalysis("-estimate", a.estimate)
		if err != nil {
			return c, nil, err
		}
		estimate = &e
	}
	if c.TopUp, err = a.number("topup", 0); err != nil {
		return c, nil, err
	}
	tolerance, err := a.number("tolerance", 10)
	if err != nil {
		return c, nil, err
	}
	c.Tolerance = tolerance / 100
	if a.before == "" {
		if a.given != "" || c.TopUp > 0 {
			return c, nil, &wrongUse{"-given and -topup go with -before, the analysis they count from"}
		}
		return c, estimate, nil
	}
	before, err := readAnalysis("-before", a.before)
	if err != nil {
		return c, nil, err
	}
	c.Before = &before
	c.Given, err = given(a.given, c.Stocks)
	return c, estimate, err
}

// given reads "calcium=1200,bloom=900" in mL, a stock that is not named gave none.
func given(text string, stocks []blend.Stock) ([]float64, error) {
	if text == "" {
		return nil, nil
	}
	volumes := make([]float64, len(stocks))
	seen := map[string]bool{}
	for _, word := range strings.Split(text, ",") {
		name, amount, found := strings.Cut(strings.TrimSpace(word), "=")
		at := -1
		for i := range stocks {
			if stocks[i].Name == strings.TrimSpace(name) {
				at = i
			}
		}
		if !found || at < 0 || seen[name] {
			return nil, &wrongUse{fmt.Sprintf("-given %q is not STOCK=ML of one of the stocks, each once", word)}
		}
		seen[name] = true
		v, err := decimal("-given "+name, strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(amount), "mL")))
		if err != nil || !(v >= 0) {
			return nil, &wrongUse{fmt.Sprintf("-given %q has no volume in mL", word)}
		}
		volumes[at] = v
	}
	return volumes, nil
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

func printLab(w io.Writer, job *blendJob, c *blend.Correction, estimate *blend.Analysis, checks []blend.Check, verdict blend.Verdict, out *blend.Corrected) {
	fmt.Fprintf(w, "The analysis: %s\n", verdict)
	for _, check := range checks {
		fmt.Fprintf(w, "  %-9s %-16s %s\n", check.Name, check.Verdict, check.Text)
	}
	if verdict == blend.Repeat {
		fmt.Fprintln(w, "  Do not correct the tank by it: have the analysis repeated. What follows holds only if it is right.")
	}
	if estimate != nil {
		printEstimate(w, c, estimate)
	}
	fmt.Fprintf(w, "\nBy adding alone, %s L\n\n", short(c.Litres))
	printAmounts(w, out.Add, scaled(out.Add.Amounts, c.Litres))
	fmt.Fprintln(w)
	printElements(w, out.Add)
	fmt.Fprintln(w)
	printOutcome(w, out.Add)
	printList(w, "Why not nearer", out.Add.Reasons)
	printDump(w, c, out)
	printLongRun(w, out)
	m, _ := advised(out, c.Litres)
	printList(w, "Note", append(append([]string{}, job.notes...), m.Remarks...))
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

func labDocumentOf(job *blendJob, c *blend.Correction, estimate *blend.Analysis, checks []blend.Check, verdict blend.Verdict, out *blend.Corrected) labDocument {
	of := func(m *blend.Mix) *mixDocument {
		if m == nil {
			return nil
		}
		d := mixDocumentOf(job, m, scaled(m.Amounts, c.Litres))
		return &d
	}
	d := labDocument{Verdict: verdict.String(), Estimated: map[string]*float64{}, Measured: map[string]*float64{}, Add: *of(out.Add), Dump: digits(out.Dump), After: of(out.After), LongRun: of(out.LongRun), NoLongRun: out.NoLongRun}
	for _, check := range checks {
		d.Checks = append(d.Checks, checkDocument{check.Name, check.Verdict.String(), check.Text})
	}
	for s := range blend.SubstanceCount {
		if c.Tank.Stated[s] {
			d.Measured[s.Symbol()] = digits(c.Tank.Content.Milligrams(s))
		}
		if estimate != nil && estimate.Stated[s] {
			d.Estimated[s.Symbol()] = digits(estimate.Content.Milligrams(s))
		}
	}
	return d
}
