package chem

// BrushiteClear is the saturation index up to which brushite stays in solution in
// practice.
const BrushiteClear = 0.3

// Warnings are what a result says about its own reliability.
type Warnings uint16

// The warnings.
const (
	// BeyondModel: ionic strength above 0.5 mol/kg. Activities are then rough;
	// a saturation index keeps its sign, its value to ±0.5. Judge a stock by
	// the solubility of its salts as well.
	BeyondModel Warnings = 1 << iota
	// BrushiteForms: SI of brushite above 0.3, calcium phosphate falls out. More than
	// half of real drains stand above 0 and stay clear.
	BrushiteForms
	// GypsumForms: SI of gypsum above 0.
	GypsumForms
	// CalciteForms: SI of calcite above 0.
	CalciteForms
	// StruviteForms: SI of struvite above 0.
	StruviteForms
	// PHOutside: pH below 2 or above 12, where electrode and model part.
	PHOutside
	// ChargeOpen: at the given pH more than a tenth of the charge is missing.
	ChargeOpen
	// SilicateAcid: silicate above 2 mmol/kg below pH 9 polymerises to gel.
	SilicateAcid
	// TooMuchCO2: dissolved CO2 would bubble out at 1 atm.
	TooMuchCO2
)

var warningTexts = [...]string{
	"ionic strength above 0.5 mol/kg: outside the activity model; a saturation index is reliable in sign, in value to ±0.5; judge a stock by the solubility of its salts too",
	"brushite supersaturated: calcium phosphate can fall out",
	"gypsum supersaturated: calcium sulfate can fall out",
	"calcite supersaturated: lime can fall out (slowly)",
	"struvite supersaturated: magnesium ammonium phosphate can fall out",
	"pH outside 2 to 12: neither electrode nor model is dependable there",
	"the given pH leaves more than a tenth of the charge open: check the analysis",
	"silicate above 2 mmol/kg below pH 9: it gels; give it to water first and alone",
	"carbon dioxide beyond what water holds at 1 atm: it will bubble out",
}

// Each calls do with the text of every warning that is set.
func (w Warnings) Each(do func(text string)) {
	for i, text := range warningTexts {
		if w&(1<<i) != 0 {
			do(text)
		}
	}
}

// Has tells whether all of the given warnings are set.
func (w Warnings) Has(one Warnings) bool { return w&one == one }

func (s solution) warnings(c *Conditions, r *Result) (w Warnings) {
	set := func(when bool, one Warnings) {
		if when {
			w |= one
		}
	}
	set(!(r.IonicStrength <= 0.5), BeyondModel)
	set(r.Saturation[Brushite] > BrushiteClear, BrushiteForms)
	set(r.Saturation[Gypsum] > 0, GypsumForms)
	set(r.Saturation[Calcite] > 0, CalciteForms)
	set(r.Saturation[Struvite] > 0, StruviteForms)
	set(!(r.PH >= 2 && r.PH <= 12), PHOutside)
	if s.fixed {
		sum := 0.0
		for i := range r.Species {
			z := table[i].charge
			if z < 0 {
				z = -z
			}
			sum += float64(float64(z) * r.Species[i])
		}
		open := r.ChargeError
		if open < 0 {
			open = -open
		}
		set(!(open <= 0.1*sum/2), ChargeOpen)
	}
	set(float64(1000*s.partnerTotal[pSi]) > 2 && r.PH < 9, SilicateAcid)
	set(!c.Open && r.Species[CO2] > 1000*s.henry, TooMuchCO2)
	return w
}
