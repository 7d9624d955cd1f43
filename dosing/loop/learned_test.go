package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

func TestWhatWasLearnedComesBackTheLessSureTheLongerItIsAgo(t *testing.T) {
	kept := Learned{Scale: dosing.Belief{Mean: 0.4, Spread: 0.1}, Drift: dosing.Belief{Mean: 0.2, Spread: 0.01}}
	ec := Learned{Scale: dosing.Belief{Mean: -0.1, Spread: 0.03}, Drift: dosing.Belief{Mean: -0.01, Spread: 0.002}}
	before := [4]float64{-1, -1, -1, math.Inf(1)}
	for _, ago := range []time.Duration{0, time.Hour, 12 * time.Hour} {
		b := newBench(t)
		b.restart()
		kept.Ago, ec.Ago = ago, ago
		b.l.Restore(nil, kept, ec)
		now := [4]float64{b.l.ph.spread(), b.l.ec.spread(), math.Sqrt(b.l.ph.dd), b.l.ph.drift}
		if b.l.ph.gain != 0.4 || b.l.ec.gain != -0.1 {
			t.Errorf("%v ago: scales %v and %v, want those of the record", ago, b.l.ph.gain, b.l.ec.gain)
		}
		if !(now[0] > before[0] && now[1] > before[1] && now[2] > before[2] && now[3] < before[3] && now[3] > 0) {
			t.Errorf("%v ago: spreads %.3f, %.3f and %.3f, drift %.3f; before %v", ago, now[0], now[1], now[2], now[3], before)
		}
		if now[0] > dosing.UnmeasuredSpread || now[1] > startSpreadEC || now[2] > tuningPH.startDrift {
			t.Errorf("%v ago: less sure than if nothing had been learned", ago)
		}
		before = now
	}
	if before[3] > 0.02 {
		t.Errorf("a drift of 0.2 half a day ago is still believed to be %.3f", before[3])
	}
}

func TestOnlyWhatWasLearnedIsKept(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.85, time.Minute)
	if ph, ec := b.l.Learned(); ph.Scale != (dosing.Belief{}) || ec.Scale != (dosing.Belief{}) {
		t.Errorf("scales %+v and %+v are kept, though no dose has answered", ph.Scale, ec.Scale)
	}
	b.stand(5.8, 1.85, 2*time.Hour)
	ph, _ := b.l.Learned()
	if !(ph.Drift.Spread > 0 && math.Abs(ph.Drift.Mean) < 0.02) {
		t.Errorf("still water for two hours taught a drift of %+v", ph.Drift)
	}
}
