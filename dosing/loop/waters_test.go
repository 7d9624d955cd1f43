package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// pondBench is a tank of 100 L of which 60 stand in a pond that exchanges its water with
// the rest once in an hour; the two are stirred vessels, solved here in steps of a second.
type pondBench struct {
	*bench
	quick, pond struct{ ph, ec float64 }
	way         []struct {
		at       time.Duration
		acid, ec float64 // in the quick water
	}
	lagging struct{ acid, ec float64 }
}

const (
	pondSlow     = 0.6
	pondExchange = time.Hour
	pondBuffer   = 0.5
)

func newPondBench(t *testing.T, told float64, ph, ec float64) *pondBench {
	p := &pondBench{bench: newBench(t)}
	for i := range p.pumps {
		p.pumps[i].MinDose = 50
	}
	tank := p.l.tank
	tank.Slow, tank.Exchange = told, pondExchange
	p.totals = dosing.NewTotals(len(p.pumps), 1)
	p.l = NewLoops(0, tank, p.pumps, evenly(pondBuffer), p.totals)
	p.open()
	p.quick.ph, p.quick.ec = ph, ec
	p.pond = p.quick
	return p
}

// run lets time pass under the loops, or only watched, and calls look every five seconds.
func (p *pondBench) run(length time.Duration, doses bool, look func()) {
	tank := &p.l.tank
	for end := p.now.Up + length; p.now.Up < end; {
		for range 5 {
			p.now = p.now.Add(time.Second)
			for len(p.way) > 0 && p.way[0].at+tank.DeadTime <= p.now.Up {
				p.lagging.acid += p.way[0].acid
				p.lagging.ec += p.way[0].ec
				p.way = p.way[1:]
			}
			mixed := 1 - math.Exp(-1/tank.TimeConstant.Seconds())
			p.quick.ph -= p.lagging.acid * mixed / pondBuffer
			p.quick.ec += p.lagging.ec * mixed
			p.lagging.acid *= 1 - mixed
			p.lagging.ec *= 1 - mixed
			swapped := 1 / pondExchange.Seconds()
			dph, dec := p.quick.ph-p.pond.ph, p.quick.ec-p.pond.ec
			p.pond.ph += dph * swapped
			p.pond.ec += dec * swapped
			p.quick.ph -= dph * swapped * pondSlow / (1 - pondSlow)
			p.quick.ec -= dec * swapped * pondSlow / (1 - pondSlow)
		}
		p.read(dosing.QuantityPH, p.quick.ph, dosing.QualityGood)
		p.read(dosing.QuantityEC, p.quick.ec, dosing.QualityGood)
		if look != nil {
			look()
		}
		if !doses || p.now.Up%(10*time.Second) != 0 {
			continue
		}
		if plan, ok := p.next(); ok {
			p.give(plan)
		}
	}
}

func (p *pondBench) give(plan dosing.Plan) {
	plan.Volume = min(plan.Volume, dosing.FromMillilitres(20))
	p.deliver(plan)
	perLitre := plan.Volume.Millilitres() / (float64(p.l.tank.Volume) * (1 - pondSlow))
	p.way = append(p.way, struct {
		at       time.Duration
		acid, ec float64
	}{p.now.Up, perLitre * p.pumps[plan.Pump].AcidPerML, perLitre * p.pumps[plan.Pump].ECPerML})
}

func TestWhatLeaksIntoAPondIsNeitherDriftNorAStrongStock(t *testing.T) {
	for _, told := range []float64{0, pondSlow} {
		p := newPondBench(t, told, 5.8, 1.6)
		p.target = dosing.Target{PH: 5.8, EC: 2}
		p.run(2*time.Hour, true, nil)
		_, ec := p.l.Learned()
		gain := math.Exp(-ec.Scale.Mean)
		if right := math.Abs(gain-1) < 0.15; right != (told > 0) {
			t.Errorf("told of %.0f %% slow water: the stocks are believed to do %.2f of what they should", 100*told, gain)
		}
		if told > 0 && math.Abs(p.l.Estimate(p.now, p.target).DriftEC) > 0.03 {
			t.Errorf("a drift of %.3f mS/cm an hour was learned, and there is none", p.l.Estimate(p.now, p.target).DriftEC)
		}
	}
}

