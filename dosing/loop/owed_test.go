package loop

import (
	"math"
	"math/rand"
	"testing"
	"time"

	"leat/dosing"
)

// giveBlend delivers stocks until nothing more is planned and tells the order.
func giveBlend(b *bench) (order []dosing.PumpID, given []dosing.Volume) {
	given = make([]dosing.Volume, len(b.pumps))
	b.limits[acidPump], b.limits[basePump] = 0, 0
	for range 40 {
		plan, ok := b.next()
		if !ok {
			return order, given
		}
		b.deliver(plan)
		order = append(order, plan.Pump)
		given[plan.Pump] += plan.Volume
	}
	b.t.Fatal("the blend has no end")
	return nil, nil
}

func TestABlendKeepsItsProportions(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.85, time.Minute)
	_, given := giveBlend(b)
	all := given[calcium] + given[sulfate] + given[iron]
	for _, id := range []dosing.PumpID{calcium, sulfate, iron} {
		if off := given[id].Millilitres() - b.pumps[id].Share*all.Millilitres(); math.Abs(off) > b.pumps[id].MinDose.Millilitres() {
			t.Errorf("%s: %v of %v, %.2f mL off its share", b.pumps[id].Name, given[id], all, off)
		}
	}
	if all == 0 {
		t.Fatal("nothing was given")
	}
}

func TestWhatADoseLeavesOfABlendIsOwed(t *testing.T) {
	b := newBench(t)
	b.limits[acidPump], b.limits[basePump] = 0, 0
	b.stand(5.8, 1.7, time.Minute)
	plan, ok := b.next()
	if !ok || b.l.Owed()[plan.Pump] < 2*b.pumps[plan.Pump].MinDose {
		t.Fatalf("planned %+v of %v", plan, b.l.Owed())
	}
	owed := b.l.Owed()[plan.Pump]
	plan.Volume = b.pumps[plan.Pump].MinDose
	b.deliver(plan)
	if rest := b.l.Owed()[plan.Pump]; rest != owed-plan.Volume {
		t.Errorf("%s of %s given, %s are owed", plan.Volume, owed, rest)
	}
}

func TestProportionsHoldOverANightOfSmallBlends(t *testing.T) {
	b := newBench(t)
	r := rand.New(rand.NewSource(3))
	given := make([]dosing.Volume, len(b.pumps))
	b.limits[acidPump], b.limits[basePump] = 0, 0
	for range 600 {
		b.stand(5.8, 1.96+r.Float64()*0.03, time.Minute)
		if plan, ok := b.next(); ok {
			b.deliver(plan)
			given[plan.Pump] += plan.Volume
		}
	}
	// What is still owed counts: a blend is owed whole.
	all := 0.0
	for id, v := range b.l.Owed() {
		given[id] += v
		all += given[id].Millilitres()
	}
	for _, id := range []dosing.PumpID{calcium, sulfate, iron} {
		near(t, b.pumps[id].Name, given[id].Millilitres(), all*b.pumps[id].Share, 0.002)
	}
	if all < 100 {
		t.Fatalf("only %.0f mL in ten hours: the test shows nothing", all)
	}
}

func TestOneGroupIsFinishedBeforeAnotherStarts(t *testing.T) {
	b := newBench(t)
	b.pumps[iron].Group = dosing.GroupCalcium
	b.restart()
	b.stand(5.8, 1.5, time.Minute)
	for i := range b.limits {
		b.limits[i] = 8 * dosing.Millilitre // each stock needs several doses
	}
	b.limits[acidPump], b.limits[basePump] = 0, 0
	last, doses := dosing.PumpID(0), 0
	for plan, ok := b.next(); ok && doses < 100; plan, ok = b.next() {
		if group := b.pumps[plan.Pump].Group; doses > 0 && group != b.pumps[last].Group {
			for id := calcium; id <= iron; id++ {
				if b.pumps[id].Group == b.pumps[last].Group && b.l.Owed()[id] >= b.pumps[id].MinDose {
					t.Errorf("dose %d is %s while %s is still owed %v", doses, b.pumps[plan.Pump].Name, b.pumps[id].Name, b.l.Owed()[id])
				}
			}
		}
		last = plan.Pump
		doses++
		b.deliver(plan)
	}
	if doses < 20 {
		t.Errorf("only %d doses: the test shows nothing", doses)
	}
}

