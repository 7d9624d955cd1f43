package loop

import (
	"math"
	"time"

	"leat/dosing"
)

// Learned is what the observer of one quantity has learned of its tank and a
// restart must not forget.
type Learned struct {
	Scale dosing.Belief // ln(capacity ÷ commissioned): of the buffer, or of EC ÷ predicted EC inverted
	Drift dosing.Belief // meq/L of base, or predicted mS/cm, per hour
	Ago   time.Duration // since it was learned; the longer, the less it says
}

// Learned is what is worth keeping of both quantities.
func (l *Loops) Learned() (ph, ec Learned) { return l.ph.learned(), l.ec.learned() }

func (o *observer) learned() (l Learned) {
	if o.answered > 0 {
		l.Scale = dosing.Belief{Mean: o.gain, Spread: o.spread()}
	}
	if spread := math.Sqrt(o.dd); spread < o.tuning.startDrift {
		l.Drift = dosing.Belief{Mean: o.drift, Spread: spread}
	}
	return l
}

// Restore brings back, after a restart, what was owed and what had been learned,
// each the less sure the longer it is ago. What is not a number in its range
// leaves that part as new.
func (l *Loops) Restore(owed []dosing.Volume, ph, ec Learned) {
	l.version++
	copy(l.blend.owed, owed)
	l.ph.restore(ph)
	l.ec.restore(ec)
}

func (o *observer) restore(l Learned) {
	t, hours := &o.tuning, max(0, l.Ago.Hours())
	if s := l.Scale; s.Mean >= -strongMost && s.Mean <= t.gainMost && s.Spread > 0 {
		spread := max(leastSpread, min(t.startGain, s.Spread))
		o.gain, o.gg = s.Mean, min(float64(spread*spread)+float64(t.gainWalk*hours), float64(t.startGain*t.startGain))
		o.dg, o.vg, o.least = 0, 0, min(-ln3, s.Mean)
	}
	if d := l.Drift; math.Abs(d.Mean) <= t.driftBound && d.Spread > 0 && d.Spread <= t.driftBound {
		// Plants keep hours: what is remembered is weighed against knowing nothing.
		old, fresh := float64(d.Spread*d.Spread)+float64(t.driftWalk*hours), float64(t.startDrift*t.startDrift)
		o.drift, o.dd = d.Mean*fresh/(fresh+old), old*fresh/(fresh+old)
		o.dg, o.vd = 0, 0
	}
}
