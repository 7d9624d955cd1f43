package blend_test

import (
	"math"
	"testing"

	"leat/dosing/blend"
)

func crop(t *testing.T, name string, share float64) blend.Crop {
	t.Helper()
	r, ok := blend.RecipeNamed(name)
	if !ok {
		t.Fatalf("no recipe %s", name)
	}
	return blend.Crop{Recipe: r, Share: share}
}

// Two crops of equal share miss each nutrient by the same factor, one upward and one downward.
func TestTwoCropsOfEqualShareMissEachNutrientAlike(t *testing.T) {
	c := blend.Compromises([]blend.Crop{crop(t, "lettuce", 1), crop(t, "strawberry", 1)})
	if len(c.Misses) != 2 {
		t.Fatalf("%+v", c.Misses)
	}
	a, b := c.Misses[0], c.Misses[1]
	if math.Abs(a.Strength*b.Strength-1) > 1e-9 {
		t.Errorf("strengths %v and %v", a.Strength, b.Strength)
	}
	both, apart := 0, 0
	for _, x := range a.Of {
		for _, y := range b.Of {
			if x.Substance == y.Substance {
				both++
				if math.Abs(x.Ratio*y.Ratio-1) > 1e-9 {
					t.Errorf("%s: %v and %v of the ratio", x.Substance.Symbol(), x.Ratio, y.Ratio)
				}
				if math.Abs(x.Ratio-1) > 0.05 {
					apart++
				}
			}
		}
	}
	if both < 6 || apart == 0 {
		t.Errorf("%d nutrients in both, %d of them apart: these crops tell nothing", both, apart)
	}
}

func TestOneCropAloneGetsItsRecipe(t *testing.T) {
	for _, share := range []float64{0.2, 1} {
		c := blend.Compromises([]blend.Crop{crop(t, "lettuce", share), crop(t, "lettuce", 1)})
		for _, m := range c.Misses {
			if math.Abs(m.Strength-1) > 1e-9 {
				t.Errorf("strength %v", m.Strength)
			}
			for _, of := range m.Of {
				if math.Abs(of.Got/of.Asked-1) > 1e-9 {
					t.Errorf("%s %v, asked for %v", of.Substance.Symbol(), of.Got, of.Asked)
				}
			}
		}
	}
	if c := blend.Compromises(nil); len(c.Misses) != 0 {
		t.Errorf("%+v", c)
	}
}

// The larger share is missed by less.
func TestTheLargerShareIsMissedByLess(t *testing.T) {
	c := blend.Compromises([]blend.Crop{crop(t, "lettuce", 3), crop(t, "strawberry", 1)})
	large, small := math.Abs(math.Log(c.Misses[0].Strength)), math.Abs(math.Log(c.Misses[1].Strength))
	if math.Abs(small-3*large) > 1e-9 {
		t.Errorf("strength off by %v and %v", large, small)
	}
}
