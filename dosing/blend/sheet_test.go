package blend

import (
	"math"
	"strings"
	"testing"
)

func TestElementsOxidesAndIonsAreOneAmount(t *testing.T) {
	for _, c := range []struct {
		a, b string
		s    Substance
	}{
		{"P2O5=71 mg/L", "P=30.99 mg/L", P}, {"K2O=120.5 mg/L", "K=100.03 mg/L", K}, {"NO3=62.004 mg/L", "NO3-N=14.007 mg/L", NO3}, {"Ca=2 meq/L", "CaO=56.077 mg/L", Ca},
		{"SO4=96.056 mg/L", "S=1000 µmol/L", S}, {"NH4=18.039 ppm", "N-NH4=1 mmol/L", NH4}, {"MgO=40.304 mg/L", "Mg=2 meq/L", Mg}, {"H2PO4=1 meq/L", "P=1 mmol/L", P},
	} {
		var got [2]float64
		for i, text := range []string{c.a, c.b} {
			entries, err := ReadList(text)
			if err != nil {
				t.Fatal(err)
			}
			a, err := ReadAnalysis(entries)
			if err != nil {
				t.Fatal(err)
			}
			got[i] = a.Content[c.s]
		}
		if math.Abs(got[0]/got[1]-1) > 1e-3 {
			t.Errorf("%s is %.5f mmol/L, %s %.5f", c.a, got[0], c.b, got[1])
		}
	}
}

// Every refusal says what to write instead.
func TestFaultsOfASheetNameTheirLineAndWhatToWrite(t *testing.T) {
	for text, want := range map[string]string{
		"what,amount,unit\nCa,61,mg/L\nMgg,9,mg/L\n":                        `line 3: "Mgg" is nothing an analysis names; did you mean`,
		"what,amount,unit\nCa,\"6,1\",mg/L\n":                               "write a decimal point",
		"what,amount,unit\nCa,6,1,mg/L\n":                                   "decimal comma",
		"what,amount,unit\nCa,61,mg\n":                                      "write mg/L, mmol/L",
		"what,amount,unit\nCa,-1,mg/L\n":                                    "below zero",
		"what,amount,unit\nCa,NaN,mg/L\n":                                   "no number",
		"what,amount,unit\nCa,61,g/L\n":                                     "check the unit",
		"what,amount,unit\nN,61,mg/L\n":                                     "write NO3-N and NH4-N",
		"what,amount,unit\nCa,61,mg/L\nCa,2,mg/L\n":                         "stated twice",
		"what,amount\nCa,61\n":                                              "missing among the columns",
		"what,amount,unit\npH,58,\n":                                        "no pH",
		"":                                                                  "is empty",
		"what,amount,unit\nFe,1,meq/L\n":                                    "no equivalents",
		"what,amount,unit,colour\nFe,1,mg/L,red\n":                          "no column of this sheet",
		"what,amount,unit\nEC,2100,mS/cm\n":                                 "no conductivity",
		"what,amount,unit\nHCO3,180,mg/L\nalkalinity,150,mg/L\n":            "one thing",
		"what,amount,unit,never_above\nHCO3,180,mg/L,2\n":                   "only recipes",
		"what,amount,unit\n" + strings.Repeat("Ca,61,mg/L\n", 10_000):       "larger than 64 KiB",
		"what,amount,unit\n,61,mg/L\n":                                      "empty field",
		"what,amount,unit\nCa,61,mg/L\nCa\"b,2,mg/L\nK,\"unclosed,1,mg/L\n": "comma-separated",
	} {
		entries, err := ReadSheet(text)
		if err == nil {
			_, err = ReadAnalysis(entries)
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.60q: %v; want %q", text, err, want)
		}
	}
}

func TestFaultsOfAStockSheetSayWhatToWrite(t *testing.T) {
	for line, want := range map[string]string{
		"a,calcium nitrate tetrahydrat,90,g/L":           `did you mean "calcium nitrate tetrahydrate"?`,
		"a,potassium nitrate,90,%":                       "write g/L or mol/L",
		"a,nitric acid,99,%":                             "state its density",
		"a,nitric acid,38,g/L":                           "write % by mass or mol/L",
		"a,sodium hydroxide,60,%":                        "beyond the table of densities",
		"a,grade 13-0-46,50,g/L":                         "urea is not taken",
		"a,grade 13-0,50,g/L":                            "is not N-P-K",
		"a,NO3-N,4,%":                                    "add a line with density",
		"a,share,130,%":                                  "no share",
		"a,at most,0,mL/L":                               "no limit",
		"a,density,1.2,g/mL":                             "holds nothing",
		"a,density,12,g/mL":                              "no density",
		"a,nitric acid,38,%\na,potassium nitrate,10,g/L": "stands alone",
	} {
		_, err := ReadStocks("stock,holds,amount,unit\n" + line + "\n")
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; want %q", line, err, want)
		}
	}
}

func TestLiquidIsReadByItsLabelAndNeutral(t *testing.T) {
	stocks, err := ReadStocks("stock,holds,amount,unit\nfeed,NO3-N,4,%\nfeed,K2O,6,%\nfeed,Mg,0.5,%\nfeed,density,1.21,g/mL\n")
	if err != nil {
		t.Fatal(err)
	}
	s := stocks[0]
	if got := s.Content.Milligrams(NO3); math.Abs(got-48_400) > 1 {
		t.Errorf("%.0f mg/L of nitrate nitrogen, want 1.21 kg × 4 %%", got)
	}
	if math.Abs(s.Content.StrongCharge()) > 1e-6 {
		t.Error("the label reads as acid or base")
	}
	if len(s.Remarks) == 0 {
		t.Error("nitrate 3.46 mol and K 1.54 + 2 Mg 0.25 mol do not balance, and nobody is told")
	}
}

func TestRecipeOfSaltsIsTheSumOfTheirElements(t *testing.T) {
	entries, err := ReadList("KNO3=0.5 g/L, Ca(NO3)2.4H2O=1 mmol/L, KH2PO4=136.084 mg/L")
	if err != nil {
		t.Fatal(err)
	}
	r, err := ReadRecipe("salts", entries)
	if err != nil {
		t.Fatal(err)
	}
	c := r.Content()
	if math.Abs(c[K]-(500/101.102+1)) > 1e-3 || math.Abs(c[Ca]-1) > 1e-9 || math.Abs(c[P]-1) > 1e-6 {
		t.Errorf("K %.4f, Ca %.4f, P %.4f", c[K], c[Ca], c[P])
	}
}
