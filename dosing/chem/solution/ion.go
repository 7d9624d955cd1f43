package solution

import (
	"slices"
	"strings"

	"leat/dosing/blend"
	"leat/dosing/chem"
)

// ionAliases are names people write for what the list calls otherwise.
var ionAliases = map[string]string{
	"nitrate": "NO3", "n": "NO3 or NH4", "ammonium": "NH4", "ammonia": "NH4", "nh3": "NH4",
	"phosphate": "P", "phosphorus": "P", "po4": "P", "h2po4": "P", "hpo4": "P", "h3po4": "-add H3PO4 or P", "p2o5": "P",
	"potassium": "K", "k2o": "K", "calcium": "Ca", "cao": "Ca", "magnesium": "Mg", "mgo": "Mg",
	"sulfate": "SO4", "sulphate": "SO4", "s": "SO4", "hso4": "SO4", "sodium": "Na", "chloride": "Cl",
	"carbonate": "DIC", "bicarbonate": "DIC", "hco3": "DIC", "co3": "DIC", "co2": "DIC or -co2", "alk": "DIC", "alkalinity": "DIC", "c": "DIC",
	"silicate": "Si", "silicon": "Si", "sio2": "Si", "sio3": "Si", "h4sio4": "Si",
	"boron": "B", "borate": "B", "boric acid": "B", "h3bo3": "B", "bo3": "B",
	"hno3": "-add HNO3", "h2so4": "-add H2SO4", "koh": "-add KOH", "naoh": "-add NaOH", "k2co3": "-add K2CO3", "khco3": "-add KHCO3",
}

// nearestIon suggests the ion that a wrong name most likely means, "" where that is not
// plain.
func nearestIon(name string) string {
	bare := strings.ToLower(strings.TrimSpace(name))
	if i := strings.IndexAny(bare, "+-"); i > 0 {
		charge := bare[i:]
		bare = bare[:i]
		if strings.Trim(charge, "+-234") == "" { // a charge: Ca+2, Ca2+, NO3-
			cation := charge[0] == '+'
			if cation && len(bare) > 1 {
				bare = bare[:1] + strings.TrimRight(bare[1:], "23")
			}
			if ion := ionCalled(bare); slices.Contains([]string{"K", "Ca", "Mg", "Na", "NH4"}, ion) == cation {
				return ion
			}
			return ""
		}
	}
	if ion := ionCalled(bare); ion != "" {
		return ion
	}
	return ionCalled(strings.ToLower(blend.Meant(bare, blend.SpellingNames())))
}

func ionCalled(name string) string {
	for _, ion := range chem.Ions {
		if strings.EqualFold(ion, name) {
			return ion
		}
	}
	return ionAliases[name]
}
