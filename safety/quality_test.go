package safety

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"leat/dosing"
)

// probe is one probe of a tank whose dead time and mixing lag sum to 3 min.
type probe struct {
	t       *testing.T
	in      Input
	i       inputState
	up      time.Duration
	moved   bool
	watered bool // fresh water comes in
}

func newProbe(t *testing.T, in Input) *probe {
	tank := dosing.Tank{Volume: 1000, DeadTime: time.Minute, TimeConstant: 2 * time.Minute}
	if in.Period == 0 {
		in.Period = 5 * time.Second
	}
	return &probe{t: t, in: in, i: newInputState(&in, tank)}
}

func pHProbe(t *testing.T) *probe {
	return newProbe(t, Input{Quantity: dosing.QuantityPH, Noise: 0.02, Step: 0.01})
}

// read passes a reading after a pause.
func (p *probe) read(after time.Duration, value float64) dosing.Quality {
	p.up += after
	return p.take(value, 0, false)
}

func (p *probe) take(value float64, sequence uint64, retained bool) dosing.Quality {
	p.t.Helper()
	r, err := dosing.NewReading(0, p.in.Quantity, value, dosing.Instant{Up: p.up}, sequence, retained)
	if err != nil {
		p.t.Fatal(err)
	}
	return p.i.take(r, p.moved, p.watered)
}

func (p *probe) want(what string, got, want dosing.Quality) {
	p.t.Helper()
	if got != want {
		p.t.Errorf("%s: %s, want %s", what, got, want)
	}
}

func TestPlausibleRangeOfEachQuantity(t *testing.T) {
	for _, c := range []struct {
		q    dosing.Quantity
		v    float64
		want dosing.Quality
	}{
		{dosing.QuantityPH, 3.5, dosing.QualityGood}, {dosing.QuantityPH, 3.49, dosing.QualityOutOfSpecification},
		{dosing.QuantityPH, 9.5, dosing.QualityGood}, {dosing.QuantityPH, 9.51, dosing.QualityOutOfSpecification},
		{dosing.QuantityEC, 0.05, dosing.QualityGood}, {dosing.QuantityEC, 0.04, dosing.QualityOutOfSpecification},
		{dosing.QuantityEC, 10, dosing.QualityGood}, {dosing.QuantityEC, 10.1, dosing.QualityOutOfSpecification},
		{dosing.QuantityTemperature, 2, dosing.QualityGood}, {dosing.QuantityTemperature, 1.9, dosing.QualityOutOfSpecification},
		{dosing.QuantityTemperature, 45, dosing.QualityGood}, {dosing.QuantityTemperature, 85, dosing.QualityOutOfSpecification},
		{dosing.QuantityCirculation, 1, dosing.QualityGood}, {dosing.QuantityLevel, 0, dosing.QualityGood},
	} {
		p := newProbe(t, Input{Quantity: c.q})
		p.want(c.q.String(), p.read(0, c.v), c.want)
	}
	p := newProbe(t, Input{Quantity: dosing.QuantityLevel, Min: 100, Max: 900})
	p.want("configured range", p.read(0, 901), dosing.QualityOutOfSpecification)
}

func TestFreshnessIsThreePeriodsButNeverSlowerThanThePlant(t *testing.T) {
	slow := dosing.Tank{DeadTime: 5 * time.Minute, TimeConstant: 5 * time.Minute}
	quick := dosing.Tank{DeadTime: 10 * time.Second, TimeConstant: 10 * time.Second}
	for _, c := range []struct {
		in   Input
		tank dosing.Tank
		want time.Duration
	}{
		{Input{Quantity: dosing.QuantityPH, Period: time.Second}, slow, 15 * time.Second},
		{Input{Quantity: dosing.QuantityPH, Period: 10 * time.Second}, slow, 30 * time.Second},
		{Input{Quantity: dosing.QuantityPH, Period: time.Hour}, slow, 2 * time.Minute},
		{Input{Quantity: dosing.QuantityPH, Period: 10 * time.Second}, quick, 10 * time.Second},
		{Input{Quantity: dosing.QuantityStop, Tank: dosing.AllTanks, Period: 10 * time.Second}, dosing.Tank{}, 30 * time.Second},
		{Input{Quantity: dosing.QuantityStockLevel, Period: 20 * time.Second}, quick, time.Minute},
		{Input{Quantity: dosing.QuantityCirculation, Period: 10 * time.Second}, quick, 30 * time.Second},
	} {
		if got := Freshness(c.in, c.tank); got != c.want {
			t.Errorf("%s every %s: %s, want %s", c.in.Quantity, c.in.Period, got, c.want)
		}
	}
}

