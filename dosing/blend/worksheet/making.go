package worksheet

import (
	"fmt"
	"io"
	"math"
	"strings"

	"leat/dosing/blend"
	"leat/dosing/chem/solution"
)

// Making is how stocks are made.
type Making struct {
	job    *Job
	mix    *blend.Mix // of the recipe; nil where the stocks were given
	tanks  []blend.StockTank
	factor float64 // how many times as strong as the solution
	store  float64 // °C
}

// Make tells how the job's stocks are made, to be stored at so many °C.
func (j *Job) Make(store float64) (*Making, error) {
	tanks, err := blend.Make(j.Task.Stocks, j.Litres, store)
	return &Making{job: j, tanks: tanks, store: store}, err
}

// Design parts the salts of the job's recipe into stocks, factor times as strong as the
// solution.
func (j *Job) Design(factor, store float64) (*Making, error) {
	m, err := blend.Solve(j.Task)
	if err != nil {
		return nil, err
	}
	tanks, err := blend.Design(m, factor, j.Litres, store)
	return &Making{j, m, tanks, factor, store}, err
}

// Refused names the first tank that must not be made so.
func (k *Making) Refused() error {
	for i := range k.tanks {
		if k.tanks[i].Refused() {
			return fmt.Errorf("tank %s must not be made so: part what does not go together, or make it weaker", k.tanks[i].Name)
		}
	}
	return nil
}

// Text is the making for a person.
func (k *Making) Text() string {
	var out strings.Builder
	k.print(&out)
	return out.String()
}

func (k *Making) print(w io.Writer) {
	m := k.mix
	if m != nil {
		fmt.Fprintf(w, "%s, stocks %s times as strong: %s mL of each into a litre\n", m.Task.Recipe.Name, short(k.factor), short(1000/k.factor))
		if source := m.Task.Recipe.Source(); source != "" {
			fmt.Fprintln(w, source)
		}
		if most := blend.LargestFactor(k.tanks); !math.IsInf(most, 1) {
			fmt.Fprintf(w, "at most %.0f times at %s °C, with a fifth to spare\n", math.Floor(k.factor*most), short(k.store))
		}
	}
	for i := range k.tanks {
		printStockTank(w, &k.tanks[i])
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
		printList(w, "Note", k.job.notes(m))
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

// Document is the JSON of the making.
func (k *Making) Document() any { return k.document() }

func (k *Making) document() makeDocument {
	m := k.mix
	d := makeDocument{Liquids: []liquidMaking{}, Reasons: []string{}, Notes: list(k.job.Notes), Cautions: blend.Cautions}
	if m != nil {
		d.Recipe, d.Factor, d.Reasons = m.Task.Recipe.Name, solution.Digits(k.factor), list(m.Reasons)
		d.Notes = append(d.Notes, m.Remarks...)
		for _, l := range blend.Liquids(m) {
			d.Liquids = append(d.Liquids, liquidMaking{l.Name, solution.Digits(l.PerTonne)})
		}
	}
	for i := range k.tanks {
		t := &k.tanks[i]
		one := tankDocument{Name: t.Name, Litres: t.Litres, Load: solution.Digits(t.Load), Coldest: solution.Digits(t.Coldest), Refused: t.Refused(), Findings: []string{}, Steps: []string{}}
		for _, p := range t.Portions {
			one.Grams = append(one.Grams, portionDocument{p.Name, solution.Digits(p.Grams * t.Litres), solution.Digits(p.Grams)})
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
