package config

import (
	"strings"
	"testing"
)

func TestMeasuredBufferCapacityIsBelievedAsFarAsItWasMeasured(t *testing.T) {
	plain := good(t, "plain.toml")
	with := func(lines string) string { return changed(t, plain, "buffer = \"0.35 meq/L per pH\"\n", lines) }
	for text, want := range map[string]float64{"": 0, "buffer = \"0.35 meq/L per pH\"\n": 0,
		"buffer = \"0.35 meq/L per pH\"\nbuffer_uncertainty = \"30 %\"\n": 0.3,
		"buffer = \"0.35 meq/L per pH\"\nbuffer_uncertainty = \"5 %\"\n":  0.2} {
		if got := parsed(t, with(text)).Settings.Safety.Tanks[0].BufferSpread; got != want {
			t.Errorf("%q: %g, want %g", text, got, want)
		}
	}
	for lines, problem := range map[string]string{"buffer_uncertainty = \"15 %\"\n": "none is stated",
		"buffer = \"0.35 meq/L per pH\"\nbuffer_uncertainty = \"1 %\"\n": "out of range", "buffer = \"0.35 meq/L per pH\"\nbuffer_uncertainty = \"80 %\"\n": "out of range"} {
		if fault := faultOf(t, with(lines), "tank[beds].buffer_uncertainty"); !strings.Contains(fault.Problem, problem) {
			t.Errorf("%q: %v", lines, fault)
		}
	}
}
