package calibration

import (
	"math"
	"strings"
	"testing"
)

func TestARateIsTheMeanOfRunsThatAgree(t *testing.T) {
	r, err := ReadRuns("60=98.5, 60 s = 98.1 mL; 30=49.3")
	if err != nil || r.Runs != 3 || math.Abs(r.PerSecond-(98.5/60+98.1/60+49.3/30)/3) > 1e-12 || r.Spread > 0.01 {
		t.Errorf("%+v, %v", r, err)
	}
	for list, why := range map[string]string{"": "say what", "60": "want seconds", "60=98.5, 60=80": "differ", "1=2": "let it run", "60=-3": "look at", "60=NaN": "look at", "60=1e9": "look at", "60=a": "want"} {
		if _, err := ReadRuns(list); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%q: %v; want %q", list, err, why)
		}
	}
}

func FuzzReadRuns(f *testing.F) {
	f.Add("60=98.5, 60=98.1")
	f.Add("60s=98.5mL;;3600=1")
	f.Fuzz(func(t *testing.T, list string) {
		if r, err := ReadRuns(list); err == nil && !(r.PerSecond > 0 && r.PerSecond < 1e6 && r.Spread >= 0 && r.Spread <= runsDiffer) {
			t.Errorf("%q: %+v", list, r)
		}
	})
}
