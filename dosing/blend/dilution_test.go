package blend

import (
	"math"
	"strings"
	"testing"
)

func TestADilutedAcidHasTheStrengthOfItsLabelDividedByItsParts(t *testing.T) {
	// acids.csv: nitric acid 38 % is 7.435 mol/L.
	for text, want := range map[string]float64{"1:10": 0.7435, "1+9": 0.7435, "1:2": 3.7175, "1+1": 3.7175, " 1 : 12.5 ": 0.5948} {
		s := stocksOf(t, "acid,nitric acid,38,%\nacid,dilution,"+text+",\n")[0]
		if math.Abs(s.Molar/want-1) > 0.001 || math.Abs(s.Content[NO3]/1000/want-1) > 0.001 {
			t.Errorf("%q: %.4f mol/L, %.4f of nitrate, want %.4f", text, s.Molar, s.Content[NO3]/1000, want)
		}
		// What it is by mass and density gives the same strength again.
		d, ok := Reagents["nitric acid"].Density(s.Percent)
		if !ok || math.Abs(d*s.Percent*10/63.012/want-1) > 0.001 {
			t.Errorf("%q: %.3f %% at %.4f g/mL is not %.4f mol/L", text, s.Percent, d, want)
		}
	}
	s := stocksOf(t, "acid,nitric acid,38,%\nacid,dilution,1:10,\n")[0]
	if all := strings.Join(s.Remarks, "\n"); !strings.Contains(all, "nitric acid of 38 % made up 1:10 is 4.58 % by mass, 1.024 g/mL, 0.744 mol/L") {
		t.Errorf("remarks %q", all)
	}
}

func TestADilutionThatCanBeReadTwoWaysIsRefused(t *testing.T) {
	for _, text := range []string{"1:1", "", "10", "10:1", "1:0", "1:-5", "1+0", "2:10", "1:1e9", "1:NaN", "1/10", "1:10:3", "1:1001", ":", "+", "1+"} {
		if d, err := ReadDilution(text); err == nil {
			t.Errorf("%q is taken as %v", text, d)
		}
	}
	_, err := ReadStocks("stock,holds,amount,unit\na,potassium nitrate,80,g/L\na,dilution,1:10,\n")
	if err == nil || !strings.Contains(err.Error(), "acid or base") {
		t.Errorf("of a stock of salts: %v", err)
	}
}
