package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// evenly is a titration curve of one buffer capacity, meq/L per pH.
type evenly float64

func (b evenly) AcidNeeded(from, to float64) float64 { return (from - to) * float64(b) }
func (b evenly) PHAfter(from, acid float64) float64  { return from - acid/float64(b) }
func (b evenly) Buffer(float64) float64              { return float64(b) }

// bench is a tank of 100 L with five pumps in which everything can be counted in
// the head: 1 mL of acid is 0.005 meq/L and 0.01 pH, 1 mL of stock 0.002 mS/cm.
type bench struct {
	t      testing.TB
	l      *Loops
	totals *dosing.Totals
	pumps  []dosing.Pump
	limits []dosing.Volume
	target dosing.Target
	now    dosing.Instant
	key    uint64
}

const (
	acidPump dosing.PumpID = iota
	basePump
	calcium
	sulfate
	iron
)

func newBench(t testing.TB) *bench {
	b := &bench{t: t, target: dosing.Target{PH: 5.8, EC: 2}, pumps: []dosing.Pump{
		{Name: "acid", Role: dosing.RoleAcid, Group: dosing.GroupAcid, AcidPerML: 0.5, MinDose: dosing.Millilitre, PerSecond: dosing.Millilitre},
		{Name: "base", Role: dosing.RoleBase, Group: dosing.GroupBase, AcidPerML: -0.5, MinDose: dosing.Millilitre, PerSecond: dosing.Millilitre},
		{Name: "calcium", Role: dosing.RoleStock, Group: dosing.GroupCalcium, ECPerML: 0.2, Share: 0.5, MacroIon: true, MinDose: 2 * dosing.Millilitre, PerSecond: 10 * dosing.Millilitre},
		{Name: "sulfate", Role: dosing.RoleStock, Group: dosing.GroupSulfate, ECPerML: 0.2, Share: 0.4, MacroIon: true, MinDose: 2 * dosing.Millilitre, PerSecond: 10 * dosing.Millilitre},
		{Name: "iron", Role: dosing.RoleStock, Group: dosing.GroupChelate, ECPerML: 0.2, Share: 0.1, MinDose: 2 * dosing.Millilitre, PerSecond: 10 * dosing.Millilitre},
	}}
	b.restart()
	b.open()
	return b
}

// restart gives the tank new loops and empty totals.
func (b *bench) restart() {
	tank := dosing.Tank{Volume: 100, DeadTime: 30 * time.Second, TimeConstant: time.Minute, BufferScale: 1, PHNoise: 0.01, ECNoise: 0.005,
		TopUp: dosing.Water{Alkalinity: 2, EC: 0.2}}
	b.totals = dosing.NewTotals(len(b.pumps), 1)
	b.l = NewLoops(0, tank, b.pumps, evenly(0.5), b.totals)
}

// open lets the gate allow everything.
func (b *bench) open() {
	b.limits = make([]dosing.Volume, len(b.pumps))
	for i := range b.limits {
		b.limits[i] = dosing.Litre
	}
}

func (b *bench) read(q dosing.Quantity, value float64, quality dosing.Quality) {
	r, err := dosing.NewReading(0, q, value, b.now, 0, false)
	if err != nil {
		b.t.Fatal(err)
	}
	b.l.Read(r, quality)
}

// stand lets the readings stand for a while.
func (b *bench) stand(ph, ec float64, length time.Duration) {
	for end := b.now.Up + length; b.now.Up < end; {
		b.now = b.now.Add(5 * time.Second)
		b.read(dosing.QuantityPH, ph, dosing.QualityGood)
		b.read(dosing.QuantityEC, ec, dosing.QualityGood)
	}
}

func (b *bench) next() (dosing.Plan, bool) {
	b.t.Helper()
	plan, ok := b.l.Next(b.now, b.target, b.limits)
	if ok {
		p := &b.pumps[plan.Pump]
		if plan.Volume < p.MinDose || plan.Volume > b.limits[plan.Pump] || plan.Reason == dosing.ReasonNone {
			b.t.Errorf("plan %+v: outside %v … %v, or without a reason", plan, p.MinDose, b.limits[plan.Pump])
		}
	}
	return plan, ok
}

