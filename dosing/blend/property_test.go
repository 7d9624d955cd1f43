package blend

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"leat/dosing"
)

// row draws stocks at random: each carries one to four of the twelve elements.
func row(r *rand.Rand, n int) []Stock {
	elements := []Substance{NO3, P, K, Ca, Mg, S, Fe, Mn, Zn, B, Cu, Mo}
	stocks := make([]Stock, n)
	for i := range stocks {
		stocks[i] = Stock{Name: fmt.Sprintf("stock %d", i), Role: dosing.RoleStock}
		for range 1 + r.IntN(4) {
			s := elements[r.IntN(len(elements))]
			scale := 1000.0
			if s.Micro() {
				scale = 5
			}
			stocks[i].Content[s] = scale * (0.1 + r.Float64())
		}
	}
	return stocks
}

// reachable draws a recipe that a mixture of the stocks makes: the mixture is drawn
// first and what it makes is the recipe.
func reachable(r *rand.Rand, stocks []Stock) (recipe Recipe) {
	var made Content
	for i := range stocks {
		if r.IntN(3) > 0 {
			made = made.Plus(stocks[i].perUnit(), 0.3+4*r.Float64())
		}
	}
	for s, v := range made {
		if v > 0 {
			recipe.Wants[s] = Want{Stated: true, Amount: v, Weight: 1}
		}
	}
	return recipe
}

// The mixture is made by adding to a tank of pure water, so that the water a stock
// displaces does not come in.
func TestEveryReachableRecipeIsMetToHalfAPerCent(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 12))
	worst, cases := 0.0, 0
	for range 4000 {
		stocks := row(r, 1+r.IntN(16))
		recipe := reachable(r, stocks)
		task := Task{Recipe: recipe, Stocks: stocks, MaxNH4: UsualNH4}
		m := &Mix{Task: task, Factor: 1}
		b := newBlender(&m.Task)
		for range 4 {
			if err := b.mixture(m); err != nil {
				t.Fatal(err)
			}
		}
		for s := range m.Wants {
			if m.Wants[s].Amount > 0 {
				cases++
				if off := math.Abs(m.Off(Substance(s))); off > 0.005 {
					t.Fatalf("%s is %.2f %% off with %d stocks", Substance(s), 100*off, len(stocks))
				} else {
					worst = max(worst, off)
				}
			}
		}
	}
	t.Logf("%d targets, the worst %.3f %% off", cases, 100*worst)
}

func TestSharesStandStillWhereTwoSaltsServeAlike(t *testing.T) {
	// Two potassium nitrates of different strength, and sulfate that can come as
	// magnesium or, by way of nitrate, otherwise: shares are not determined.
	sheet := func(k, n float64) []Stock {
		stocks, err := ReadStocks(fmt.Sprintf(`stock,holds,amount,unit
one,potassium nitrate,%.6f,g/L
two,potassium nitrate,%.6f,g/L
calcium,calcium nitrate tetrahydrate,120,g/L
phosphate,monopotassium phosphate,50,g/L
epsom,magnesium sulfate heptahydrate,110,g/L
sulfate,potassium sulfate,60,g/L
magnesium,magnesium nitrate hexahydrate,80,g/L
`, 90*k, 45*n))
		if err != nil {
			t.Fatal(err)
		}
		return stocks
	}
	r := rand.New(rand.NewPCG(3, 9))
	still := mixed(t, Task{Recipe: named(t, "steiner"), Stocks: sheet(1, 1), EC: 2}).Shares()
	worst := 0.0
	for range 300 {
		shake := func() float64 { return 1 + 0.001*(2*r.Float64()-1) }
		recipe := named(t, "steiner")
		for s := range recipe.Wants {
			recipe.Wants[s].Amount *= shake()
		}
		stocks := sheet(shake(), shake())
		for i := range stocks { // each analysis of a stock a little off, ion by ion
			for s := range stocks[i].Content {
				stocks[i].Content[s] *= shake()
			}
		}
		for i, share := range mixed(t, Task{Recipe: recipe, Stocks: stocks, EC: 2 * shake()}).Shares() {
			off := math.Abs(share - still[i])
			worst = max(worst, off)
			if off > 0.02 {
				t.Fatalf("%s: %.1f %% becomes %.1f %% for a change of 0.1 %%", stocks[i].Name, 100*still[i], 100*share)
			}
		}
	}
	t.Logf("largest change of a share: %.2f %%", 100*worst)
}

func TestFormerSharesAreKeptWhereTheRecipeLeavesAChoice(t *testing.T) {
	stocks, err := ReadStocks(`stock,holds,amount,unit
one,potassium nitrate,50,g/L
one,share,30,%
two,potassium nitrate,50,g/L
two,share,70,%
`)
	if err != nil {
		t.Fatal(err)
	}
	recipe := Recipe{}
	recipe.Wants[K] = Want{Stated: true, Amount: 5, Weight: 1}
	shares := mixed(t, Task{Recipe: recipe, Stocks: stocks}).Shares()
	if math.Abs(shares[0]-0.3) > 0.001 {
		t.Errorf("shares %.3f and %.3f, before 0.3 and 0.7", shares[0], shares[1])
	}
}

// balanced is a fit of 16 stocks and 14 rows, as a blend that is released.
func balanced(r *rand.Rand) *fit {
	f := &fit{rows: 14, cols: 16}
	x := make([]float64, f.cols)
	for i := range f.cols {
		f.upper, f.like = append(f.upper, math.Inf(1)), append(f.like, 1)
		x[i] = max(r.NormFloat64(), 0)
	}
	for range f.rows {
		sum := 0.0
		for i := range f.cols {
			v := 0.0
			if r.IntN(3) == 0 {
				v = r.Float64()
			}
			f.a = append(f.a, v)
			sum += v * x[i]
		}
		f.b = append(f.b, sum)
	}
	for k := range f.rows { // targets as shares
		if f.b[k] > 0 {
			for i := range f.cols {
				f.a[k*f.cols+i] /= f.b[k]
			}
			f.b[k] = 1
		}
	}
	return f
}

func BenchmarkSixteenStocksFourteenElements(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	fits := make([]*fit, 64)
	for i := range fits {
		fits[i] = balanced(r)
	}
	var s nearest
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if _, err := s.solve(fits[i%len(fits)]); err != nil {
			b.Fatal(err)
		}
		i++
	}
}

func BenchmarkWholeBlendWithEcAndPh(b *testing.B) {
	stocks := []Stock{}
	for _, name := range []string{"calcium nitrate tetrahydrate", "potassium nitrate", "monopotassium phosphate", "magnesium sulfate heptahydrate", "potassium sulfate"} {
		stocks = append(stocks, SaltStock(Salts[name]))
	}
	recipe, _ := RecipeNamed("steiner")
	for b.Loop() {
		if _, err := Solve(Task{Recipe: recipe, Stocks: stocks, EC: 2}); err != nil {
			b.Fatal(err)
		}
	}
}
