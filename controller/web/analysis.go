package web

import (
	"fmt"
	"regexp"
	"strings"
)

// analysisIons have a field of their own on the form of an analysis.
var analysisIons = []string{"NO3-N", "NH4-N", "P", "K", "Ca", "Mg", "S", "Fe", "Mn", "Zn", "B", "Cu", "Mo", "Na", "Cl"}

// unitless are what an analysis states beside ions, with their own unit.
var unitless = map[string]string{"pH": "", "EC": " mS/cm"}

// analysisOf is what a form says of an analysis as a list such as "NO3-N=168 mg/L, pH=5.8":
// of a field for each ion, or of a sheet that was pasted. A list that is written so already
// stays as it is.
func analysisOf(value func(string) string) (string, error) {
	unit := value("unit")
	if unit == "" {
		unit = "mg/L"
	}
	if unit != "mg/L" && unit != "mmol/L" {
		return "", fmt.Errorf("unit=%.40q: want mg/L or mmol/L", unit)
	}
	var parts []string
	for _, name := range append(append([]string(nil), analysisIons...), "pH", "EC") {
		text := value("ion-" + name)
		if strings.TrimSpace(text) == "" {
			continue
		}
		v, err := typed(text)
		if err != nil {
			return "", fmt.Errorf("%s: %w", name, err)
		}
		parts = append(parts, name+"="+plainNumber(v)+unitOf(name, unit))
	}
	sheet := value("analysis")
	switch {
	case strings.TrimSpace(sheet) == "":
		return strings.Join(parts, ", "), nil
	case len(parts) > 0:
		return "", fmt.Errorf("fields and a pasted sheet were both filled in: leave one of them empty")
	case strings.Contains(sheet, "="):
		return strings.Join(strings.Fields(sheet), " "), nil
	}
	return sheetOf(sheet, unit)
}

func unitOf(name, unit string) string {
	if own, ok := unitless[name]; ok {
		return own
	}
	return " " + unit
}

func plainNumber(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.6g", v), ".") }

// sheetLine is a line of a laboratory's sheet: what, how much, and a unit if it states one.
var sheetLine = regexp.MustCompile(`^\s*(\pL[\pL0-9 .+()/-]*?)\s*[\s:;|]\s*([0-9]+(?:[.,][0-9]+)?)\s*[;|]?\s*([^0-9;|]*?)\s*[;|]?\s*$`)

// sheetOf reads a sheet line by line. Lines without a figure are headings; one that has a
// figure and is not understood is an error, so that nothing is left out silently.
func sheetOf(sheet, unit string) (string, error) {
	var parts []string
	for n, line := range strings.Split(sheet, "\n") {
		line = strings.TrimSpace(line)
		found := sheetLine.FindStringSubmatch(line)
		if found == nil {
			if strings.ContainsAny(line, "0123456789") {
				return "", fmt.Errorf("line %d of the sheet, %.60q, is not understood: want what, how much and the unit, such as K 275 mg/L; delete lines that are none of it", n+1, line)
			}
			continue
		}
		v, err := typed(found[2])
		if err != nil {
			return "", fmt.Errorf("line %d of the sheet: %w", n+1, err)
		}
		name, stated := strings.TrimSpace(found[1]), strings.TrimSpace(found[3])
		if strings.EqualFold(name, "ph") {
			name, stated = "pH", ""
		} else if stated == "" {
			stated = strings.TrimSpace(unitOf(name, unit))
		}
		parts = append(parts, strings.TrimSpace(name+"="+plainNumber(v)+" "+stated))
	}
	if len(parts) == 0 {
		return "", fmt.Errorf("the sheet holds no line such as K 275 mg/L")
	}
	return strings.Join(parts, ", "), nil
}

// runsOf is what a form says of a pump's runs, as "60=98.5, 60=99".
func runsOf(value func(string) string) (string, error) {
	if runs := value("runs"); runs != "" {
		return runs, nil
	}
	var parts []string
	for _, n := range []string{"1", "2", "3"} {
		seconds, ml := value("seconds"+n), value("ml"+n)
		if strings.TrimSpace(seconds+ml) == "" {
			continue
		}
		s, err := typed(seconds)
		if err != nil {
			return "", fmt.Errorf("run %s, seconds: %w", n, err)
		}
		v, err := typed(ml)
		if err != nil {
			return "", fmt.Errorf("run %s, mL: %w", n, err)
		}
		parts = append(parts, plainNumber(s)+"="+plainNumber(v))
	}
	return strings.Join(parts, ", "), nil
}