// deliver opens and closes a plan as the core does.
func (b *bench) deliver(plan dosing.Plan) dosing.Dose {
	d := b.begin(plan)
	b.totals.Settle(d.Pump, d.Key, d.Volume, b.now.Up)
	b.l.Closed(d, d.Volume, true)
	return d
}

func (b *bench) begin(plan dosing.Plan) dosing.Dose {
	b.key++
	d := dosing.Dose{Key: b.key, Pump: plan.Pump, Volume: plan.Volume, Up: b.now.Up, Open: true}
	b.totals.Count(d)
	b.l.Opened(d)
	return d
}

func (b *bench) wants(pump dosing.PumpID, why string) dosing.Plan {
	b.t.Helper()
	plan, ok := b.next()
	if !ok || plan.Pump != pump {
		b.t.Fatalf("%s: got %+v %v, want pump %s", why, plan, ok, b.pumps[pump].Name)
	}
	return plan
}

func (b *bench) wantsNothing(why string) {
	b.t.Helper()
	if plan, ok := b.next(); ok {
		b.t.Fatalf("%s: got %+v, want no plan", why, plan)
	}
}

func TestHighPHAsksForAcidAndLowForBase(t *testing.T) {
	b := newBench(t)
	b.stand(6.3, 2, time.Minute)
	if p := b.wants(acidPump, "pH 6.3"); p.Reason != dosing.ReasonPHHigh {
		t.Errorf("reason %v", p.Reason)
	}
	b.restart()
	b.stand(5.3, 2, time.Minute)
	if p := b.wants(basePump, "pH 5.3"); p.Reason != dosing.ReasonPHLow {
		t.Errorf("reason %v", p.Reason)
	}
}

// The first dose: 0.8 of the need at e^-0.55 of the commissioned buffer capacity,
// by hand 0.8·e^-0.55·0.5 pH·0.5 meq/L/pH·100 L ÷ 0.5 meq/mL = 23.1 mL.
func TestFirstDoseIsAFractionOfThePessimisticNeed(t *testing.T) {
	b := newBench(t)
	b.stand(6.3, 2, time.Minute)
	near(t, "first dose in mL", b.wants(acidPump, "pH 6.3").Volume.Millilitres(), 0.8*math.Exp(-0.55)*50, 0.5)
}

func TestNothingIsPlannedBeforeTheEstimateStands(t *testing.T) {
	b := newBench(t)
	b.wantsNothing("no reading at all")
	b.stand(6.6, 1, 10*time.Second)
	b.wantsNothing("two readings")
	if e := b.l.Estimate(b.now, b.target); e.Known || e.PHKnown || e.ECKnown {
		t.Errorf("%+v: known too early", e)
	}
}

func TestNothingIsPlannedOnStaleReadings(t *testing.T) {
	b := newBench(t)
	b.stand(6.6, 1, time.Minute)
	b.now = b.now.Add(46 * time.Second) // (θ+τ)/2 = 45 s
	b.wantsNothing("readings 46 s old")
	if e := b.l.Estimate(b.now, b.target); e.Known {
		t.Error("a stale estimate is called known")
	}
}

func TestOnlyFitReadingsCount(t *testing.T) {
	for q := dosing.QualityFailure; q < dosing.QualityCount; q++ {
		b := newBench(t)
		for range 10 {
			b.now = b.now.Add(5 * time.Second)
			b.read(dosing.QuantityPH, 6.6, q)
			b.read(dosing.QuantityEC, 2, q)
		}
		if _, ok := b.next(); ok != q.MayDose() {
			t.Errorf("readings of quality %v: planned %v", q, ok)
		}
	}
	b := newBench(t)
	for range 10 {
		b.now = b.now.Add(5 * time.Second)
		r, _ := dosing.NewReading(0, dosing.QuantityPH, 6.6, b.now, 0, true)
		b.l.Read(r, dosing.QualityGood)
	}
	b.wantsNothing("retained readings only")
}

func TestAnUnfitECNeverStopsPH(t *testing.T) {
	b := newBench(t)
	for range 10 {
		b.now = b.now.Add(5 * time.Second)
		b.read(dosing.QuantityPH, 6.6, dosing.QualityGood)
		b.read(dosing.QuantityEC, 1, dosing.QualityFailure)
	}
	b.wants(acidPump, "EC unfit")
	if e := b.l.Estimate(b.now, b.target); !e.PHKnown || e.ECKnown || e.Known {
		t.Errorf("%+v", e)
	}
}