func TestAnInterruptedBlendComesFirst(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.85, time.Minute)
	b.deliver(b.wants(calcium, "EC low"))
	b.limits[calcium], b.limits[sulfate], b.limits[iron] = 0, 0, 0
	b.stand(5.8, 1.85, 30*time.Minute)
	b.wantsNothing("all stocks held")
	b.open()
	if p := b.wants(sulfate, "hold over"); p.Reason != dosing.ReasonBlendOwed {
		t.Errorf("reason %v", p.Reason)
	}
}

func TestAnInterruptedBlendWaitsWhileECIsHigh(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.85, time.Minute)
	b.deliver(b.wants(calcium, "EC low"))
	owed := b.l.Owed()[sulfate]
	b.stand(5.8, 2.2, 10*time.Minute)
	b.wantsNothing("EC 0.2 high")
	if b.l.Owed()[sulfate] != owed {
		t.Errorf("owed %v became %v", owed, b.l.Owed()[sulfate])
	}
}

func TestAWithdrawnOrStoppedStockIsOwedAgain(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.85, time.Minute)
	plan := b.wants(calcium, "EC low")
	owed := b.l.Owed()[calcium]
	d := b.begin(plan)
	if got := b.l.Owed()[calcium]; got != owed-d.Volume {
		t.Errorf("opened: owed %v, want %v", got, owed-d.Volume)
	}
	b.totals.Settle(d.Pump, d.Key, 0, b.now.Up)
	b.l.Closed(d, 0, false)
	if got := b.l.Owed()[calcium]; got != owed {
		t.Errorf("withdrawn: owed %v, want %v", got, owed)
	}
	d = b.begin(plan)
	b.totals.Settle(d.Pump, d.Key, d.Volume/2, b.now.Up)
	b.l.Closed(d, d.Volume/2, true)
	if got := b.l.Owed()[calcium]; got != owed-d.Volume/2 {
		t.Errorf("stopped half-way: owed %v, want %v", got, owed-d.Volume/2)
	}
}

func TestWhatIsOwedAndLearnedSurvivesARestart(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.85, time.Minute)
	b.deliver(b.wants(calcium, "EC low"))
	owed := append([]dosing.Volume(nil), b.l.Owed()...)
	b.restart()
	b.l.Restore(owed, Learned{Scale: dosing.Belief{Mean: 0.4, Spread: 0.2}}, Learned{})
	b.stand(5.8, 1.85, time.Minute)
	b.wants(sulfate, "restarted with sulfate owed")
	near(t, "ln buffer", b.l.Estimate(b.now, b.target).LnBuffer, 0.4, 1e-9)
	for _, bad := range [][2]float64{{math.NaN(), 0.2}, {0.4, math.NaN()}, {2, 0.2}, {0.4, 0}, {math.Inf(1), 0.2}} {
		b.restart()
		b.l.Restore(owed, Learned{Scale: dosing.Belief{Mean: bad[0], Spread: bad[1]}, Drift: dosing.Belief{Mean: bad[0], Spread: bad[1]}}, Learned{})
		if e := b.l.Estimate(b.now, b.target); e.LnBuffer != 0 || e.LnBufferSpread != 0.55 || !finite(e.DriftAcid) {
			t.Errorf("restored from %v: %v ± %v", bad, e.LnBuffer, e.LnBufferSpread)
		}
	}
}

