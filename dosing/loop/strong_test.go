package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// respond lets pH follow a dose of so many meq/L in water of this buffer capacity, with
// the tank's dead time and lag, for a while after it, deciding nothing.
func (b *bench) respond(from, acid, buffer float64, length time.Duration) (ph float64) {
	begin := b.now.Up
	for end := begin + length; b.now.Up < end; {
		b.now = b.now.Add(5 * time.Second)
		ph = from
		if after := b.now.Up - begin - 30*time.Second; after > 0 {
			ph -= acid / buffer * (1 - math.Exp(-after.Seconds()/60))
		}
		b.read(dosing.QuantityPH, ph, dosing.QualityGood)
		b.read(dosing.QuantityEC, 2, dosing.QualityGood)
	}
	return ph
}

// Water with its phosphate run down: a twelfth of the commissioned buffer capacity.
func TestABufferATenthOfTheCommissionedIsLearnedFromTheFirstDose(t *testing.T) {
	b := newBench(t)
	b.stand(6.5, 2, 2*time.Minute)
	first := b.deliver(dosing.Plan{Pump: acidPump, Volume: 5 * dosing.Millilitre})
	acid := first.Volume.Millilitres() * 0.5 / 100
	ph := b.respond(6.5, acid, 0.5/12, 4*time.Minute)
	scale := math.Exp(b.l.ph.gain)
	if scale > 2.0/12 || scale < 0.8/12 {
		t.Fatalf("after %.3f meq/L moved pH to %.2f the buffer is %.3f of the commissioned; it is %.3f", acid, ph, scale, 1.0/12)
	}
	if plan, ok := b.next(); ok && plan.Pump == acidPump {
		if worth := plan.Volume.Millilitres() * 0.5 / 100 / (0.5 / 12); worth > ph-5.8+0.05 {
			t.Errorf("the next dose moves pH by %.2f where %.2f are wanted", worth, ph-5.8)
		}
	}
}

func TestWhatADoseExplainsTeachesNoWeakBuffer(t *testing.T) {
	for _, c := range []struct {
		what        string
		times       float64 // of the dose's effect
		least, most float64
	}{{"as commissioned", 1, 0.6, 2}, {"no answer", 0, 0.8, 5}} {
		b := newBench(t)
		b.stand(6.5, 2, 2*time.Minute)
		first := b.deliver(b.wants(acidPump, "pH 6.5"))
		b.respond(6.5, c.times*first.Volume.Millilitres()*0.5/100, 0.5, 4*time.Minute)
		if scale := math.Exp(b.l.ph.gain); scale < c.least || scale > c.most {
			t.Errorf("%s: the buffer is learned as %.2f of the commissioned", c.what, scale)
		}
	}
}

func TestSomebodysHandTeachesNoWeakBuffer(t *testing.T) {
	b := newBench(t)
	b.stand(6.5, 2, 2*time.Minute)
	b.deliver(b.wants(acidPump, "pH 6.5"))
	b.l.Freeze(b.now, b.now.Up+10*time.Minute)
	b.stand(6.0, 2, 5*time.Minute)
	if b.l.ph.gain < -0.3 {
		t.Errorf("what an entry by hand explains is learned as a buffer of e^%.2f", b.l.ph.gain)
	}
}
