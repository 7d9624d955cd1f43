package worksheet

import (
	"leat/dosing/blend"
	"leat/dosing/chem"
	"leat/dosing/chem/solution"
)

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
	Published    map[string]*solution.Span  `json:"saturation_published,omitempty"`
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

// Document is the JSON of the mixture.
func (x *Mixture) Document() any { return x.job.mixDocument(x.mix, x.volumes) }

func (j *Job) mixDocument(m *blend.Mix, volumes []float64) mixDocument {
	cations, anions := m.Charges()
	d := mixDocument{Recipe: m.Task.Recipe.Name, Source: m.Task.Recipe.Source(), Strength: solution.Digits(m.Factor), Litres: j.Litres, Elements: map[string]elementDocument{},
		PH: solution.Digits(m.Settled.PH), PHAtOnce: solution.Digits(m.AtOnce.PH), EC25: solution.Digits(m.Settled.EC25), AcidMeq: solution.Digits(m.Acid), Cations: solution.Digits(cations), Anions: solution.Digits(anions),
		NH4Share: solution.Digits(m.Reached[blend.NH4] / m.Reached.Nitrogen()), Saturation: map[string]*float64{}, Reasons: list(m.Reasons), Rounding: m.Rounding, Alternatives: list(m.Alternatives),
		Notes: list(j.notes(m)), Order: list(mixingOrder(m)), Cautions: blend.Cautions}
	shares := m.Shares()
	for i := range m.Task.Stocks {
		s := &m.Task.Stocks[i]
		unit := "mL"
		if s.Solid {
			unit = "g"
		}
		d.Stocks = append(d.Stocks, stockDocument{s.Name, s.Role.String(), unit, solution.Digits(m.Amounts[i]), solution.Digits(volumes[i]), solution.Digits(shares[i])})
	}
	for s := range blend.SubstanceCount {
		if s == blend.Carbon || s == blend.Rest {
			continue
		}
		e := elementDocument{Base: solution.Digits(m.Task.Base.Milligrams(s)), Acid: solution.Digits(part(m, s, true)), Stocks: solution.Digits(part(m, s, false)), Reached: solution.Digits(m.Reached.Milligrams(s))}
		if w := m.Wants[s]; w.Stated && w.Weight > 0 {
			e.Target = solution.Digits(w.Amount * s.Mass())
		}
		d.Elements[s.Symbol()] = e
	}
	if m.N.Stated {
		d.Elements["N"] = elementDocument{Reached: solution.Digits(m.Reached.Nitrogen() * 14.007), Target: solution.Digits(m.N.Amount * 14.007)}
	}
	for phase, si := range m.Settled.Saturation {
		d.Saturation[chem.Phase(phase).String()] = solution.Digits(si)
	}
	d.Published = solution.PublishedSaturation(&m.Settled.Saturation)
	return d
}

// list makes an empty list of none, so that JSON has [] and not null.
func list(texts []string) []string {
	if texts == nil {
		return []string{}
	}
	return texts
}