func TestAReadingAgesAndOneFromTheFutureIsUnfit(t *testing.T) {
	p := pHProbe(t)
	if q, s := p.i.now(0); q != dosing.QualityFailure || s != standMissing {
		t.Errorf("before any: %s, %d", q, s)
	}
	p.up = time.Minute
	p.take(6, 0, false)
	for age, want := range map[time.Duration]fitness{0: standFit, 15 * time.Second: standFit, 15*time.Second + 1: standStale, -1: standInvalid} {
		q, s := p.i.now(p.up + age)
		if s != want || q.MayDose() != (want == standFit) {
			t.Errorf("age %s: %s, %d", age, q, s)
		}
	}
	if why := p.i.why(p.up - 1); why != "the reading is from the future" {
		t.Errorf("%q", why)
	}
}

func TestRetainedReadingIsShownAndNeverUsed(t *testing.T) {
	p := pHProbe(t)
	p.want("retained", p.take(6, 0, true), dosing.QualityFailure)
	if !p.i.shown || p.i.seen {
		t.Error("it is not shown, or it is used")
	}
	p.want("live", p.read(time.Second, 5.9), dosing.QualityGood)
	p.want("retained", p.take(6.5, 0, true), dosing.QualityFailure)
	if p.i.last.Value() != 5.9 {
		t.Error("the broker's copy replaced a live reading")
	}
}

func TestARepeatedSequenceDoesNotMakeAReadingYounger(t *testing.T) {
	p := pHProbe(t)
	p.want("7", p.take(6, 7, false), dosing.QualityGood)
	p.up += 20 * time.Second
	p.want("7 again", p.take(6, 7, false), dosing.QualityFailure)
	if _, s := p.i.now(p.up); s != standStale {
		t.Error("a cached reading is fresh")
	}
	p.want("6", p.take(6, 6, false), dosing.QualityFailure)
	p.want("6 again", p.take(6, 6, false), dosing.QualityFailure)
	p.want("7 after 6: it restarted", p.take(6, 7, false), dosing.QualityGood)
	p.want("8", p.take(6, 8, false), dosing.QualityGood)
}

func TestAnOlderReadingThanTheLastIsNotUsed(t *testing.T) {
	p := pHProbe(t)
	p.up = time.Minute
	p.take(6, 0, false)
	p.up = 50 * time.Second
	p.want("older", p.take(6.1, 0, false), dosing.QualityFailure)
	if p.i.last.Value() != 6 {
		t.Error("it replaced the newer one")
	}
}

// settle reads the same often enough to be believed whatever one sample says.
func (p *probe) settle(value float64) {
	for range lastsCount {
		p.read(5*time.Second, value)
	}
}

func TestAJumpIsDiscardedAndThreeInARowAreAFailure(t *testing.T) {
	p := pHProbe(t)
	p.settle(5.8)
	p.want("0.3 in 10 s", p.read(10*time.Second, 6.1), dosing.QualityGood)
	p.want("0.31 more in 5 s", p.read(5*time.Second, 6.42), dosing.QualityOutOfSpecification)
	if _, s := p.i.now(p.up); s != standFit || p.i.last.Value() != 6.1 {
		t.Error("one discarded reading makes the probe invalid")
	}
	p.want("back", p.read(5*time.Second, 6.1), dosing.QualityGood)
	p.want("first", p.read(5*time.Second, 6.6), dosing.QualityOutOfSpecification)
	p.want("second", p.read(5*time.Second, 6.6), dosing.QualityOutOfSpecification)
	p.want("third", p.read(5*time.Second, 6.6), dosing.QualityFailure)
	if _, s := p.i.now(p.up); s != standInvalid || p.i.why(p.up) != faultTexts[faultJump] {
		t.Error("a probe that jumped is fit")
	}
	for range 9 {
		p.want("steady for less than a minute", p.read(5*time.Second, 6.6), dosing.QualityFailure)
	}
	p.read(5*time.Second, 6.6)
	p.want("steady for a minute", p.read(5*time.Second, 6.6), dosing.QualityGood)
}

