package dosing

import "testing"

func TestECStandsBesideItsOtherScaleByName(t *testing.T) {
	for name, want := range map[string]string{"": "", "mS/cm": "", "CF": " (18.4 CF)", "ppm 500": " (920 ppm 500)", "ppm 700": " (1288 ppm 700)"} {
		scale, ok := ParseECScale(name)
		if got := scale.Beside(1.84); !ok || got != want {
			t.Errorf("%q: %q, %v; want %q", name, got, ok, want)
		}
	}
	for _, name := range []string{"ppm", "cf", "TDS"} {
		if _, ok := ParseECScale(name); ok {
			t.Errorf("%q is taken, but does not say which scale it is", name)
		}
	}
}
