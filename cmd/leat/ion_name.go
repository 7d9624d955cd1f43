package main

import (
	"strings"

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
	"hno3": "-add HNO3", "h2so4": "-add H2SO4", "koh": "-add KOH", "naoh": "-add NaOH", "k2co3": "-add K2CO3", "khco3": "-add KHCO3",
}

// nearestIon suggests the ion that a wrong name most likely means.
func nearestIon(name string) string {
	bare := strings.ToLower(strings.TrimSpace(name))
	if i := strings.IndexAny(bare, "+-"); i > 0 { // a charge: Ca+2, NO3-
		bare = bare[:i]
	}
	for _, b := range []string{bare, strings.TrimRight(bare, "23")} { // Ca2+ has lost its sign above
		if known, ok := ionAliases[b]; ok {
			return known
		}
		for _, ion := range chem.Ions {
			if strings.EqualFold(ion, b) {
				return ion
			}
		}
	}
	best, least := chem.Ions[0], 1<<30
	for _, ion := range chem.Ions {
		if d := edits(bare, strings.ToLower(ion)); d < least {
			best, least = ion, d
		}
	}
	for alias, ion := range ionAliases {
		if d := edits(bare, alias); d < least || d == least && ion < best && len(alias) > 4 {
			best, least = ion, d
		}
	}
	return best
}

// edits counts the letters to change, add, drop or swap between two names.
func edits(a, b string) int {
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(a)][len(b)]
}