func TestBrokenGlassThatReadsASteadySevenIsNeverBelieved(t *testing.T) {
	for _, dosed := range []bool{false, true} {
		p := pHProbe(t)
		p.moved = dosed
		p.settle(5.8)
		p.want("jump", p.read(5*time.Second, 7), dosing.QualityOutOfSpecification)
		for range 100 {
			p.read(5*time.Second, 7)
		}
		if _, s := p.i.now(p.up); s != standInvalid {
			t.Errorf("dosed %v: a probe that jumped by 1.2 pH is believed because it is steady", dosed)
		}
	}
}

func TestAProbeThatHopsIsNeverSteady(t *testing.T) {
	p := pHProbe(t)
	p.settle(5.8)
	for n := range 60 {
		p.read(5*time.Second, []float64{7, 8}[n%2])
	}
	if _, s := p.i.now(p.up); s != standInvalid {
		t.Error("a hopping probe is believed")
	}
	p.want("back at the last believed value", p.read(5*time.Second, 5.85), dosing.QualityGood)
}

func TestWithADoseOnItsWayAJumpIsAnAnswer(t *testing.T) {
	p := pHProbe(t)
	p.read(0, 5.8)
	p.moved = true
	p.want("0.5 in 5 s", p.read(5*time.Second, 5.3), dosing.QualityGood)
}

func TestECJumpsLikePHAndALevelThatLeapsMustStay(t *testing.T) {
	ec := newProbe(t, Input{Quantity: dosing.QuantityEC})
	ec.read(0, 1.9)
	ec.want("0.31 mS/cm", ec.read(5*time.Second, 2.21), dosing.QualityOutOfSpecification)
	level := newProbe(t, Input{Quantity: dosing.QuantityLevel})
	level.settle(900)
	level.want("a tenth less", level.read(5*time.Second, 800), dosing.QualityGood)
	for range 6 {
		level.want("a third less", level.read(5*time.Second, 600), dosing.QualityOutOfSpecification)
	}
	level.want("after half a minute", level.read(5*time.Second, 600), dosing.QualityGood)
}

// alive is a noisy pH reading with a resolution of 0.01.
func alive(n int) float64 { return 5.8 + 0.01*float64((n*7)%5-2) }

func TestANoisyProbeThatIsFlatForTenMinutesFails(t *testing.T) {
	p := pHProbe(t)
	for n := range 100 {
		p.want("alive", p.read(5*time.Second, alive(n)), dosing.QualityGood)
	}
	p.read(5*time.Second, 5.8)
	frozen := p.up
	for p.up-frozen < 10*time.Minute-15*time.Second {
		p.want("frozen for less than ten minutes", p.read(5*time.Second, 5.8), dosing.QualityGood)
	}
	p.read(5*time.Second, 5.8)
	p.read(5*time.Second, 5.8)
	p.want("frozen for ten minutes", p.read(5*time.Second, 5.8), dosing.QualityFailure)
	p.want("one flicker is no life", p.read(5*time.Second, 5.81), dosing.QualityFailure)
	p.want("and back", p.read(5*time.Second, 5.8), dosing.QualityFailure)
	p.want("a third value is life", p.read(5*time.Second, 5.79), dosing.QualityGood)
}

