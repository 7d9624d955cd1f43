package blend

import (
	"errors"
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"
)

// A thousand waters and rows: a micronutrient with a stock of its own comes to its
// target, no stock is given to dilute, all together stay within a tenth of the
// volume; what cannot be so is refused with a strength that would do.
func TestEveryNutrientStaysWithinItsLimitsWhateverTheWater(t *testing.T) {
	r := rand.New(rand.NewPCG(39, 1))
	solved, outside, judged, worst := 0, 0, 0, 0.0
	refused := map[string]int{}
	for k := range 1000 {
		task := drawnTask(t, r)
		m, err := solve(task)
		var refusal *Refusal
		if errors.As(err, &refusal) {
			refused[strings.Join(strings.Fields(refusal.Problem)[:3], " ")]++
			var weak *TooWeak
			if errors.As(err, &weak) {
				tryStronger(t, k, task, weak)
			}
			continue
		}
		if err != nil {
			t.Errorf("case %d: %v", k, err)
			continue
		}
		solved++
		volume := 0.0
		for i := range m.Task.Stocks {
			if !m.Task.Stocks[i].Solid {
				volume += m.Amounts[i]
			}
		}
		if volume > 100+1e-6 {
			t.Errorf("case %d: the liquids take %.1f %% of the volume", k, volume/10)
		}
		for s := Fe; s <= Mo; s++ {
			if sole(m.Task.Stocks, s) < 0 {
				continue
			}
			judged++
			off := math.Abs(m.Off(s))
			worst = max(worst, off)
			if off > 0.2 {
				outside++
			}
			if off > 0.005 {
				t.Errorf("case %d: %s comes to %.3f of its target", k, s, 1+m.Off(s))
			}
		}
	}
	t.Logf("%d solved, %d micronutrients with a stock of their own, %d outside 0.8 to 1.2 of the target, worst %.3f off", solved, judged, outside, worst)
	var kinds []string
	for kind := range refused {
		kinds = append(kinds, kind)
	}
	sort.Strings(kinds)
	for _, kind := range kinds {
		t.Logf("refused %d: %s …", refused[kind], kind)
	}
	if solved < 700 {
		t.Errorf("only %d of 1000 are solved", solved)
	}
}

// tryStronger does what the refusal says would do.
func tryStronger(t *testing.T, k int, task Task, weak *TooWeak) {
	t.Helper()
	if !(weak.Times > 1) {
		t.Errorf("case %d: %v: %g times is no cure", k, weak, weak.Times)
	}
	for i := range task.Stocks {
		for _, name := range weak.Stocks {
			if task.Stocks[i].Name == name {
				task.Stocks[i].Content = Content{}.Plus(task.Stocks[i].Content, weak.Times)
			}
		}
	}
	if _, err := Solve(task); errors.As(err, &weak) {
		t.Errorf("case %d: made as strong as was said, it is refused again: %v", k, err)
	}
}

const hardWater = "Ca=104 mg/L, Mg=12 mg/L, Na=18 mg/L, Cl=30 mg/L, SO4=35 mg/L, HCO3=310 mg/L, pH=7.3"

// The farm that was told to run 81 % of iron stock on hard water.
func TestHardWaterTakesNoMoreIronThanSoftWater(t *testing.T) {
	row := stocksOf(t, goodRow+"ammonium,ammonium nitrate,40,g/L\niron,iron DTPA 11 %,12,g/L\ntraces,manganese sulfate monohydrate,1,g/L\ntraces,zinc sulfate heptahydrate,1.4,g/L\ntraces,boric acid,2.2,g/L\n")
	of := func(water string) float64 {
		m := mixed(t, Task{Recipe: named(t, "lettuce"), EC: 1.6, Stocks: row, Base: waterOf(t, water)})
		return m.Amounts[8]
	}
	soft, hard := of("Ca=12 mg/L, Mg=2.5 mg/L, Na=8.4 mg/L, Cl=13 mg/L, HCO3=49 mg/L"), of(hardWater)
	if math.Abs(hard/soft-1) > 0.001 {
		t.Errorf("%.3f mL/L of iron stock in hard water, %.3f in soft", hard, soft)
	}
}

