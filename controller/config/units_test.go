package config

import "testing"

func TestUnitsOfThePageAreMetricUnlessUSIsAskedForAndNothingElseIsTaken(t *testing.T) {
	page := func(line string) string {
		return changed(t, good(t, "plain.toml"), "[page]\n", "[page]\n"+line+"\n")
	}
	for line, us := range map[string]bool{"": false, `units = "metric"`: false, `units = "us"`: true} {
		if got := parsed(t, page(line)).Web.US; got != us {
			t.Errorf("%q: US units %t, want %t", line, got, us)
		}
	}
	if fault := faultOf(t, page(`units = "imperial"`), "page.units"); fault == nil {
		t.Error("imperial is taken")
	}
}
