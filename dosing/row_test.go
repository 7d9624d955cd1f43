package dosing

import (
	"math"
	"testing"
)

func TestWhatIsMissingIsMissingOfTheQuickWater(t *testing.T) {
	tank := Tank{Volume: 1000, Slow: 0.6}
	for level, want := range map[Litres]Litres{1000: 400, 900: 300, 1050: 450, 500: 20} {
		if got := tank.QuickOf(level); math.Abs(float64(got-want)) > 1e-9 {
			t.Errorf("at %v: %v quick, want %v", level, got, want)
		}
	}
	if got := (Tank{Volume: 1000}).QuickOf(0); got != 0 {
		t.Errorf("an empty tank of one water holds %v", got)
	}
}