func TestAnUnmeasuredBufferScaleKnowsNothing(t *testing.T) {
	b := newBench(t)
	for _, scale := range []float64{0, -1, math.NaN()} {
		b.l = NewLoops(0, dosing.Tank{Volume: 100, DeadTime: time.Minute, TimeConstant: time.Minute, BufferScale: scale}, b.pumps, evenly(0.5), b.totals)
		b.stand(6.6, 2, time.Minute)
		b.wantsNothing("buffer scale unknown")
	}
}

func TestTheDeadBandIsLeftAlone(t *testing.T) {
	b := newBench(t)
	// 0.02 pH + half of a smallest dose of 0.01 pH.
	for _, c := range []struct {
		ph    float64
		doses bool
	}{{5.8, false}, {5.82, false}, {5.78, false}, {5.85, true}, {5.75, true}} {
		b.restart()
		b.stand(c.ph, 2, 3*time.Minute)
		if _, ok := b.next(); ok != c.doses {
			t.Errorf("pH %v: planned %v, want %v", c.ph, ok, c.doses)
		}
	}
	// 0.01 mS/cm + half of the smallest blend, 0.008.
	for _, c := range []struct {
		ec    float64
		doses bool
	}{{2, false}, {1.99, false}, {1.97, true}} {
		b.restart()
		b.stand(5.8, c.ec, 3*time.Minute)
		if _, ok := b.next(); ok != c.doses {
			t.Errorf("EC %v: planned %v, want %v", c.ec, ok, c.doses)
		}
	}
}

func TestWhatIsInTransitIsNotDosedAgain(t *testing.T) {
	b := newBench(t)
	b.stand(6.0, 2, time.Minute)
	given := dosing.Volume(0)
	for range 5 {
		if plan, ok := b.next(); ok {
			given += plan.Volume
			b.deliver(plan)
		}
		b.stand(6.0, 2, 5*time.Second) // 25 s in all, within the dead time
	}
	// The whole pessimistic need is 0.2 pH·0.5·e^-0.55·100 L ÷ 0.5 = 11.5 mL.
	if whole := dosing.FromMillilitres(20 * math.Exp(-0.55)); given > whole+dosing.Millilitre || given < whole/2 {
		t.Errorf("%v given in the dead time; the need is %v", given, whole)
	}
}

func TestOppositeReagentWaits(t *testing.T) {
	b := newBench(t)
	b.stand(6.3, 2, time.Minute)
	b.deliver(dosing.Plan{Pump: acidPump, Volume: dosing.Millilitre})
	b.stand(5.70, 2, 10*time.Minute)
	b.wantsNothing("0.10 low, 10 min after acid")
	b.stand(5.70, 2, 11*time.Minute)
	b.wants(basePump, "0.10 low, 21 min after acid")
	b.stand(5.76, 2, 20*time.Minute)
	b.wantsNothing("0.04 low, the last reagent was acid")

	b = newBench(t)
	b.stand(6.3, 2, time.Minute)
	b.deliver(dosing.Plan{Pump: acidPump, Volume: dosing.Millilitre})
	b.stand(5.55, 2, 5*time.Minute)
	b.wants(basePump, "0.25 low, 5 min after acid")
}

func TestPHGoesFirstOutsideItsWarnBand(t *testing.T) {
	b := newBench(t)
	b.stand(6.6, 1.2, time.Minute)
	b.wants(acidPump, "pH 0.8 high, EC low")
	b = newBench(t)
	b.stand(5.88, 1.2, time.Minute)
	b.wants(calcium, "pH 0.08 high, EC low")
}

func TestWhatTheGateHoldsStandsInNobodysWay(t *testing.T) {
	b := newBench(t)
	b.stand(5.88, 1.2, time.Minute)
	b.limits[calcium], b.limits[sulfate], b.limits[iron] = 0, 0, 0
	b.wants(acidPump, "stocks wait")
	b.open()
	b.stand(6.6, 1.2, time.Minute)
	b.limits[acidPump] = 0
	b.wants(calcium, "acid held")
	b.limits[calcium], b.limits[sulfate], b.limits[iron] = 0, 0, 0
	b.wantsNothing("everything held")
}

