package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// stands reads about a value for a while, a reading each five seconds.
func (p *probe) stands(value float64, lasting time.Duration) (last dosing.Quality) {
	for n := range int(lasting / (5 * time.Second)) {
		last = p.read(5*time.Second, value+[]float64{0, 0.01}[n%2])
	}
	return last
}

func TestAnElectrodeThatWandersInStepsIsNotDosedBy(t *testing.T) {
	p := pHProbe(t)
	p.stands(5.8, 10*time.Minute)
	p.want("one step: somebody touched it", p.stands(5.99, 10*time.Minute), dosing.QualityGood)
	p.want("another within the hour", p.stands(6.18, 10*time.Minute), dosing.QualityFailure)
	if why := p.i.why(p.up); why != faultTexts[faultSteps] {
		t.Errorf("it says %q", why)
	}
	p.want("fifty minutes without a step", p.stands(6.18, 40*time.Minute), dosing.QualityFailure)
	p.want("an hour without one", p.stands(6.18, 15*time.Minute), dosing.QualityGood)
}

func TestStepsFarApartAndStepsOfThePumpsOrOfFreshWaterAreNotTheElectrodes(t *testing.T) {
	apart := pHProbe(t)
	apart.stands(5.8, 10*time.Minute)
	apart.stands(5.99, 2*time.Hour)
	apart.want("two steps two hours apart", apart.stands(6.18, 10*time.Minute), dosing.QualityGood)

	watered := pHProbe(t)
	watered.watered = true
	pumped := pHProbe(t)
	pumped.moved, pumped.i.load.on = true, true
	for _, p := range []*probe{watered, pumped} {
		for _, value := range []float64{5.8, 5.99, 6.18, 5.99} {
			p.want("a step meanwhile", p.stands(value, 10*time.Minute), dosing.QualityGood)
		}
	}
}

func TestWaterThatAnswersADoseMakesNoStep(t *testing.T) {
	p := pHProbe(t)
	p.moved = true
	pH := 6.6
	for range 3 {
		target := pH - 0.3
		for range 120 { // two minutes of lag
			pH += (target - pH) * (1 - dosing.Exponential(-5.0/120))
			p.want("0.3 pH by a dose", p.read(5*time.Second, pH), dosing.QualityGood)
		}
	}
}

func TestAProbeAtTheEdgeOfItsRangeDoesNotComeAndGo(t *testing.T) {
	p := pHProbe(t)
	p.settle(3.55)
	changes, was := 0, dosing.QualityGood
	for n := range 100 {
		q := p.read(5*time.Second, []float64{3.49, 3.52, 3.5, 3.53}[n%4])
		if q != was {
			changes++
		}
		was = q
	}
	if changes != 1 || was.MayDose() {
		t.Errorf("it changed %d times and is %s at last", changes, was)
	}
	if why := p.i.why(p.up); why != faultTexts[faultEdge] {
		t.Errorf("inside its range it says %q", why)
	}
	p.want("a tenth inside", p.read(5*time.Second, 3.61), dosing.QualityGood)
}

// Three doses were on their way when what was learned of the buffer was forgotten: what they may
// do counts by the new belief at both ends, and a dose is no fall.
func TestABufferBelievedWeakerAtOnceIsNoUnexplainedChange(t *testing.T) {
	f := newFarm(t)
	f.w.Learned(0, 0, 0.1, 5)
	f.drift(0, dosing.QuantityPH, 6.2)
	f.pass(10 * time.Minute)
	for range 3 {
		f.dose(0, acidPump, 5*dosing.Millilitre)
	}
	f.w.Learned(0, -1, dosing.UnmeasuredSpread, 0)
	f.pass(2 * time.Minute)
	if trip, found := f.trip(0, CauseUnexplainedChange); found {
		t.Errorf("a pH that stands still gave %+v", trip)
	}
}

func TestAfterALeapOfPHTheNextDoseIsASmallFirstOne(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5, EC: 2})
	f.pass(10 * time.Minute)
	usual, _ := f.g.Largest(f.now, 0, acidPump)
	f.set(0, dosing.QuantityPH, 6.4)
	f.pass(3 * time.Minute)
	if most, _ := f.g.Largest(f.now, 0, acidPump); most <= 0 || most > usual*7/10 {
		t.Errorf("%s after pH leapt from 5.8 to 6.4, %s before", most, usual)
	}
}
