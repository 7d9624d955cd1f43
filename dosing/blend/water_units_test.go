package blend

import (
	"math"
	"strings"
	"testing"
)

func TestAWaterIsStatedInTheUnitsOfItsReport(t *testing.T) {
	for list, want := range map[string]struct{ ca, mg, alkalinity float64 }{
		"Ca=200 mg/L CaCO3, Mg=50 mg/L as CaCO3, alkalinity=150 mg/L CaCO3": {1.998, 0.4996, 2.997},
		"Ca=10 °dH, Mg=2 dH, carbonate hardness=7 °dKH":                     {1.783, 0.3567, 2.4966},
		"Ca=20 °fH, HCO3=12 °fH":                                            {1.998, 0, 2.398},
		"hardness=14 °dH, Ca=80 mg/L, HCO3=3 mmol/L":                        {1.996, 0.5004, 3},
		"total hardness=2.5 mmol/L, Mg=1 meq/L, HCO3=4 meq/L":               {2, 0.5, 4},
	} {
		entries, err := ReadList(list)
		if err != nil {
			t.Fatal(err)
		}
		a, err := ReadAnalysis(entries)
		if err != nil || math.Abs(a.Content[Ca]-want.ca) > 2e-3 || math.Abs(a.Content[Mg]-want.mg) > 2e-3 || math.Abs(a.Alkalinity-want.alkalinity) > 2e-3 {
			t.Errorf("%s: Ca %.4f, Mg %.4f mmol/L, alkalinity %.4f meq/L, %v", list, a.Content[Ca], a.Content[Mg], a.Alkalinity, err)
		}
	}
}

func TestAWaterThatCannotBeReadIsRefusedWithTheReason(t *testing.T) {
	for list, want := range map[string]string{
		"NO2=1 mg/L": "is nitrite", "NO2-N=1 mg/L": "is nitrite", "nitrite=0.1 mg/L": "is nitrite",
		"hardness=14 °dH":                          "how much of it is calcium",
		"hardness=14 °dH, Ca=160 mg/L":             "less than what is stated",
		"hardness=14 °dH, Ca=80 mg/L, Mg=1 mg/L":   "one of the three is wrong",
		"hardness=14 °dH, total hardness=2 mmol/L": "twice",
		"K=3 °dH":             "neither hardness nor alkalinity",
		"alkalinity=3 mmol/L": "acid capacity",
	} {
		entries, err := ReadList(list)
		if err == nil {
			_, err = ReadAnalysis(entries)
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", list, err, want)
		}
	}
	for _, list := range []string{"NO2=1 mg/L", "hardness=3 mmol/L"} {
		entries, _ := ReadList(list)
		if _, err := ReadRecipe("", entries); err == nil || !strings.Contains(err.Error(), "no nutrient") {
			t.Errorf("a recipe with %s: %v", list, err)
		}
	}
}

func TestAnIronChelateHasTheStrengthOfItsName(t *testing.T) {
	for name, percent := range map[string]float64{"iron DTPA 3 %": 3, "iron DTPA 6%": 6, "iron DTPA 7 %": 7, "iron dtpa 11 %": 11, "iron EDTA 13 %": 13, "iron EDDHA 4.8 %": 4.8} {
		s, ok := SaltNamed(name)
		if !ok {
			t.Errorf("%s is not known", name)
			continue
		}
		if got := s.Content().Milligrams(Fe) / 10; math.Abs(got/percent-1) > 1e-3 || chelateOf(s.Name) == "" {
			t.Errorf("%s holds %.3f %% of iron", name, got)
		}
	}
	for _, name := range []string{"iron DTPA 0 %", "iron DTPA 60 %", "iron DTPA", "iron HBED 6 %", "iron DTPA 1.1.1 %"} {
		if _, ok := SaltNamed(name); ok {
			t.Errorf("%s is taken", name)
		}
	}
}