func TestAboveTheBandThereIsNoPlanForEC(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 2.4, 5*time.Minute)
	b.wantsNothing("EC 0.4 high")
	for id, owed := range b.l.Owed() {
		if owed != 0 {
			t.Errorf("%s of %s are owed though EC is high", owed, b.pumps[id].Name)
		}
	}
}

func TestNonsenseTargetsAndMissingLimitsPlanNothing(t *testing.T) {
	b := newBench(t)
	b.stand(6.6, 1.2, time.Minute)
	b.target = dosing.Target{PH: dosing.PH(math.NaN()), EC: dosing.Conductivity(math.NaN())}
	b.wantsNothing("setpoints are not numbers")
	b.target = dosing.Target{PH: 5.8, EC: 2}
	if _, ok := b.l.Next(b.now, b.target, nil); ok {
		t.Error("planned without limits")
	}
}

func TestTopUpIsMetAsItEnters(t *testing.T) {
	b := newBench(t)
	b.read(dosing.QuantityLevel, 98, dosing.QualityGood)
	b.stand(5.8, 2, 3*time.Minute)
	b.wantsNothing("in band")
	b.read(dosing.QuantityTopUp, 1, dosing.QualityGood)
	b.read(dosing.QuantityLevel, 100, dosing.QualityGood)
	b.stand(5.8, 2, 5*time.Second)
	// 2 L of 2 meq/L in 100 L: 0.04 meq/L, most of it still entering: 0.08 pH.
	e := b.l.Estimate(b.now, b.target)
	near(t, "settled pH", float64(e.PH), 5.8+0.08*math.Exp(-5.0/60), 0.01)
	near(t, "settled EC", float64(e.EC), 2-0.02*1.8*math.Exp(-5.0/60), 0.005)
	b.limits[calcium], b.limits[sulfate], b.limits[iron] = 0, 0, 0
	if p := b.wants(acidPump, "alkalinity enters"); p.Reason != dosing.ReasonTopUp {
		t.Errorf("reason %v, want top-up", p.Reason)
	}
}

func TestTopUpThatUndoesEvaporationCallsForNoStock(t *testing.T) {
	b := newBench(t)
	b.read(dosing.QuantityLevel, 98, dosing.QualityGood)
	b.stand(5.8, 2.04, 3*time.Minute)
	b.read(dosing.QuantityTopUp, 1, dosing.QualityGood)
	b.read(dosing.QuantityLevel, 100, dosing.QualityGood)
	b.stand(5.8, 2.04, 5*time.Second)
	b.limits[acidPump] = 0
	b.wantsNothing("2 L return to water that had lost 2 L")
}

func TestOnlyTopUpCountsAsTopUp(t *testing.T) {
	for _, c := range []struct {
		name  string
		rises func(b *bench)
	}{
		{"a rise with the valve shut", func(b *bench) { b.read(dosing.QuantityLevel, 120, dosing.QualityGood) }},
		{"a flood coming home", func(b *bench) {
			b.read(dosing.QuantityFlood, 1, dosing.QualityGood)
			b.read(dosing.QuantityLevel, 70, dosing.QualityGood)
			b.read(dosing.QuantityTopUp, 1, dosing.QualityGood)
			b.read(dosing.QuantityFlood, 0, dosing.QualityGood)
			b.read(dosing.QuantityLevel, 98, dosing.QualityGood)
		}},
	} {
		b := newBench(t)
		b.read(dosing.QuantityLevel, 98, dosing.QualityGood)
		b.stand(5.8, 2, 2*time.Minute)
		c.rises(b)
		if b.l.ph.entering != 0 || b.l.ec.entering != 0 {
			t.Errorf("%s: %v meq/L and %v mS/cm are taken to enter", c.name, b.l.ph.entering, b.l.ec.entering)
		}
	}
}

