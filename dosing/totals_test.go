package dosing

import (
	"math"
	"math/rand"
	"testing"
	"time"
)

func TestRollingHourAndDayForgetWhatIsOlder(t *testing.T) {
	totals := NewTotals(1, 1)
	totals.Count(Dose{Key: 1, Volume: 5 * Millilitre, Up: 0})
	totals.Count(Dose{Key: 2, Volume: 7 * Millilitre, Up: 30 * time.Minute})
	for _, c := range []struct {
		up        time.Duration
		hour, day Volume
	}{
		{59*time.Minute + 59*time.Second, 12 * Millilitre, 12 * Millilitre},
		{time.Hour, 7 * Millilitre, 12 * Millilitre},
		{90 * time.Minute, 0, 12 * Millilitre},
		{24 * time.Hour, 0, 7 * Millilitre},
		{25 * time.Hour, 0, 0},
	} {
		if h, d := totals.Hour(0, c.up), totals.Day(0, c.up); h != c.hour || d != c.day {
			t.Errorf("at %v: hour %v, day %v; want %v, %v", c.up, h, d, c.hour, c.day)
		}
	}
	if totals.Ever(0) != 12*Millilitre {
		t.Errorf("ever %v, want 12 mL", totals.Ever(0))
	}
}

func TestADoseCountsFromItsDeliveryNotFromItsIntent(t *testing.T) {
	totals := NewTotals(1, 1)
	totals.Count(Dose{Key: 1, Volume: 5 * Millilitre, Up: 0, Open: true})
	if !totals.Settle(0, 1, 4*Millilitre, 10*time.Minute) {
		t.Fatal("the dose is not known")
	}
	if h := totals.Hour(0, 65*time.Minute); h != 4*Millilitre {
		t.Errorf("55 min after delivery the hour holds %v, want 4 mL", h)
	}
	if h := totals.Hour(0, 70*time.Minute); h != 0 {
		t.Errorf("an hour after delivery the hour holds %v, want nothing", h)
	}
}

func TestAnOpenDoseLeavesNoWindow(t *testing.T) {
	totals := NewTotals(1, 1)
	totals.Count(Dose{Key: 1, Volume: 5 * Millilitre, Up: 0, Open: true})
	if h, d := totals.Hour(0, 30*time.Hour), totals.Day(0, 30*time.Hour); h != 5*Millilitre || d != 5*Millilitre {
		t.Errorf("hour %v, day %v; an open dose may still be delivered and counts in full", h, d)
	}
	totals.Settle(0, 1, 5*Millilitre, 30*time.Hour)
	if h := totals.Hour(0, 31*time.Hour); h != 0 {
		t.Errorf("an hour after it settled the hour holds %v", h)
	}
}

func TestAWithdrawnDoseCountsNothing(t *testing.T) {
	totals := NewTotals(1, 1)
	totals.Count(Dose{Key: 9, Volume: 5 * Millilitre, Up: time.Second, Open: true})
	totals.Settle(0, 9, 0, 2*time.Second)
	tank := Tank{Volume: 100, DeadTime: time.Minute, TimeConstant: time.Minute}
	acid, _, _ := totals.InTransit(0, []Pump{{AcidPerML: 1}}, tank, 3*time.Second)
	if totals.Hour(0, 3*time.Second) != 0 || totals.Ever(0) != 0 || acid != 0 {
		t.Errorf("hour %v, ever %v, in transit %v meq/L; want nothing", totals.Hour(0, 3*time.Second), totals.Ever(0), acid)
	}
}

func TestSettlingAnUnknownDoseIsReported(t *testing.T) {
	totals := NewTotals(2, 1)
	totals.Count(Dose{Key: 1, Pump: 0, Volume: Millilitre, Open: true})
	if totals.Settle(1, 1, Millilitre, time.Second) || totals.Settle(0, 2, Millilitre, time.Second) {
		t.Error("a dose of another pump or key was settled")
	}
}

// Against a plain list that is summed anew every time.
func TestWindowsAgreeWithAPlainSum(t *testing.T) {
	r := rand.New(rand.NewSource(7))
	totals := NewTotals(1, 1)
	type entry struct {
		at     time.Duration
		volume Volume
		open   bool
	}
	var list []entry
	var up time.Duration
	open := -1
	for key := range 6000 {
		up += time.Duration(r.Intn(int(4 * time.Minute)))
		switch {
		case open >= 0 && r.Intn(2) == 0:
			v := Volume(r.Intn(5000))
			totals.Settle(0, uint64(open), v, up)
			list[open].at, list[open].volume, list[open].open = up, v, false
			open = -1
		case open < 0:
			v := Volume(r.Intn(5000))
			totals.Count(Dose{Key: uint64(len(list)), Volume: v, Up: up, Open: true})
			list = append(list, entry{up, v, true})
			open = len(list) - 1
		}
		var hour, all Volume
		for _, e := range list {
			if e.open || e.at > up-time.Hour {
				hour += e.volume
			}
			if e.open || e.at > up-24*time.Hour {
				all += e.volume
			}
		}
		if h, d := totals.Hour(0, up), totals.Day(0, up); h != hour || d != all {
			t.Fatalf("step %d: hour %v, day %v; want %v, %v", key, h, d, hour, all)
		}
	}
	if n := len(totals.pumps[0].doses); n > 4096 {
		t.Errorf("%d doses are remembered after %v; memory must stay flat", n, up)
	}
}

