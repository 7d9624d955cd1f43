package worksheet

import (
	"fmt"
	"io"
	"strings"

	"leat/dosing/blend"
	"leat/dosing/chem/solution"
)

// Refill is a plan by which a person dumps and refills a tank.
type Refill struct {
	job    *Job
	asked  blend.Refill
	out    *blend.Refilled
	whence string // what tells what the tank holds before
}

// Refill plans to dump a share of the job's tank, which holds what before says, and to fill it
// up with water.
func (j *Job) Refill(before blend.Analysis, whence string, water blend.Content, share float64) (*Refill, error) {
	asked := blend.Refill{Recipe: j.Task.Recipe, EC: j.Task.EC, PH: j.Task.PH, TempC: j.Task.TempC, MaxNH4: j.Task.MaxNH4,
		Stocks: j.Task.Stocks, Source: j.Water, Water: water, Tank: before, Share: share}
	out, err := blend.Fill(asked)
	if err != nil {
		return nil, err
	}
	return &Refill{j, asked, out, whence}, nil
}

// volumes are what is added in all: mL, of a solid g.
func (r *Refill) volumes() []float64 { return scaled(r.out.Mix.Amounts, r.job.Litres) }

// water is what is filled in beside the liquids, in litres.
func (r *Refill) water() float64 {
	litres := r.asked.Share * r.job.Litres
	for i, v := range r.volumes() {
		if !r.out.Mix.Task.Stocks[i].Solid {
			litres -= v / 1000
		}
	}
	return max(litres, 0)
}

// Text is the plan for a person.
func (r *Refill) Text() string {
	var w strings.Builder
	r.print(&w)
	return w.String()
}

func (r *Refill) print(w io.Writer) {
	m := r.out.Mix
	dumped := r.asked.Share * r.job.Litres
	fmt.Fprintf(w, "Plan: dump %s of %s L (%.0f %%), fill in %s L of water, then add the liquids below.\n", short(dumped), short(r.job.Litres), 100*r.asked.Share, short(r.water()))
	fmt.Fprintf(w, "What the tank holds before: %s. %s L of it remain. Nothing is done by this: a person carries it out.\n", r.whence, short(r.job.Litres-dumped))
	fmt.Fprintf(w, "\nAfter the refill and before anything is added: pH %.1f, EC %.2f mS/cm at 25 °C\n\n", m.Plain.PH, m.Plain.EC25)
	printAmounts(w, m, r.volumes())
	fmt.Fprintf(w, "\n%-10s %9s %9s %9s %9s %9s\n", "mg/L", "before", "water", "refilled", "then", "recipe")
	for s := range blend.SubstanceCount {
		if e := r.element(s); e.shown {
			fmt.Fprintf(w, "%-10s %9s %9s %9s %9s %9s\n", s, short(e.before), short(e.water), short(e.refilled), short(e.then), e.recipe())
		}
	}
	fmt.Fprintln(w)
	printOutcome(w, m)
	printList(w, "Why not nearer", m.Reasons)
	printList(w, "Note", r.job.notes(m))
	printList(w, "Order, each stirred in before the next", append([]string{"first the water, with the circulation running"}, mixingOrder(m)...))
	printList(w, "When it is done", r.enter())
	printList(w, "Cautions", append([]string{"Put the tank into a cleaning first (leat act cleaning): nothing is dosed into it meanwhile. Where it may be dumped to is a matter of local code."}, blend.Cautions...))
}

// enter is how a person tells the daemon what was done.
func (r *Refill) enter() []string {
	replaced := ""
	if r.asked.Share < 1 {
		replaced = fmt.Sprintf(" -replaced %.0f", 100*r.asked.Share)
	}
	return []string{
		`leat mode confirm-water -water source` + replaced + ` -note "water or nutrient solution, no disinfectant, rinsed" (-water analysis -analysis LIST where other water was filled in)`,
		"each liquid that was poured in by hand: leat act hand-dose -pump NAME -ml VOLUME; what was not poured in, leat doses by itself within its caps",
	}
}

// element is one line of the plan, mg/L.
type element struct {
	before, water, refilled, then, target float64
	wanted, shown                         bool
}

func (e element) recipe() string {
	if !e.wanted {
		return ""
	}
	return short(e.target)
}

func (r *Refill) element(s blend.Substance) (e element) {
	if s == blend.Carbon || s == blend.Rest {
		return e
	}
	m := r.out.Mix
	e = element{before: r.out.Before.Milligrams(s), water: r.out.Water.Milligrams(s), refilled: m.Task.Base.Milligrams(s), then: m.Reached.Milligrams(s)}
	if want := m.Wants[s]; want.Stated && want.Weight > 0 {
		e.target, e.wanted = want.Amount*s.Mass(), true
	}
	e.shown = e.wanted || max(e.before, e.water, e.then) > 0.05
	return e
}

// refillDocument is the JSON of a plan; its keys are promised.
type refillDocument struct {
	Dump     float64             `json:"dump_litres"`
	Share    float64             `json:"dump_share"`
	Water    float64             `json:"water_litres"`
	Before   map[string]*float64 `json:"before_mg_per_l"`
	Whence   string              `json:"before_is"`
	Refilled map[string]*float64 `json:"refilled_mg_per_l"`
	PH       *float64            `json:"refilled_ph"`
	EC25     *float64            `json:"refilled_ec25_ms_per_cm"`
	Add      mixDocument         `json:"add"`
	Enter    []string            `json:"enter"`
}

// Document is the JSON of the plan.
func (r *Refill) Document() any {
	m := r.out.Mix
	d := refillDocument{Dump: r.asked.Share * r.job.Litres, Share: r.asked.Share, Water: r.water(), Before: map[string]*float64{}, Whence: r.whence, Refilled: map[string]*float64{},
		PH: solution.Digits(m.Plain.PH), EC25: solution.Digits(m.Plain.EC25), Add: r.job.mixDocument(m, r.volumes()), Enter: r.enter()}
	for s := range blend.SubstanceCount {
		if e := r.element(s); e.shown {
			d.Before[s.Symbol()], d.Refilled[s.Symbol()] = solution.Digits(e.before), solution.Digits(e.refilled)
		}
	}
	return d
}
