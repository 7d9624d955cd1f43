package ratio

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"leat/dosing/blend"
)

func TestTheAccountComesBackAfterARestart(t *testing.T) {
	f := newFarm(t, plan(t, nitric))
	f.analyse(rand.New(rand.NewPCG(5, 5)), t)
	f.day(t, 0.25, 30)
	record := f.tank.Record()
	if len(record) > 1900 {
		t.Errorf("the record has %d bytes; a row of the ledger holds 2000", len(record))
	}
	other := begin(t, f.plan)
	if err := other.Restore(record); err != nil {
		t.Fatal(err)
	}
	for s := blend.NO3; s < blend.Carbon; s++ {
		if math.Abs(other.Content()[s]-f.tank.Content()[s]) > 1e-3*f.tank.Content()[s] || math.Abs(other.Off(s)-f.tank.Off(s)) > 0.01*f.tank.Off(s)+1e-9 {
			t.Errorf("%s: %.4f ± %.4f, was %.4f ± %.4f", s, other.Content()[s], other.Off(s), f.tank.Content()[s], f.tank.Off(s))
		}
	}
	if !other.Analysed().Equal(f.tank.Analysed()) {
		t.Errorf("analysed at %v, was %v", other.Analysed(), f.tank.Analysed())
	}
	for _, bad := range []string{"", "ions-2" + record[6:], record[:100], strings.Replace(record, ",", ",NaN,", 1), strings.Replace(record, ";", ";-", 1), record + ";1"} {
		if err := other.Restore(bad); err == nil {
			t.Errorf("%.30q… is taken", bad)
		}
	}
}

func FuzzRestoreTakesOnlyWhatItWrote(f *testing.F) {
	recipe, _ := blend.RecipeNamed("lettuce")
	stocks, err := blend.ReadStocks("stock,holds,amount,unit\n" + singles + nitric)
	if err != nil {
		f.Fatal(err)
	}
	tank, err := New(&Plan{Recipe: recipe, Stocks: stocks, Litres: 1000, EC: 1.8, PH: 5.8})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(tank.Record())
	f.Add("ions-1;;;")
	f.Fuzz(func(t *testing.T, record string) {
		other := *tank
		if err := other.Restore(record); err != nil {
			return
		}
		again := other.Record()
		if err := other.Restore(again); err != nil || other.Record() != again {
			t.Errorf("%q was taken, and reads back as another (%v)", record, err)
		}
		other.Follow(time.Minute, 1.8, 5.8)
		other.Solve()
		for s, v := range other.Content() {
			if math.IsNaN(v) || v < 0 {
				t.Errorf("%q: %v of %s", record, v, blend.Substance(s))
			}
		}
	})
}