func TestSetpointStepLeavesTheIntegralAlone(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 2, 10*time.Minute)
	before := b.l.Estimate(b.now, b.target)
	b.target = dosing.Target{PH: 6.2, EC: 2.3}
	after := b.l.Estimate(b.now, b.target)
	if before != after {
		t.Errorf("the estimate moved with the setpoint:\n%+v\n%+v", before, after)
	}
	b.limits[calcium], b.limits[sulfate], b.limits[iron] = 0, 0, 0
	b.wants(basePump, "setpoint 0.4 higher")
	b.target = dosing.Target{PH: 5.8, EC: 2}
	b.wantsNothing("setpoint back before anything was given")
}

func TestLearningIsBoundedAndCanBeForgotten(t *testing.T) {
	b := newBench(t)
	// The probe never answers: the buffer looks endless.
	for range 60 {
		b.stand(6.3, 2, time.Minute)
		if plan, ok := b.next(); ok {
			b.deliver(plan)
		}
		e := b.l.Estimate(b.now, b.target)
		if !(e.LnBuffer >= -ln3 && e.LnBuffer <= ln5) || !(e.LnBufferSpread > 0 && e.LnBufferSpread <= 0.55) {
			t.Fatalf("ln buffer %v ± %v", e.LnBuffer, e.LnBufferSpread)
		}
		if !(math.Abs(e.DriftAcid) <= 0.5) {
			t.Fatalf("drift %v meq/L/h", e.DriftAcid)
		}
	}
	if e := b.l.Estimate(b.now, b.target); !(e.LnBuffer > 0.5) || e.Answered == 0 {
		t.Errorf("nothing learned from silence: %v, %d answers", e.LnBuffer, e.Answered)
	}
	b.l.ResetLearning()
	if e := b.l.Estimate(b.now, b.target); e.LnBuffer != 0 || e.LnBufferSpread != 0.55 || e.Answered != 0 {
		t.Errorf("after service: %v ± %v, %d answers", e.LnBuffer, e.LnBufferSpread, e.Answered)
	}
}

func TestFrozenLearningStandsStill(t *testing.T) {
	b := newBench(t)
	b.stand(6.3, 2, time.Minute)
	b.deliver(dosing.Plan{Pump: acidPump, Volume: 20 * dosing.Millilitre})
	b.l.Freeze(b.now, b.now.Up+10*time.Minute)
	before := b.l.Estimate(b.now, b.target)
	b.stand(6.3, 2, 9*time.Minute)
	after := b.l.Estimate(b.now, b.target)
	if before.LnBuffer != after.LnBuffer || before.DriftAcid != after.DriftAcid || after.Answered != 0 {
		t.Errorf("learned while frozen:\n%+v\n%+v", before, after)
	}
	near(t, "measured pH", float64(after.MeasuredPH), 6.3, 0.02)
}

func TestStandingWaterTeachesNothing(t *testing.T) {
	b := newBench(t)
	b.stand(6.3, 2, time.Minute)
	b.deliver(dosing.Plan{Pump: acidPump, Volume: 20 * dosing.Millilitre})
	b.read(dosing.QuantityCirculation, 0, dosing.QualityGood)
	before := b.l.Estimate(b.now, b.target)
	b.stand(6.3, 2, 4*time.Minute)
	if after := b.l.Estimate(b.now, b.target); before.LnBuffer != after.LnBuffer || before.DriftAcid != after.DriftAcid {
		t.Errorf("learned from standing water:\n%+v\n%+v", before, after)
	}
}

func TestAcidAddedByHandIsFollowedAndNotLearned(t *testing.T) {
	b := newBench(t)
	b.stand(6.2, 2, 5*time.Minute)
	before := b.l.Estimate(b.now, b.target)
	b.limits[acidPump] = 0
	b.stand(5.8, 2, time.Minute)
	after := b.l.Estimate(b.now, b.target)
	near(t, "measured pH a minute after a step of 0.4", float64(after.MeasuredPH), 5.8, 0.02)
	near(t, "ln buffer", after.LnBuffer, before.LnBuffer, 0.05)
	near(t, "drift", after.DriftAcid, before.DriftAcid, 0.05)
	if b.l.frozen < b.now.Up {
		t.Error("learning goes on after a response that no dose explains")
	}
}

