package safety

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// evenBuffer is a solution whose buffer capacity is the same at any pH, meq/L per pH.
type evenBuffer float64

func (b evenBuffer) AcidNeeded(from, to float64) float64 { return (from - to) * float64(b) }
func (b evenBuffer) PHAfter(from, acid float64) float64  { return from - acid/float64(b) }
func (b evenBuffer) Buffer(float64) float64              { return float64(b) }

// testedWater plays readings of pH to a response test of the first tank: pH stands but
// for what doses do and, from a time on, a drift.
type testedWater struct {
	*response.Responses
	tank  dosing.Tank
	now   dosing.Instant
	key   uint64
	pH    float64 // at first
	doses []testedDose
	slope float64 // pH per hour
	from  time.Duration
}

type testedDose struct {
	at time.Duration
	by float64 // pH, once it has mixed
}

// tested takes the place of the farm's own response test with one that has seen other water.
func (f *farm) tested() *testedWater {
	t := &f.w.tanks[0]
	w := &testedWater{Responses: response.New(f.s.Pumps, t.plant.Tank, evenBuffer(1)), pH: 6.5, tank: t.plant.Tank}
	t.responses = w.Responses
	return w
}

// passes plays a time, a reading each five seconds, and says whether anything was found.
func (w *testedWater) passes(d time.Duration) (found bool) {
	for end := w.now.Up + d; w.now.Up < end; {
		w.now = w.now.Add(5 * time.Second)
		pH := w.pH + w.slope*max(w.now.Up-w.from, 0).Hours()
		for _, d := range w.doses {
			if age := w.now.Up - d.at - w.tank.DeadTime; age > 0 {
				pH += d.by * (1 - math.Exp(-float64(age)/float64(w.tank.TimeConstant)))
			}
		}
		w.Read(w.now, dosing.QuantityPH, pH)
		if _, is := w.Judge(w.now, 0, dosing.UnmeasuredSpread); is {
			found = true
		}
	}
	return found
}

// gives is a dose of a reagent that should move pH by so much and moves it by a share of that.
func (w *testedWater) gives(pump dosing.PumpID, pH, does float64) {
	w.key++
	volume := dosing.FromMillilitres(math.Abs(pH) * float64(w.tank.Volume) / 10) // 10 meq of acid or base in 1 mL
	w.Dosed(dosing.Dose{Key: w.key, Pump: pump, Volume: volume, Up: w.now.Up})
	w.doses = append(w.doses, testedDose{at: w.now.Up, by: does * pH})
}

// answers lets so many pools of a reagent be answered by a share of what it should do.
func (w *testedWater) answers(pump dosing.PumpID, does float64, pools int) {
	pH := -0.1
	if pump == basePump {
		pH = 0.1
	}
	for range pools {
		w.passes(15 * time.Minute)
		w.gives(pump, pH, does)
	}
	w.passes(15 * time.Minute)
}
