package blend

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"leat/dosing"
)

// withMore is the mixture with more of one stock, the water that it displaces counted
// as before.
func withMore(m *Mix, i int, more float64) *Mix {
	_, share := m.Task.around(m.Task.volume(m.Amounts))
	other := *m
	other.Reached = m.Reached.Plus(m.Task.Stocks[i].perUnit(), more*share)
	return &other
}

// squaresLeft is what the least squares sought to make small.
func squaresLeft(m *Mix) float64 {
	sum := 0.0
	for _, a := range m.causes().aims {
		sum += a.pull * a.over * scaleOfAim(m, &a)
	}
	return sum
}

func scaleOfAim(m *Mix, a *aim) float64 {
	switch a.kind {
	case aimNitrogen:
		return m.N.Amount
	case aimPH:
		return chargeScale
	}
	return scaleOf(a.substance, m.Wants[a.substance], m.Recipewide())
}

func overNow(m *Mix, a *aim) float64 {
	for _, b := range m.causes().aims {
		if b.kind == a.kind && b.substance == a.substance {
			return b.over
		}
	}
	return math.NaN()
}

// Each reason is tried: what it says would happen happens.
func TestWhatAReasonClaimsHappensWhenItIsTried(t *testing.T) {
	r := rand.New(rand.NewPCG(39, 3))
	tried := map[cause]int{}
	for k := range 600 {
		task := drawnTask(t, r)
		for i := range task.Stocks {
			if s := &task.Stocks[i]; s.Role == dosing.RoleStock && !task.isTrace(s) && r.IntN(12) == 0 {
				s.AtMost = 1 + 4*r.Float64()
			}
		}
		if r.IntN(4) == 0 {
			task.MaxNH4 = 0.02 + 0.04*r.Float64()
		}
		m, err := Solve(task)
		if err != nil {
			continue
		}
		for _, a := range m.causes().aims {
			if a.micro || a.kind == aimPH || a.over > -noticed {
				continue
			}
			if !strings.Contains(strings.Join(m.Reasons, "\n"), a.name+" comes to only") {
				t.Errorf("case %d: %s lacks %.1f %% without a word", k, a.name, -100*a.over)
			}
			for i := range m.Task.Stocks {
				s := &m.Task.Stocks[i]
				if s.acidic() || !(a.of(s.Content) > 0) {
					continue
				}
				o, ok := m.causes().obstacle(i, &a)
				if !ok {
					t.Errorf("case %d: nothing keeps %s from bringing %s, which lacks %.1f %%", k, s.Name, a.name, -100*a.over)
					continue
				}
				tried[o.cause]++
				tryObstacle(t, k, m, &a, i, &o)
			}
		}
	}
	t.Logf("tried: %d stand at the most allowed, %d held by ammonium, %d take something past its target", tried[causeAtMost], tried[causeAmmonium], tried[causePast])
	if tried[causeAtMost] < 20 || tried[causeAmmonium] < 20 || tried[causePast] < 100 {
		t.Errorf("too few of a kind: %v", tried)
	}
}

func tryObstacle(t *testing.T, k int, m *Mix, a *aim, i int, o *obstacle) {
	t.Helper()
	s := &m.Task.Stocks[i]
	task := m.Task
	task.Stocks = append([]Stock{}, m.Task.Stocks...)
	switch o.cause {
	case causePast:
		more := 0.02 * scaleOfAim(m, a) / a.of(s.perUnit())
		then := withMore(m, i, more)
		now := overNow(then, &o.past)
		if was := o.past.over; !(math.Abs(now) > math.Abs(was)) || o.past.kind != aimPH && !(was > 0) {
			t.Errorf("case %d: more of %s takes %s from %.4f to %.4f beyond its target", k, s.Name, o.past.name, was, now)
		}
		if was, now := squaresLeft(m), squaresLeft(then); now < was-1e-9 {
			t.Errorf("case %d: more of %s for %s would have been nearer: %.6f, without %.6f", k, s.Name, a.name, now, was)
		}
	case causeAtMost:
		task.Stocks[i].AtMost *= 1.1
		if freed, err := Solve(task); err == nil && !(freed.Amounts[i] > m.Amounts[i]) {
			t.Errorf("case %d: %s may give more, and gives no more", k, s.Name)
		}
	case causeAmmonium:
		task.MaxNH4 = m.Task.MaxNH4 * 1.1
		if freed, err := Solve(task); err == nil && !(freed.Reached[NH4]/freed.Reached.Nitrogen() > m.Reached[NH4]/m.Reached.Nitrogen()) {
			t.Errorf("case %d: ammonium may be more, and is no more", k)
		}
	}
}

func TestAStockOfSilicateIsNamedWhereTheAcidIsGivenAgainstIt(t *testing.T) {
	row := stocksOf(t, "potash,potassium nitrate,80,g/L\nsilicate,potassium silicate,40,g/L\nnitric,nitric acid,10,%\n")
	m := mixed(t, Task{Recipe: wants(t, "NO3-N=14 mg/L, K=200 mg/L, Si=1 mmol/L"), Stocks: row, Base: waterOf(t, "Ca=20 mg/L, HCO3=61 mg/L")})
	says(t, m.Reasons, "against alkalinity: 1 meq/L of the water, 0.55 meq/L of silicate")
}