func TestATankWithAPondIsFilledAndHeld(t *testing.T) {
	p := newPondBench(t, pondSlow, 6.3, 1.4)
	p.target = dosing.Target{PH: 5.8, EC: 2}
	p.run(90*time.Minute, true, nil)
	in, all, most := 0, 0, 0.0
	p.run(5*time.Hour, true, func() {
		all++
		if math.Abs(p.quick.ph-5.8) <= dosing.StartBand.PH && math.Abs(p.quick.ec-2) <= dosing.StartBand.EC {
			in++
		}
		most = max(most, p.quick.ec)
	})
	if share := float64(in) / float64(all); share < 0.98 || most > 2.08 {
		t.Errorf("in band %.3f of the time, EC up to %.3f", share, most)
	}
	if math.Abs(p.pond.ec-2) > 0.03 {
		t.Errorf("the pond has EC %.2f", p.pond.ec)
	}
}

// The difference of the two waters is known by what was dosed alone, and goes on fading
// while nobody measures.
func TestTheWatersMixOnWhileNobodyMeasures(t *testing.T) {
	p := newPondBench(t, pondSlow, 5.8, 1.6)
	p.run(5*time.Minute, false, nil)
	p.give(dosing.Plan{Pump: 2, Volume: 20 * dosing.Millilitre})
	p.run(6*time.Minute, false, nil)
	before := p.l.Estimate(p.now, p.target).ApartEC
	if math.Abs(before-(p.quick.ec-p.pond.ec)) > 0.01 || before < 0.05 {
		t.Fatalf("%.3f mS/cm apart, truly %.3f", before, p.quick.ec-p.pond.ec)
	}
	p.now = p.now.Add(30 * time.Minute) // φT = 24 min
	p.read(dosing.QuantityEC, 1.66, dosing.QualityGood)
	p.read(dosing.QuantityPH, 5.8, dosing.QualityGood)
	if after, want := p.l.Estimate(p.now, p.target).ApartEC, before*math.Exp(-30.0/24); math.Abs(after-want) > 0.005 {
		t.Errorf("%.3f mS/cm apart after half an hour without a reading, want %.3f", after, want)
	}
}

func TestATankOfOneWaterHasNoLeak(t *testing.T) {
	for _, tank := range []dosing.Tank{{Volume: 100}, {Volume: 100, Slow: 0.5}, {Volume: 100, Slow: 1, Exchange: time.Hour}} {
		w := watersOf(tank)
		if leaked := w.pass(time.Hour, 1); leaked != 0 || w.apart != 0 {
			t.Errorf("%+v leaks %g", tank, leaked)
		}
	}
	w := watersOf(dosing.Tank{Volume: 100, Slow: pondSlow, Exchange: pondExchange})
	w.apart = 0.5
	if all := w.leak(1000 * time.Hour); math.Abs(all-pondSlow*0.5) > 1e-12 {
		t.Errorf("%g of 0.5 leaks in the end, want the slow share of it", all)
	}
}

func TestANewShareOfSlowWaterIsTakenByARunningTank(t *testing.T) {
	p := newPondBench(t, 0, 5.8, 1.6)
	p.run(5*time.Minute, false, nil)
	tank := p.l.tank
	tank.Slow, tank.Exchange = pondSlow, pondExchange
	p.l.Reconfigure(tank, p.pumps, evenly(pondBuffer))
	p.give(dosing.Plan{Pump: 2, Volume: 20 * dosing.Millilitre})
	p.run(6*time.Minute, false, nil)
	if apart := p.l.Estimate(p.now, p.target).ApartEC; math.Abs(apart-(p.quick.ec-p.pond.ec)) > 0.01 {
		t.Errorf("%.3f mS/cm apart, truly %.3f", apart, p.quick.ec-p.pond.ec)
	}
	p.l.Reconfigure(newBench(t).l.tank, p.pumps, evenly(pondBuffer))
	if apart := p.l.Estimate(p.now, p.target).ApartEC; apart != 0 {
		t.Errorf("told that there is no pond: %.3f mS/cm apart", apart)
	}
}