func TestAStockOfManyMicronutrientsComesNearestToAllOfThem(t *testing.T) {
	// Twice as much boron as zinc wants: neither can be met, together they are nearest at
	// x = (1 + 2)/(1 + 4) = 0.6 of zinc and 1.2 of boron.
	row := stocksOf(t, "potash,potassium nitrate,100,g/L\ntraces,Zn,0.26152,g/L\ntraces,B,0.6486,g/L\n")
	m := mixed(t, Task{Recipe: wants(t, "K=200 mg/L, NO3-N=71.6 mg/L, Zn=4 µmol/L, B=30 µmol/L"), Stocks: row})
	if zn, b := m.Off(Zn)+1, m.Off(B)+1; math.Abs(zn-0.6) > 0.005 || math.Abs(b-1.2) > 0.005 {
		t.Errorf("zinc %.3f and boron %.3f of their targets", zn, b)
	}
}

func TestATracePumpHeldBelowItsNeedIsRefusedWithTheStrengthThatWouldDo(t *testing.T) {
	task := Task{Recipe: wants(t, "K=200 mg/L, NO3-N=71.6 mg/L, Fe=2 mg/L"), Base: waterOf(t, hardWater),
		Stocks: stocksOf(t, "potash,potassium nitrate,100,g/L\niron,iron DTPA 11 %,6,g/L\niron,at most,1,mL/L\n")}
	_, err := Solve(task)
	var weak *TooWeak
	if !errors.As(err, &weak) || !strings.Contains(err.Error(), "Fe would come to 0.66 mg/L, target 2 mg/L: iron reaches the most you allow; make it 3.03 times as strong, or allow 3.03 mL/L") {
		t.Fatalf("%v", err)
	}
	tryStronger(t, 0, task, weak)
}

func TestATraceOfItsOwnStockMayMissItsTargetByAFifthAndNoMore(t *testing.T) {
	for most, refused := range map[string]bool{"2.35": true, "2.5": false} { // of 3.03 mL/L: 0.78 and 0.83
		_, err := Solve(Task{Recipe: wants(t, "K=200 mg/L, NO3-N=71.6 mg/L, Fe=2 mg/L"), Base: waterOf(t, hardWater),
			Stocks: stocksOf(t, "potash,potassium nitrate,100,g/L\niron,iron DTPA 11 %,6,g/L\niron,at most,"+most+",mL/L\n")})
		if (err != nil) != refused {
			t.Errorf("at most %s mL/L: %v", most, err)
		}
	}
}

func TestAMicronutrientThatTheWaterBringsIsNoReasonToRefuse(t *testing.T) {
	row := stocksOf(t, "potash,potassium nitrate,100,g/L\nboron,boric acid,3,g/L\n")
	m := mixed(t, Task{Recipe: wants(t, "K=200 mg/L, NO3-N=71.6 mg/L, B=30 µmol/L"), Stocks: row, Base: waterOf(t, "Ca=40 mg/L, HCO3=122 mg/L, B=60 µmol/L")})
	if m.Amounts[1] != 0 {
		t.Errorf("%.3f mL/L of boron on top of twice the target", m.Amounts[1])
	}
	says(t, m.Reasons, "water brings 0.649 mg/L of B, target 0.324 mg/L")
	// A macronutrient's stock that brings it is one: it can be made without.
	row[0].Content[B] = 40
	_, err := Solve(Task{Recipe: wants(t, "K=200 mg/L, NO3-N=71.6 mg/L, B=30 µmol/L"), Stocks: row})
	if err == nil || !strings.Contains(err.Error(), "make those with less B") {
		t.Errorf("%v", err)
	}
}
