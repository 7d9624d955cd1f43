package calibration

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leat/dosing"
)

// Standard is a solution whose pH or conductivity is known at each temperature.
type Standard struct {
	Name     string // as it is asked for
	Is       string
	Quantity dosing.Quantity
	Source   string
	rows     []row // by rising temperature; of a label's value there is one
}

// row is one line of a table: °C, and pH or mS/cm there.
type row struct{ celsius, value float64 }

const (
	jis        = "JIS Z 8802 (2011)"
	industrial = "usual table of buffers of this composition, to 0.01"
	crc        = "IUPAC 2001 (Pratt, Koch, Wu, Pure Appl. Chem. 73, 1783) as in the CRC Handbook"
	bottles    = "usual table of potassium chloride by the litre at 25 °C"
)

// standards are those with a table. Each row of it is in testdata/published.
var standards = []Standard{
	{"4.01", "phthalate, 0.05 mol/kg", dosing.QuantityPH, jis,
		[]row{{0, 4.01}, {5, 4.01}, {10, 4.00}, {15, 4.00}, {20, 4.00}, {25, 4.01}, {30, 4.01}, {35, 4.02}, {40, 4.03}, {45, 4.04}, {50, 4.06}}},
	{"6.86", "phosphate, 0.025 mol/kg of each", dosing.QuantityPH, jis,
		[]row{{0, 6.98}, {5, 6.95}, {10, 6.92}, {15, 6.90}, {20, 6.88}, {25, 6.86}, {30, 6.85}, {35, 6.84}, {40, 6.84}, {45, 6.83}, {50, 6.83}}},
	{"7.00", "phosphate, 0.041 mol Na2HPO4 and 0.026 mol KH2PO4", dosing.QuantityPH, industrial,
		[]row{{0, 7.12}, {5, 7.09}, {10, 7.06}, {15, 7.04}, {20, 7.02}, {25, 7.00}, {30, 6.99}, {35, 6.99}, {40, 6.98}, {45, 6.98}, {50, 6.97}}},
	{"9.18", "borax, 0.01 mol/kg", dosing.QuantityPH, jis,
		[]row{{0, 9.46}, {5, 9.39}, {10, 9.33}, {15, 9.27}, {20, 9.22}, {25, 9.18}, {30, 9.14}, {35, 9.10}, {40, 9.07}, {45, 9.04}, {50, 9.01}}},
	{"10.01", "carbonate, 0.025 mol/kg of each", dosing.QuantityPH, jis,
		[]row{{0, 10.32}, {5, 10.25}, {10, 10.18}, {15, 10.12}, {20, 10.07}, {25, 10.02}, {30, 9.97}, {35, 9.93}}},
	{"1408 uS/cm", "potassium chloride, 0.01 mol/kg", dosing.QuantityEC, crc,
		[]row{{0, .77292}, {5, .89096}, {10, 1.01395}, {15, 1.14145}, {18, 1.21993}, {20, 1.27303}, {25, 1.40823}, {30, 1.54663}, {35, 1.68779}, {40, 1.83127}, {45, 1.97662}, {50, 2.12343}}},
	{"1413 uS/cm", "potassium chloride, 0.01 mol/L", dosing.QuantityEC, bottles,
		[]row{{5, .896}, {10, 1.020}, {15, 1.147}, {20, 1.278}, {25, 1.413}, {30, 1.552}}},
	{"12.82 mS/cm", "potassium chloride, 0.1 mol/kg", dosing.QuantityEC, crc,
		[]row{{0, 7.11685}, {5, 8.1837}, {10, 9.29172}, {15, 10.4371}, {18, 11.1406}, {20, 11.6159}, {25, 12.8246}, {30, 14.0592}, {35, 15.316}, {40, 16.591}, {45, 17.8806}, {50, 19.1809}}},
	{"12.88 mS/cm", "potassium chloride, 0.1 mol/L", dosing.QuantityEC, bottles,
		[]row{{5, 8.22}, {10, 9.33}, {15, 10.48}, {20, 11.67}, {25, 12.88}, {30, 14.12}, {35, 15.39}}},
}

// labelWord stands before a value that a bottle's own label gives.
const labelWord = "label:"

// Standards are those with a table for a quantity.
func Standards(q dosing.Quantity) (all []Standard) {
	for i := range standards {
		if standards[i].Quantity == q {
			all = append(all, standards[i])
		}
	}
	return all
}

// Find is the standard of that name, or one whose label states its value at the present
// temperature: label:7.02, or label:1.413 in mS/cm.
func Find(q dosing.Quantity, name string) (Standard, error) {
	name = strings.TrimSpace(strings.ReplaceAll(name, "µ", "u"))
	if text, ok := strings.CutPrefix(name, labelWord); ok {
		return ofLabel(q, text)
	}
	var names []string
	for _, s := range Standards(q) {
		bare, _, _ := strings.Cut(s.Name, " ")
		if name == s.Name || name == bare || name == strings.ReplaceAll(s.Name, " ", "") {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Standard{}, fmt.Errorf("%.40q is no standard for %s that has a table: choose one of %s, or give what the label of yours says at its temperature, such as %s",
		name, quantityName(q), strings.Join(names, ", "), map[bool]string{true: "label:7.02", false: "label:1.413 in mS/cm"}[q == dosing.QuantityPH])
}

func ofLabel(q dosing.Quantity, text string) (Standard, error) {
	value, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	low, high := 1.0, 13.0
	if q == dosing.QuantityEC {
		low, high = 0.05, 120
	}
	if err != nil || !(value >= low && value <= high) {
		return Standard{}, fmt.Errorf("label:%.20s: want a value from %g to %g %s", text, low, high, q.Unit())
	}
	return Standard{Name: labelWord + strconv.FormatFloat(value, 'g', -1, 64), Is: "as its label says", Quantity: q, Source: "its label",
		rows: []row{{25, value}}}, nil
}

func quantityName(q dosing.Quantity) string {
	if q == dosing.QuantityPH {
		return "pH"
	}
	return "EC"
}

// At is what the standard has at a temperature, between the rows of its table. A label's
// value is of the temperature that it was read for.
func (s *Standard) At(celsius float64) (float64, error) {
	if len(s.rows) == 1 {
		return s.rows[0].value, nil
	}
	first, last := s.rows[0], s.rows[len(s.rows)-1]
	if !(celsius >= first.celsius && celsius <= last.celsius) || math.IsNaN(celsius) {
		return 0, fmt.Errorf("the table of %s is from %g to %g °C, and the solution has %.3g: bring it nearer to 25 °C", s.Name, first.celsius, last.celsius, celsius)
	}
	for i := 1; i < len(s.rows); i++ {
		if a, b := s.rows[i-1], s.rows[i]; celsius <= b.celsius {
			return a.value + float64((celsius-a.celsius)/(b.celsius-a.celsius)*(b.value-a.value)), nil
		}
	}
	return last.value, nil
}
