package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"leat/dosing/blend"
)

// runMake writes out how stocks are made: of given stocks, or of a recipe's salts.
func (a *blendAsked) runMake(job *blendJob, stdout io.Writer) error {
	store, err := a.number("store", 15)
	if err != nil {
		return err
	}
	if !(store >= 0 && store <= 40) {
		return &wrongUse{"-store is no temperature of a store"}
	}
	factor, err := a.number("factor", 100)
	if err != nil {
		return err
	}
	var tanks []blend.StockTank
	var m *blend.Mix
	if a.salts == "" {
		if *a.numbers["factor"] != "" {
			return &wrongUse{"-factor goes with -salts; stocks that are given have their strength"}
		}
		tanks, err = blend.Make(job.task.Stocks, job.litres, store)
	} else {
		if m, err = blend.Solve(job.task); err != nil {
			return err
		}
		tanks, err = blend.Design(m, factor, job.litres, store)
	}
	if err != nil {
		return err
	}
	if a.json {
		err = writeJSON(stdout, makeDocumentOf(job, m, tanks, factor))
	} else {
		var out strings.Builder
		printMake(&out, job, m, tanks, factor, store)
		_, err = io.WriteString(stdout, out.String())
	}
	if err != nil {
		return err
	}
	for i := range tanks {
		if tanks[i].Refused() {
			return fmt.Errorf("tank %s must not be made so: part what does not go together, or make it weaker", tanks[i].Name)
		}
	}
	return nil
}

func printMake(w io.Writer, job *blendJob, m *blend.Mix, tanks []blend.StockTank, factor, store float64) {
	if m != nil {
		fmt.Fprintf(w, "%s, stocks %s times as strong: %s mL of each into a litre\n", m.Task.Recipe.Name, short(factor), short(1000/factor))
		if source := m.Task.Recipe.Source(); source != "" {
			fmt.Fprintln(w, source)
		}
		if most := blend.LargestFactor(tanks); !math.IsInf(most, 1) {
			fmt.Fprintf(w, "at most %.0f times at %s °C, with a fifth to spare\n", math.Floor(factor*most), short(store))
		}
	}
	for i := range tanks {
		printStockTank(w, &tanks[i])
	}
	if m != nil {
		if liquids := blend.Liquids(m); len(liquids) > 0 {
			fmt.Fprintln(w, "\nIn the solution itself, not in a stock tank, for each 1000 L")
			for _, l := range liquids {
				fmt.Fprintf(w, "  %s: %s\n", l.Name, volumeText(l.PerTonne, false))
			}
		}
		printList(w, "Why not nearer", m.Reasons)
		printList(w, "Also possible", m.Alternatives)
		printList(w, "Note", append(append([]string{}, job.notes...), m.Remarks...))
	}
	printList(w, "Cautions", blend.Cautions)
}

func printStockTank(w io.Writer, t *blend.StockTank) {
	fmt.Fprintf(w, "\nTank %s, %s L", t.Name, short(t.Litres))
	if t.Load > 0 {
		fmt.Fprintf(w, " (%.0f %% of what dissolves)", 100*t.Load)
	}
	fmt.Fprintln(w)
	for _, f := range t.Findings {
		word := "watch"
		if f.Refused {
			word = "NOT SO"
		}
		fmt.Fprintf(w, "  %s: %s\n", word, f.Text)
	}
	if t.Refused() {
		return // no instruction for what must not be made
	}
	for i, step := range t.Steps {
		fmt.Fprintf(w, "  %d. %s\n", i+1, step)
	}
}

// makeDocument is the JSON of stock making; its keys are promised.
type makeDocument struct {
	Recipe   string         `json:"recipe,omitempty"`
	Factor   *float64       `json:"factor"`
	Tanks    []tankDocument `json:"tanks"`
	Liquids  []liquidMaking `json:"liquids"`
	Reasons  []string       `json:"reasons"`
	Notes    []string       `json:"notes"`
	Cautions []string       `json:"cautions"`
}

type liquidMaking struct {
	Name string   `json:"name"`
	ML   *float64 `json:"ml_per_1000_l"`
}

type tankDocument struct {
	Name     string            `json:"name"`
	Litres   float64           `json:"litres"`
	Grams    []portionDocument `json:"salts"`
	Load     *float64          `json:"share_of_what_dissolves"`
	Coldest  *float64          `json:"store_at_least_c"`
	Refused  bool              `json:"refused"`
	Findings []string          `json:"findings"`
	Steps    []string          `json:"steps"`
}

type portionDocument struct {
	Name     string   `json:"name"`
	Grams    *float64 `json:"grams"`
	PerLitre *float64 `json:"grams_per_l"`
}

func makeDocumentOf(job *blendJob, m *blend.Mix, tanks []blend.StockTank, factor float64) makeDocument {
	d := makeDocument{Liquids: []liquidMaking{}, Reasons: []string{}, Notes: list(job.notes), Cautions: blend.Cautions}
	if m != nil {
		d.Recipe, d.Factor, d.Reasons = m.Task.Recipe.Name, digits(factor), list(m.Reasons)
		d.Notes = append(d.Notes, m.Remarks...)
		for _, l := range blend.Liquids(m) {
			d.Liquids = append(d.Liquids, liquidMaking{l.Name, digits(l.PerTonne)})
		}
	}
	for i := range tanks {
		t := &tanks[i]
		one := tankDocument{Name: t.Name, Litres: t.Litres, Load: digits(t.Load), Coldest: digits(t.Coldest), Refused: t.Refused(), Findings: []string{}, Steps: []string{}}
		for _, p := range t.Portions {
			one.Grams = append(one.Grams, portionDocument{p.Name, digits(p.Grams * t.Litres), digits(p.Grams)})
		}
		for _, f := range t.Findings {
			one.Findings = append(one.Findings, f.Text)
		}
		if !t.Refused() {
			one.Steps = list(t.Steps)
		}
		d.Tanks = append(d.Tanks, one)
	}
	return d
}
