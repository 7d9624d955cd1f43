package blend

import (
	"math"
	"strings"
	"testing"
)

// acids.csv: nitric acid 38 % is 7.435 mol/L.
func TestALitreMadeUpToTenHasATenthOfItsLabelsStrength(t *testing.T) {
	for text, want := range map[string]float64{"1:10": 0.7435, "1:2": 3.7175, " 1 : 12.5 ": 0.5948} {
		s := stocksOf(t, "acid,nitric acid,38,%\nacid,dilution,"+text+",\n")[0]
		if math.Abs(s.Molar/want-1) > 0.001 || math.Abs(s.Content[NO3]/1000/want-1) > 0.001 {
			t.Errorf("%q: %.4f mol/L, %.4f of nitrate, want %.4f", text, s.Molar, s.Content[NO3]/1000, want)
		}
	}
	s := stocksOf(t, "acid,nitric acid,38,%\nacid,dilution,1:10,\n")[0]
	if all := strings.Join(s.Remarks, "\n"); all != "nitric acid of 7.44 mol/L diluted 1:10 is 4.58 % by mass, 1.024 g/mL, 0.744 mol/L" {
		t.Errorf("remarks %q", all)
	}
}

// Mass is kept when acid and water are mixed and volume is not: a litre of 96 % sulfuric acid, 1840 g, and 998 g of water are
// 2838 g of 62.2 %, which has 1.521 g/mL: 1.866 L with 18.01 mol. Of 65 % nitric acid 1391 g and 8984 g of water are 10375 g
// of 8.71 %, 1.047 g/mL: 9.909 L with 14.35 mol.
func TestAcidAndWaterShrinkWhenTheyAreMixed(t *testing.T) {
	for sheet, want := range map[string]float64{
		"acid,sulfuric acid,96,%\nacid,dilution,1+1,\n": 18.01 / 1.866,
		"acid,nitric acid,65,%\nacid,dilution,1+9,\n":   14.35 / 9.909,
	} {
		if s := stocksOf(t, sheet)[0]; math.Abs(s.Molar/want-1) > 0.002 {
			t.Errorf("%q: %.4f mol/L, want %.4f", sheet, s.Molar, want)
		}
	}
	_, err := ReadStocks("stock,holds,amount,unit\na,sulfuric acid,98,%\na,density,1.84,g/mL\na,dilution,1+1,\n")
	if err == nil || !strings.Contains(err.Error(), `line 4: "1+1" cannot be told`) {
		t.Errorf("beyond the table: %v", err)
	}
}

func TestADilutionThatCanBeReadTwoWaysIsRefused(t *testing.T) {
	for _, text := range []string{"1:1", "", "10", "10:1", "1:0", "1:-5", "1+0", "2:10", "1:1e9", "1:NaN", "1/10", "1:10:3", "1:1001", ":", "+", "1+", "1:1 0", "1:1+9"} {
		if d, err := ReadDilution(text); err == nil {
			t.Errorf("%q is taken as %v", text, d)
		}
	}
	_, err := ReadStocks("stock,holds,amount,unit\na,potassium nitrate,80,g/L\na,dilution,1:10,\n")
	if err == nil || !strings.Contains(err.Error(), "acid or base") {
		t.Errorf("of a stock of salts: %v", err)
	}
}
