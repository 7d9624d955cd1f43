package solution

import (
	"math"
	"strconv"

	"leat/dosing/chem"
)

// Document is the JSON of one solution; its keys are promised.
type Document struct {
	Case          string              `json:"case,omitempty"`
	Error         string              `json:"error,omitempty"`
	PH            *float64            `json:"ph"`
	EC            *float64            `json:"ec_ms_per_cm"`
	EC25          *float64            `json:"ec25_ms_per_cm"`
	TempC         float64             `json:"temp_c"`
	IonicStrength *float64            `json:"ionic_strength"`
	ChargeError   *float64            `json:"charge_error_meq"`
	Buffer        *float64            `json:"buffer_meq_per_ph"`
	Species       map[string]float64  `json:"species_mmol"`
	Saturation    map[string]*float64 `json:"saturation"`
	Published     map[string]*Span    `json:"saturation_published,omitempty"`
	Spread        *spreadDocument     `json:"spread,omitempty"`
	Pairs         *pairsDocument      `json:"nitrate_pairs,omitempty"`
	Warnings      []string            `json:"warnings"`
}

func documentOf(r *chem.Result) Document {
	d := Document{
		PH: Digits(r.PH), EC: Digits(r.EC), EC25: Digits(r.EC25), TempC: r.TempC,
		IonicStrength: Digits(r.IonicStrength), ChargeError: Digits(chargeShown(r)), Buffer: Digits(r.Buffer),
		Species: map[string]float64{}, Saturation: map[string]*float64{}, Warnings: []string{},
	}
	for i, m := range r.Species {
		if m > 0 {
			d.Species[chem.Species(i).String()] = *Digits(m)
		}
	}
	for i, si := range r.Saturation {
		d.Saturation[chem.Phase(i).String()] = Digits(si)
	}
	d.Published = PublishedSaturation(&r.Saturation)
	r.Warnings.Each(func(text string) { d.Warnings = append(d.Warnings, text) })
	return d
}

// chargeShown leaves out what is only the solver's last digit.
func chargeShown(r *chem.Result) float64 {
	if math.Abs(r.ChargeError) < 1e-5 {
		return 0
	}
	return r.ChargeError
}

// Digits rounds to eight significant digits; nil, JSON's null, for what is no
// number.
func Digits(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 8, 64), 64)
	return &v
}

// Span is a lowest and a highest value in JSON.
type Span struct {
	Low  *float64 `json:"low"`
	High *float64 `json:"high"`
}

// rangeDocument is the JSON of one range over the published constants.
type rangeDocument struct {
	Span
	By   string   `json:"moved_most_by,omitempty"`
	Set  string   `json:"set,omitempty"`
	Move *float64 `json:"move"`
}

type spreadDocument struct {
	PH         rangeDocument            `json:"ph"`
	EC         rangeDocument            `json:"ec_ms_per_cm"`
	EC25       rangeDocument            `json:"ec25_ms_per_cm"`
	Saturation map[string]rangeDocument `json:"saturation"`
}

// pairsDocument is what counting nitrate's pairs adds to each figure.
type pairsDocument struct {
	PH         *float64            `json:"ph_change"`
	EC         *float64            `json:"ec_change_ms_per_cm"`
	EC25       *float64            `json:"ec25_change_ms_per_cm"`
	Saturation map[string]*float64 `json:"saturation_change"`
}

// Document solves the solution for its JSON.
func (q *Question) Document() (Document, error) {
	var r chem.Result
	t, err := q.solve(&r)
	if err != nil {
		return Document{}, err
	}
	return q.document(&t, q.Conditions, &r)
}

// document is the JSON of a solution with the doubts that were asked for.
func (q *Question) document(t *chem.Totals, at chem.Conditions, r *chem.Result) (Document, error) {
	d := documentOf(r)
	if q.Spread {
		s := chem.Solver{NitratePairs: q.NitratePairs}
		spread, err := s.Spread(t, at)
		if err != nil {
			return d, err
		}
		d.Spread = &spreadDocument{PH: rangeOf(spread.PH), EC: rangeOf(spread.EC), EC25: rangeOf(spread.EC25), Saturation: map[string]rangeDocument{}}
		for i, g := range spread.Saturation {
			d.Spread.Saturation[chem.Phase(i).String()] = rangeOf(g)
		}
	}
	if q.NitratePairs {
		without, err := withoutPairs(t, at)
		if err != nil {
			return d, err
		}
		d.Pairs = &pairsDocument{PH: Digits(r.PH - without.PH), EC: Digits(r.EC - without.EC), EC25: Digits(r.EC25 - without.EC25), Saturation: map[string]*float64{}}
		for i, si := range r.Saturation {
			d.Pairs.Saturation[chem.Phase(i).String()] = Digits(si - without.Saturation[i])
		}
	}
	return d, nil
}

func rangeOf(g chem.Range) rangeDocument {
	return rangeDocument{Span: Span{Digits(g.Low), Digits(g.High)}, By: g.By, Set: g.Set, Move: Digits(g.Move)}
}

// withoutPairs is the same solution by the ordinary model.
func withoutPairs(t *chem.Totals, at chem.Conditions) (r chem.Result, err error) {
	var s chem.Solver
	err = s.Solve(t, at, &r)
	return r, err
}

// wideApart is from where on published solubility products differ so much that an
// index is not printed without its range.
const wideApart = 1.0

// PublishedSaturation holds the indices whose solubility products are published wide
// apart, from the lowest to the highest.
func PublishedSaturation(saturation *[chem.PhaseCount]float64) map[string]*Span {
	all := map[string]*Span{}
	for i, si := range saturation {
		falls, rises := chem.Phase(i).Published()
		if falls+rises >= wideApart && !math.IsNaN(si) {
			all[chem.Phase(i).String()] = &Span{Digits(si - falls), Digits(si + rises)}
		}
	}
	return all
}