func TestAProbeThatFlickersBetweenTwoValuesIsAlive(t *testing.T) {
	p := pHProbe(t)
	for n := range 400 {
		p.want("two values in turn", p.read(5*time.Second, []float64{5.8, 5.81}[n%2]), dosing.QualityGood)
	}
	// Then it freezes but for a rare flicker: an hour of life must not hide that.
	for n := range 600 {
		p.read(5*time.Second, 5.8+0.01*float64(n%100/99))
	}
	p.want("frozen since", p.read(5*time.Second, 5.8), dosing.QualityFailure)
}

func TestAQuietOrUnmeasuredProbeMayBeFlat(t *testing.T) {
	for name, in := range map[string]Input{
		"noise below half a step": {Quantity: dosing.QuantityPH, Noise: 0.005, Step: 0.01},
		"noise not measured":      {Quantity: dosing.QuantityPH, Step: 0.01},
		"no such noise":           {Quantity: dosing.QuantityPH, Noise: 99, Step: 0.01},
		"temperature":             {Quantity: dosing.QuantityTemperature, Noise: 1, Step: 0.1},
	} {
		p := newProbe(t, in)
		for range 200 {
			p.want(name, p.read(10*time.Second, 5.8), dosing.QualityGood)
		}
	}
}

func TestAProbeFarNoisierThanCommissionedIsNoMeasurement(t *testing.T) {
	p := pHProbe(t)
	for n := range 50 {
		p.read(5*time.Second, alive(n))
	}
	for n := range 100 {
		p.read(5*time.Second, 5.8+0.14*float64(n%2*2-1))
	}
	p.want("sd 0.14 instead of 0.02", p.read(5*time.Second, 5.8), dosing.QualityOutOfSpecification)
	for n := range 100 {
		p.read(5*time.Second, alive(n))
	}
	p.want("calm again", p.read(5*time.Second, 5.8), dosing.QualityGood)
}

func TestAProbesSlopeAndOffsetDecideItsFitness(t *testing.T) {
	nan := func() float64 { var z float64; return z / z }()
	for _, c := range []struct {
		slope, offset float64
		want          dosing.Quality
	}{
		{0, 0, dosing.QualityGood}, {99, 5, dosing.QualityGood}, {95, -20, dosing.QualityGood}, {102, 20, dosing.QualityGood},
		{94.9, 0, dosing.QualityMaintenanceRequired}, {103, 0, dosing.QualityMaintenanceRequired}, {98, 21, dosing.QualityMaintenanceRequired},
		{89.9, 0, dosing.QualityOutOfSpecification}, {98, -31, dosing.QualityOutOfSpecification}, {-98, 0, dosing.QualityOutOfSpecification},
		{nan, 0, dosing.QualityOutOfSpecification}, {98, nan, dosing.QualityOutOfSpecification}, {0, 40, dosing.QualityOutOfSpecification},
	} {
		if got := ProbeHealth(c.slope, c.offset); got != c.want {
			t.Errorf("slope %g %%, offset %g mV: %s, want %s", c.slope, c.offset, got, c.want)
		}
	}
	p := newProbe(t, Input{Quantity: dosing.QuantityPH, Slope: 93})
	p.want("worn", p.read(0, 6), dosing.QualityMaintenanceRequired)
	p = newProbe(t, Input{Quantity: dosing.QuantityPH, Slope: 80})
	p.want("swapped buffers", p.read(0, 6), dosing.QualityOutOfSpecification)
	if _, s := p.i.now(p.up); s != standInvalid || p.i.why(p.up) == "" {
		t.Error("a probe of slope 80 % doses")
	}
}

func TestThreeRefusedMessagesMakeAnInputUnfitAtOnce(t *testing.T) {
	f := newFarm(t)
	id := f.input(0, dosing.QuantityPH)
	f.silence(0, dosing.QuantityPH, true)
	for n := range 3 {
		if _, tripped := f.trip(0, CausePHInvalid); tripped {
			t.Fatalf("invalid after %d", n)
		}
		f.w.Rejected(f.now, id, "not a number")
		f.pass(time.Second)
	}
	if trip, tripped := f.trip(0, CausePHInvalid); !tripped || trip.Detail == "" {
		t.Errorf("%+v", f.w.Trips(0))
	}
	if _, q, ok := f.w.Input(id); !ok || q != dosing.QualityFailure {
		t.Errorf("quality %s", q)
	}
	f.silence(0, dosing.QuantityPH, false)
	f.pass(6 * time.Second)
	f.wantFree(0, "a good reading later", allFree)
}