func TestADoseIsWholeInTheDeadTimeAndThenDecays(t *testing.T) {
	d := Dose{Volume: Millilitre, Up: time.Hour}
	const deadTime, lag = time.Minute, 2 * time.Minute
	for _, c := range []struct {
		age  time.Duration
		want float64
	}{{-time.Minute, 1}, {0, 1}, {time.Minute, 1}, {3 * time.Minute, math.Exp(-1)}, {5 * time.Minute, math.Exp(-2)}, {15 * time.Minute, math.Exp(-7)}} {
		if got := d.Remaining(time.Hour+c.age, deadTime, lag); math.Abs(got-c.want) > 1e-14 {
			t.Errorf("after %v %v of it remains, want %v", c.age, got, c.want)
		}
	}
	d.Open = true
	if got := d.Remaining(100*time.Hour, deadTime, lag); got != 1 {
		t.Errorf("an open dose is wholly in transit, got %v", got)
	}
	d.Open = false
	if got := d.Remaining(2*time.Hour, deadTime, 0); got != 0 {
		t.Errorf("without a lag nothing remains after the dead time, got %v", got)
	}
}

func TestInTransitFallsOnlyByTheMixingLaw(t *testing.T) {
	pumps := []Pump{{AcidPerML: 0.5, ECPerML: 0.02}, {AcidPerML: -0.4, ECPerML: 0.02}, {ECPerML: 0.2, AcidPerML: 0.01}}
	tank := Tank{Volume: 50, DeadTime: 30 * time.Second, TimeConstant: time.Minute}
	totals := NewTotals(3, 2)
	for p := range PumpID(3) {
		totals.Count(Dose{Key: uint64(p), Pump: p, Volume: 10 * Millilitre, Up: 0})
		totals.Count(Dose{Key: uint64(p) + 10, Pump: p, Tank: 1, Volume: 999 * Millilitre, Up: 0})
	}
	acid, base, ec := totals.InTransit(0, pumps, tank, 30*time.Second)
	near(t, "acid", acid, 10*0.5/50+10*0.01/50, 1e-12)
	near(t, "base", base, 10*0.4/50, 1e-12)
	near(t, "EC", ec, 10*0.24/50, 1e-12)
	before := acid
	for up := 30 * time.Second; up <= 7*time.Minute+30*time.Second; up += 10 * time.Second {
		acid, _, _ = totals.InTransit(0, pumps, tank, up)
		near(t, "acid", acid, before*math.Exp(-(up-30*time.Second).Seconds()/60), 1e-12)
	}
	if acid, base, ec = totals.InTransit(0, pumps, tank, 8*time.Minute); acid != 0 || base != 0 || ec != 0 {
		t.Errorf("after θ + 7τ less than 0.1 %% is unmixed and nothing counts; got %v, %v, %v", acid, base, ec)
	}
}

func TestATankOfUnknownSizeIsFull(t *testing.T) {
	acid, base, ec := NewTotals(1, 1).InTransit(0, nil, Tank{}, 0)
	if !math.IsInf(acid, 1) || !math.IsInf(base, 1) || !math.IsInf(ec, 1) {
		t.Errorf("in transit %v, %v, %v; want infinite, which no cap lets pass", acid, base, ec)
	}
}

// Against the standard library's exponential.
func TestExponentialAgreesWithTheLibrary(t *testing.T) {
	for x := -699.0; x < 699; x += 0.37 {
		if got, want := Exponential(x), math.Exp(x); math.Abs(got-want) > 1e-15*want {
			t.Fatalf("e^%v = %v, want %v", x, got, want)
		}
	}
	if Exponential(-800) != 0 || !math.IsInf(Exponential(800), 1) || !math.IsNaN(Exponential(math.NaN())) {
		t.Error("limits are wrong")
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %v, want %v ± %v", what, got, want, within)
	}
}

func TestADoseWithoutAWordCountsFromWhenItWasGivenUpAndIsOnItsWayFromTheFirstDoubt(t *testing.T) {
	totals := NewTotals(1, 1)
	totals.Count(Dose{Key: 1, Volume: 4 * Millilitre, Open: true})
	doubted, givenUp := time.Minute, 15*time.Minute
	if !totals.SettleDoubted(0, 1, 4*Millilitre, doubted, givenUp) {
		t.Fatal("the dose is not known")
	}
	if got := totals.Hour(0, givenUp+59*time.Minute); got != 4*Millilitre {
		t.Errorf("59 minutes after it was given up the hour holds %s", got)
	}
	if got := totals.Hour(0, givenUp+61*time.Minute); got != 0 {
		t.Errorf("61 minutes after, it holds %s", got)
	}
	totals.EachInTransit(0, givenUp, time.Minute, 0, func(d *Dose, _ float64) {
		t.Errorf("%v after the doubt the dose is on its way still", givenUp-doubted)
	})
}

// The sum of a pump only rises: a counter that falls when an entry is voided reads as a
// restart to whoever watches it.
func TestWhatAPersonPouredIsNeverSaidToHaveGoneThroughThePump(t *testing.T) {
	totals := NewTotals(1, 1)
	totals.Count(Dose{Key: 1, Volume: 4 * Millilitre, Up: time.Second, Open: true})
	totals.Settle(0, 1, 3*Millilitre, 2*time.Second)
	totals.Count(Dose{Key: 2, Volume: 30 * Millilitre, Up: 3 * time.Second, Hand: true})
	if totals.Ever(0) != 3*Millilitre || totals.Hour(0, 4*time.Second) != 33*Millilitre {
		t.Errorf("with the entry: ever %s, in the hour %s", totals.Ever(0), totals.Hour(0, 4*time.Second))
	}
	if !totals.Void(0, 2) || totals.Ever(0) != 3*Millilitre || totals.Hour(0, 4*time.Second) != 3*Millilitre {
		t.Errorf("after it was voided: ever %s, in the hour %s", totals.Ever(0), totals.Hour(0, 4*time.Second))
	}
}
