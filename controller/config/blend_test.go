package config

import (
	"math"
	"strings"
	"testing"

	"leat/dosing"
)

func TestRowOfAConfigurationBlendsAsWhatItHolds(t *testing.T) {
	file, err := Load("../../testdata/config/good/plain.toml")
	if err != nil {
		t.Fatal(err)
	}
	row, err := file.Row("")
	if err != nil {
		t.Fatal(err)
	}
	if row.Tank != "beds" || row.Litres != 600 || row.PH != 6 || row.EC != 1.5 {
		t.Errorf("%s, %g L, pH %g, EC %g", row.Tank, row.Litres, row.PH, row.EC)
	}
	if len(row.Stocks) != 4 || len(row.Unknown) != 0 {
		t.Fatalf("%d stocks, unknown %v", len(row.Stocks), row.Unknown)
	}
	for i := range row.Stocks {
		s := &row.Stocks[i]
		pump := file.Settings.Safety.Pumps[i]
		// What the gate doses by and what the blend counts are one thing.
		if got := s.Content.Ions(); math.Abs(got.StrongCharge()-pump.Ions.StrongCharge()) > 1e-6 || math.Abs(got.K-pump.Ions.K) > 1e-6 || math.Abs(got.P-pump.Ions.P) > 1e-6 {
			t.Errorf("%s: %+v, the pump's %+v", s.Name, got, pump.Ions)
		}
		if s.Role != pump.Role || s.Smallest != pump.MinDose.Millilitres() {
			t.Errorf("%s: role %v, smallest %g mL", s.Name, s.Role, s.Smallest)
		}
	}
	if row.Stocks[2].Role != dosing.RoleStock || math.Abs(row.Stocks[2].Share-0.5) > 1e-9 {
		t.Errorf("share of %s: %g", row.Stocks[2].Name, row.Stocks[2].Share)
	}
	if _, err := file.Row("nowhere"); err == nil || !strings.Contains(err.Error(), `"beds"`) && !strings.Contains(err.Error(), "beds") {
		t.Errorf("a tank that is none: %v", err)
	}
}
