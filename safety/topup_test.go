package safety

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"leat/dosing"
)

// toppedTank is a large tank that mixes within a minute and is topped up with hard
// water through a valve, while acid meets the alkalinity as it comes.
type toppedTank struct {
	tank      dosing.Tank
	responses *Responses
	works     float64 // of what is ordered the acid pump gives
	findings  []Finding
}

// live plays a quarter of an hour of rest and a top-up of two percent in two minutes.
func (w *toppedTank) live() {
	const buffer, alkalinity = 0.1, 3.6
	w.tank = dosing.Tank{Volume: 1500, DeadTime: 12 * time.Second, TimeConstant: 14 * time.Second, BufferScale: 1, PHNoise: 0.01, ECNoise: 0.005,
		TopUp: dosing.Water{Alkalinity: alkalinity, EC: 0.5}}
	w.responses = NewResponses(nightPumps(), w.tank, evenBuffer(buffer))
	random := rand.New(rand.NewPCG(7, 7))
	pH, probe, level, key := 5.8, 5.8, 1470.0, uint64(0)
	var late [12]float64 // pH that acid does when its dead time is over
	for second := range 20 * 60 {
		now := dosing.Instant{Up: time.Duration(second+1) * time.Second}
		valve, came := 0.0, 0.0
		if second >= 900 && second < 1020 {
			valve, came = 1, 0.25
		}
		level += came
		pH += came*alkalinity/1500/buffer + late[second%12]
		late[second%12] = 0
		if valve > 0 && second%10 == 9 {
			ml := 10 * 0.25 * alkalinity // 1 meq/mL
			late[second%12] = -w.works * ml / 1500 / buffer
			key++
			w.responses.Dosed(dosing.Dose{Pump: nightAcid, Volume: dosing.FromMillilitres(ml), Up: now.Up, Key: key})
		}
		probe += (1 - math.Exp(-1.0/14)) * (pH - probe)
		w.responses.Read(now, dosing.QuantityTopUp, valve)
		w.responses.Read(now, dosing.QuantityLevel, math.Round(2*level)/2)
		w.responses.Read(now, dosing.QuantityPH, probe+0.01*random.NormFloat64())
		w.responses.Read(now, dosing.QuantityEC, 1.8)
		if f, found := w.responses.Judge(now, 0, 0.4); found {
			w.findings = append(w.findings, f)
		}
	}
}

func TestAcidThatMeetsTopUpAsItComesIsNotTakenForSilent(t *testing.T) {
	w := toppedTank{works: 1}
	w.live()
	if len(w.findings) > 0 {
		t.Error(w.findings[0].Detail)
	}
}

func TestADeadAcidPumpIsFoundWhileTopUpLiftsPH(t *testing.T) {
	w := toppedTank{}
	w.live()
	if len(w.findings) == 0 || w.findings[0].Cause != CauseNoResponse && w.findings[0].Cause != CauseWrongDirection {
		t.Errorf("%v", w.findings)
	}
}