func TestReadingsAndDecisionsAllocateNothing(t *testing.T) {
	b := newBench(t)
	b.stand(6.3, 1.5, time.Minute)
	for range 8 {
		b.deliver(dosing.Plan{Pump: acidPump, Volume: dosing.Millilitre})
	}
	if n := testing.AllocsPerRun(200, func() {
		b.now = b.now.Add(time.Second)
		ph, _ := dosing.NewReading(0, dosing.QuantityPH, 6.3, b.now, 0, false)
		b.l.Read(ph, dosing.QualityGood)
		b.l.Estimate(b.now, b.target)
		b.l.Next(b.now, b.target, b.limits)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// Stocks bring acid of their own: what EC still needs of them takes the last of the
// way, and no more than keeps pH in its band meanwhile.
func TestAcidLeavesRoomForTheAcidOfStocksToCome(t *testing.T) {
	sour := func() *bench {
		b := newBench(t)
		b.pumps[sulfate].AcidPerML = 0.05
		b.restart()
		return b
	}
	b := sour()
	b.stand(5.88, 1.6, time.Minute)
	b.limits[calcium], b.limits[sulfate], b.limits[iron] = 0, 0, 0
	b.wantsNothing("0.4 mS/cm to come bring 0.04 meq/L, which is 0.08 pH")
	if wanted := make([]bool, len(b.pumps)); true {
		b.l.Wanted(b.now, b.target, wanted)
		if wanted[acidPump] {
			t.Error("acid is said to wait, though the stocks will bring it")
		}
	}
	b.stand(5.88, 1.6, 10*time.Minute)
	b.wants(acidPump, "the stocks are held for longer than a mixing time")

	b = sour()
	b.stand(6.0, 1.6, time.Minute)
	b.limits[calcium], b.limits[sulfate], b.limits[iron] = 0, 0, 0
	b.wants(acidPump, "pH 0.2 high: out of the band whatever comes")

	b = sour()
	b.stand(5.6, 1.6, time.Minute)
	first := b.wants(basePump, "pH 0.2 low")
	b = newBench(t)
	b.stand(5.6, 1.6, time.Minute)
	if plain := b.wants(basePump, "pH 0.2 low"); plain.Volume != first.Volume {
		t.Errorf("%v of base against acid that has not come, %v without", first.Volume, plain.Volume)
	}
}

func TestOutsideTheStartBandReagentAndBlendTakeTurns(t *testing.T) {
	b := newBench(t)
	b.stand(5.65, 1.6, time.Minute)
	b.deliver(b.wants(basePump, "pH 0.15 low, no blend begun"))
	b.stand(5.65, 1.6, time.Minute)
	b.limits[basePump] = 0
	b.deliver(b.wants(calcium, "base has to wait"))
	b.open()
	b.stand(5.65, 1.6, 10*time.Minute)
	b.deliver(b.wants(basePump, "after a part of the blend it is the base's turn"))
	b.stand(5.65, 1.6, 2*time.Minute)
	b.wants(sulfate, "and then the blend's")
}

// A test of the probe, which no need asks for, is held to the same water that the loop predicts.
func TestBoundLeavesRoomUpToALittlePastTheTarget(t *testing.T) {
	for _, c := range []struct {
		ph         float64
		acid, base float64 // mL: 1 mL is 0.01 pH
	}{{5.8, 5, 5}, {5.83, 8, 2}, {5.77, 2, 8}, {5.9, 15, 0}, {5.7, 0, 15}} {
		b := newBench(t)
		b.l.Bound(b.now, b.target, b.limits)
		if b.limits[acidPump] != 0 || b.limits[basePump] != 0 || b.limits[iron] != dosing.Litre {
			t.Fatalf("before any reading: %v, wanted no acid and no base, and stock as it was", b.limits)
		}
		b.open()
		b.stand(c.ph, 2, 20*time.Minute)
		b.l.Bound(b.now, b.target, b.limits)
		if got := b.limits[acidPump].Millilitres(); math.Abs(got-c.acid) > 0.3 {
			t.Errorf("at pH %.2f acid is bound to %.2f mL, wanted %.0f", c.ph, got, c.acid)
		}
		if got := b.limits[basePump].Millilitres(); math.Abs(got-c.base) > 0.3 {
			t.Errorf("at pH %.2f base is bound to %.2f mL, wanted %.0f", c.ph, got, c.base)
		}
	}
}