func TestInputShowsWorkOnTheProbesAndAStoppedSampleLine(t *testing.T) {
	f := newFarm(t)
	id := f.input(0, dosing.QuantityPH)
	quality := func() dosing.Quality { _, q, _ := f.w.Input(id); return q }
	if quality() != dosing.QualityGood {
		t.Fatalf("%s", quality())
	}
	f.w.SetState(f.now, 0, OperatorState{Maintenance: true})
	f.pass(time.Second)
	if quality() != dosing.QualityFunctionCheck {
		t.Errorf("during maintenance %s", quality())
	}
	f.w.SetState(f.now, 0, OperatorState{})
	f.set(0, dosing.QuantitySampleFlow, 0)
	f.pass(6 * time.Second)
	if quality() != dosing.QualityOutOfSpecification {
		t.Errorf("without sample flow %s", quality())
	}
	f.silence(0, dosing.QuantityPH, true)
	f.pass(time.Minute)
	if quality() != dosing.QualityFailure {
		t.Errorf("a minute old %s", quality())
	}
}

func TestAReadingJustInIsNotFromTheFuture(t *testing.T) {
	f := newFarm(t)
	f.now = f.now.Add(500 * time.Millisecond)
	id := f.input(0, dosing.QuantityPH)
	f.send(id, 5.8, 0, false)
	if _, q, _ := f.w.Input(id); q != dosing.QualityGood {
		t.Errorf("%s", q)
	}
}

func TestECThatFallsWithoutWaterIsABubbleUntilAPersonSaysOtherwise(t *testing.T) {
	ec := func() *probe { return newProbe(t, Input{Quantity: dosing.QuantityEC, Noise: 0.005, Step: 0.01}) }
	p := ec()
	p.settle(0.9)
	for range 60 {
		if p.read(5*time.Second, 0.63).MayDose() {
			t.Fatal("three tenths less, and no water came in: it is believed")
		}
	}
	p.want("back again", p.read(5*time.Second, 0.9), dosing.QualityGood)
	p = ec()
	p.read(5*time.Second, 0.9)
	p.watered = true
	p.want("while water comes in", p.read(5*time.Second, 0.7), dosing.QualityGood)
	p = ec()
	p.read(5*time.Second, 0.9)
	for range 120 { // a hundredth in five minutes: uptake
		if p.read(5*time.Second, p.i.base-0.0002); p.i.fits == 0 {
			t.Fatal("slow uptake is no bubble")
		}
	}
}

// A dry probe scatters five times as much as a sound one, while the water may move as
// fast as it likes.
func TestNoiseIsToldFromWaterThatMovesFast(t *testing.T) {
	for _, c := range []struct {
		what            string
		noise, perMin   float64 // times the commissioned noise; pH a minute
		minutes         int
		least, mostGood float64 // share of readings in the second half
	}{
		{"sound", 1, 0, 30, 1, 1},
		{"sound, in water that acid runs into", 1, -1.5, 3, 1, 1},
		{"twice as noisy", 2, 0, 60, 0.99, 1},
		{"dry", 5, 0, 30, 0, 0.1},
	} {
		p := pHProbe(t)
		random := rand.New(rand.NewPCG(7, 7))
		total, good := 0, 0
		for s := 0; s < c.minutes*60; s += 5 {
			v := 6.5 + c.perMin*(float64(s)/60-float64(c.minutes)/2) + 0.02*c.noise*random.NormFloat64()
			quality := p.read(5*time.Second, math.Round(v*100)/100)
			if s >= c.minutes*30 {
				total++
				if quality == dosing.QualityGood {
					good++
				}
			}
		}
		if share := float64(good) / float64(total); !(share >= c.least && share <= c.mostGood) {
			t.Errorf("%s: %.2f of its readings may dose, want %.2f to %.2f", c.what, share, c.least, c.mostGood)
		}
	}
}