func TestAMissingMacroStockHoldsTheNextBlend(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.5, time.Minute)
	b.limits[sulfate] = 0
	_, given := giveBlend(b)
	// One portion of 0.2 mS/cm is 100 mL of blend, 50 mL of it calcium.
	if given[calcium] > 51*dosing.Millilitre {
		t.Errorf("%v of calcium without its sulfate", given[calcium])
	}
}

func TestAMissingTraceStockHoldsNobodyForLong(t *testing.T) {
	b := newBench(t)
	b.limits[iron] = 0
	given := make([]dosing.Volume, len(b.pumps))
	for range 60 {
		b.stand(5.8, 1.8, 2*time.Minute)
		if plan, ok := b.next(); ok {
			b.deliver(plan)
			given[plan.Pump] += plan.Volume
		}
	}
	if given[calcium] < 200*dosing.Millilitre || given[iron] != 0 {
		t.Errorf("given %v: the row stands still for want of iron", given)
	}
}

// In a small tank of a row that is laid out for a large one, what is owed of eight stocks
// and too little to give is more than the start band.
func TestWhatIsTooLittleToGiveOfManyStocksKeepsNoTankLow(t *testing.T) {
	b := newBench(t)
	b.pumps = b.pumps[:calcium]
	for range 8 {
		b.pumps = append(b.pumps, dosing.Pump{Role: dosing.RoleStock, Group: dosing.GroupNeutral, MacroIon: true, Share: 1.0 / 8, ECPerML: 0.2, MinDose: 8 * dosing.Millilitre, PerSecond: dosing.Litre / 60})
	}
	b.restart()
	b.open()
	owed, given := make([]dosing.Volume, len(b.pumps)), make([]dosing.Volume, len(b.pumps))
	for id := calcium; int(id) < len(b.pumps); id++ {
		owed[id] = 7*dosing.Millilitre - dosing.Volume(id) // .014 mS/cm of each
	}
	b.l.Restore(owed, Learned{}, Learned{})
	for range 12 {
		b.stand(5.8, 1.94, 10*time.Minute)
		plan, ok := b.next()
		if !ok {
			t.Fatalf("EC is .06 low and nothing is given; owed %v", b.l.Owed())
		}
		given[plan.Pump] += plan.Volume
		b.deliver(plan)
	}
	// A blend is owed whole: what was given and what is still owed is alike.
	for id := calcium; int(id) < len(b.pumps); id++ {
		of := func(id dosing.PumpID) float64 { return (given[id] + b.l.Owed()[id] - owed[id]).Millilitres() }
		near(t, "given and owed", of(id), of(calcium), 0.02)
		if given[id] == 0 {
			t.Errorf("stock %d gave nothing: %v", id, given)
		}
	}
}

func TestACoarseRowHoldsItsTankWithinTheBand(t *testing.T) {
	b := newBench(t)
	for _, id := range []dosing.PumpID{calcium, sulfate, iron} {
		b.pumps[id].MinDose = 10 * dosing.Millilitre // .02 mS/cm; of the smallest whole blend .04
	}
	b.pumps[calcium].Share, b.pumps[sulfate].Share, b.pumps[iron].Share = 0.34, 0.33, 0.33
	b.restart()
	b.stand(5.8, 1.975, time.Minute)
	plan, ok := b.next()
	if !ok || plan.Volume > 12*dosing.Millilitre {
		t.Errorf(".025 low: %+v %v, want one smallest dose", plan, ok)
	}
	wanted := make([]bool, len(b.pumps))
	b.l.Wanted(b.now, b.target, wanted)
	if !wanted[plan.Pump] {
		t.Errorf("the dose of %d that is due is not said to be wanted: %v", plan.Pump, wanted)
	}
	b.deliver(plan)
	b.stand(5.8, 1.985, 20*time.Minute)
	b.wantsNothing(".015 low, less than the dead band of a coarse row")
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %v, want %v ± %v", what, got, want, within)
	}
}
