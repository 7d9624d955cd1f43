package blend

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"leat/dosing"
)

// drawnWater is a tap water or rain: alkalinity 0 to 8 meq/L with the hardness,
// sodium, chloride, sulfate and silicate that come with such waters.
func drawnWater(r *rand.Rand) Content {
	a := Analysis{Alkalinity: 8 * r.Float64() * r.Float64(), PH: 6.8 + 1.4*r.Float64()}
	if r.IntN(3) == 0 {
		a.Alkalinity = 8 * r.Float64()
	}
	hard := a.Alkalinity * (0.4 + 0.7*r.Float64()) / 2
	a.Content[Ca], a.Content[Mg] = hard*(0.6+0.35*r.Float64()), hard*0.35*r.Float64()
	salt := 0.0
	if r.IntN(2) == 0 {
		salt = 4 * r.Float64() * r.Float64()
	}
	a.Content[S] = salt * r.Float64()
	a.Content[Cl] = salt * r.Float64()
	a.Content[NO3] = 0.6 * r.Float64() * r.Float64()
	a.Content[K] = 0.1 * r.Float64()
	if r.IntN(2) == 0 {
		a.Content[Si] = 0.6 * r.Float64()
	}
	// Sodium closes the charge, as it mostly does; calcium where it would fall below none.
	if sodium := a.Alkalinity - a.Content.StrongCharge(); sodium >= 0 {
		a.Content[Na] = sodium
	} else {
		a.Content[Ca] -= min(a.Content[Ca], 0)
		a.Content[Cl] -= sodium
	}
	return a.Water().Content
}

// drawnRow is a row of 3 to 16 liquids of single salts, some missing, some very
// dilute, with acids, a base and mostly one stock for each micronutrient.
func drawnRow(t *testing.T, r *rand.Rand) []Stock {
	t.Helper()
	var lines strings.Builder
	put := func(chance float64, name, holds string, grams float64) {
		if r.Float64() > chance {
			return
		}
		switch k := r.IntN(25); {
		case k == 0:
			grams /= 50
		case k < 3:
			grams /= 8
		}
		fmt.Fprintf(&lines, "%s,%s,%.6f,g/L\n", name, holds, grams*(0.4+0.8*r.Float64()))
	}
	put(0.97, "calcium", "calcium nitrate tetrahydrate", 200)
	put(0.9, "saltpetre", "potassium nitrate", 110)
	put(0.9, "phosphate", "monopotassium phosphate", 120)
	put(0.9, "epsom", "magnesium sulfate heptahydrate", 150)
	put(0.6, "sulfate", "potassium sulfate", 80)
	put(0.5, "magnesium", "magnesium nitrate hexahydrate", 150)
	put(0.5, "ammonium", "ammonium nitrate", 60)
	put(0.15, "dipotassium", "dipotassium phosphate", 100)
	put(0.15, "chloride", "calcium chloride dihydrate", 60)
	put(0.15, "silicate", "potassium silicate", 40)
	iron := []struct {
		name  string
		grams float64
	}{{"iron DTPA 11 %", 12}, {"iron EDDHA 6 %", 20}, {"iron EDTA 13 %", 10}}[r.IntN(3)]
	put(0.95, "iron", iron.name, iron.grams)
	put(0.9, "manganese", "manganese sulfate monohydrate", 1.5)
	put(0.9, "zinc", "zinc sulfate heptahydrate", 2)
	put(0.9, "boron", "boric acid", 3)
	put(0.8, "copper", "copper sulfate pentahydrate", 0.4)
	put(0.8, "molybdenum", "sodium molybdate dihydrate", 0.2)
	acid := []string{"nitric", "phosphoric", "sulfuric"}
	r.Shuffle(3, func(i, k int) { acid[i], acid[k] = acid[k], acid[i] })
	for _, name := range acid[:r.IntN(3)] {
		fmt.Fprintf(&lines, "%s,%s acid,%.3f,%%\n", name, name, 5+30*r.Float64())
	}
	if r.IntN(2) == 0 {
		fmt.Fprintf(&lines, "lye,potassium hydroxide,%.3f,%%\n", 2+20*r.Float64())
	}
	if lines.Len() == 0 {
		return drawnRow(t, r)
	}
	all := stocksOf(t, lines.String())
	r.Shuffle(len(all), func(i, k int) { all[i], all[k] = all[k], all[i] })
	return all[:min(len(all), 16)]
}

// drawnTask is a recipe, with micronutrients where it names none, at EC 0.6 to 3.
func drawnTask(t *testing.T, r *rand.Rand) Task {
	t.Helper()
	names := RecipeNames()
	recipe := named(t, names[r.IntN(len(names))])
	if !recipe.Wants[Fe].Stated {
		for s := Fe; s <= Mo; s++ {
			recipe.Wants[s] = named(t, "lettuce").Wants[s]
		}
	}
	return Task{Recipe: recipe, Base: drawnWater(r), Stocks: drawnRow(t, r), EC: 0.6 + 2.4*r.Float64()}
}

// sole is the stock that holds one micronutrient and nothing else, -1 for none.
func sole(stocks []Stock, s Substance) int {
	for i := range stocks {
		others := false
		for o := NO3; o < Carbon; o++ {
			others = others || o != s && stocks[i].Content[o] > 0
		}
		if stocks[i].Content[s] > 0 && !others && stocks[i].Role == dosing.RoleStock {
			return i
		}
	}
	return -1
}