func TestDipotassiumPhosphateIsNamedWhereThereIsNoBase(t *testing.T) {
	row := stocksOf(t, "calcium,calcium nitrate tetrahydrate,120,g/L\nphosphate,monopotassium phosphate,60,g/L\ndipotassium,dipotassium phosphate,20,g/L\n")
	m := mixed(t, Task{Recipe: wants(t, "NO3-N=100 mg/L, P=40 mg/L, K=30 mg/L, Ca=140 mg/L"), Stocks: row, PH: 6.5})
	says(t, m.Reasons, "there is no base among the stocks; more of dipotassium brings more K, which is")
}

func TestAcidThatIsKeptBackNamesItsNutrient(t *testing.T) {
	row := stocksOf(t, "calcium,calcium nitrate tetrahydrate,120,g/L\npotash,potassium sulfate,60,g/L\nphosphoric,phosphoric acid,10,%\nphosphoric,at most,2,mL/L\n")
	recipe := wants(t, "NO3-N=100 mg/L, P=20 mg/L, K=200 mg/L, Ca=140 mg/L")
	m := mixed(t, Task{Recipe: recipe, Stocks: row, Base: waterOf(t, hardWater)})
	says(t, m.Reasons, "phosphoric stands at the most you allow")
	row[2].AtMost = 0
	recipe.Wants[P].Limited, recipe.Wants[P].Most = true, 2
	m = mixed(t, Task{Recipe: recipe, Stocks: row, Base: waterOf(t, hardWater)})
	says(t, m.Reasons, "phosphoric brings P, which is never to pass 61.9 mg/L")
}

// Every way to round five pumps is tried here by counting; the acid is left for what
// the stocks came to.
func TestPumpsAreRoundedTogetherToTheNearestMixtureThereIs(t *testing.T) {
	r := rand.New(rand.NewPCG(39, 4))
	for k := range 60 {
		task := drawnTask(t, r)
		litres, free := 20+200*r.Float64(), 0
		for i := range task.Stocks {
			if free < 5 || task.Stocks[i].acidic() {
				task.Stocks[i].Smallest = 1 + 4*r.Float64()
				free++
			}
		}
		m, err := Solve(task)
		var refusal *Refusal
		if errors.As(err, &refusal) {
			continue
		}
		rounded, volumes, err := m.Rounded(litres)
		if err != nil {
			t.Fatal(err)
		}
		var pumps []int
		for i := range m.Task.Stocks {
			s := &m.Task.Stocks[i]
			if s.Smallest == 0 {
				continue
			}
			if count := volumes[i] / s.Smallest; math.Abs(count-math.Round(count)) > 1e-6 {
				t.Errorf("case %d: %s gets %.4f smallest doses", k, s.Name, count)
			}
			if !s.acidic() && m.Amounts[i] > 0 {
				pumps = append(pumps, i)
			}
		}
		least := math.Inf(1)
		for way := range 1 << len(pumps) {
			amounts := append([]float64{}, rounded.Amounts...)
			for bit, i := range pumps {
				count := math.Floor(m.Amounts[i] * litres / m.Task.Stocks[i].Smallest)
				amounts[i] = (count + float64(way>>bit&1)) * m.Task.Stocks[i].Smallest / litres
			}
			for i := range amounts {
				if m.Task.Stocks[i].acidic() {
					amounts[i] = m.Amounts[i]
				}
			}
			c := m.Task.reached(amounts)
			least = min(least, m.missing(&c))
		}
		amounts := append([]float64{}, rounded.Amounts...)
		for i := range amounts {
			if m.Task.Stocks[i].acidic() {
				amounts[i] = m.Amounts[i]
			}
		}
		if c := m.Task.reached(amounts); m.missing(&c) > least+1e-12 {
			t.Errorf("case %d: rounded to %.5f, by trying all %.5f", k, m.missing(&c), least)
		}
		if m.Steered && rounded.Settled.PH < m.Settled.PH-0.02 && m.Settled.PH <= m.Task.PH+noticedPH && !m.Task.has(dosing.RoleBase) {
			t.Errorf("case %d: rounding took pH from %.2f to %.2f", k, m.Settled.PH, rounded.Settled.PH)
		}
	}
}

// The exact mixture meets all; what rounding leaves is told apart, with what to add,
// and adding it is exact again.
func TestRoundingIsToldApartWithWhatToAddByHand(t *testing.T) {
	row := stocksOf(t, "potash,potassium nitrate,80,g/L\nphosphate,monopotassium phosphate,30,g/L\nphosphate,smallest dose,60,mL\nnitric,nitric acid,38,%\nnitric,smallest dose,10,mL\n")
	m := mixed(t, Task{Recipe: wants(t, "K=212 mg/L, NO3-N=82 mg/L, P=14.5 mg/L"), Base: waterOf(t, "Ca=40 mg/L, HCO3=122 mg/L"), Stocks: row})
	rounded, volumes, err := m.Rounded(50)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Join(rounded.Reasons, "\n") != strings.Join(m.Reasons, "\n") {
		t.Errorf("rounding changed the reasons:\n%s", strings.Join(rounded.Reasons, "\n"))
	}
	if volumes[2] != 0 && math.Mod(volumes[2], 10) != 0 {
		t.Errorf("%g mL of acid", volumes[2])
	}
	says(t, []string{rounded.Rounding}, "whole smallest doses leave P at")
	says(t, []string{rounded.Rounding}, "mL of nitric")
}
