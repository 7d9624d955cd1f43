package sim

import (
	"hash/fnv"
	"math"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety"
)

// scripted runs three hours with doses and returns the trace and a hash of every
// message.
func scripted(t testing.TB, o Options) (trace, messages uint64, y *yard) {
	y = newYard(t, 2, o)
	h := fnv.New64a()
	send := func(topic string, qos byte, retained bool, body []byte) {
		h.Write([]byte(topic))
		h.Write(body)
		y.hear(topic, qos, retained, body)
	}
	for range 3 * 3600 {
		y.now += time.Second
		y.farm.Advance(y.now, send)
		if y.now%(2*time.Second) == 0 {
			y.renew(y.epoch, 0)
		}
		if y.now%(5*time.Minute) == 0 && y.idle {
			y.send(y.plan(dosing.PumpID(y.number%4), dosing.TankID(y.number%2), 6))
		}
	}
	return y.farm.TraceHash(), h.Sum64(), y
}

func TestSameSeedIsTheSameNight(t *testing.T) {
	for _, fault := range []string{"", "node-reboot", "ph-dry"} {
		o := Options{Seed: 9, StartPH: 6.6, StartECShare: 0.6, Fault: fault, FaultAt: time.Hour}
		trace, messages, _ := scripted(t, o)
		again, messagesAgain, _ := scripted(t, o)
		if trace != again || messages != messagesAgain {
			t.Errorf("fault %q: two runs of seed 9 differ", fault)
		}
		t.Logf("fault %q: trace %016x, messages %016x", fault, trace, messages)
		o.Seed = 10
		if other, _, _ := scripted(t, o); other == trace {
			t.Errorf("fault %q: seeds 9 and 10 are the same night", fault)
		}
	}
}

func TestStepOfTheClockDoesNotChangeTheNight(t *testing.T) {
	coarse, fine := newYard(t, 1, Options{Seed: 1}), newYard(t, 1, Options{Seed: 1})
	coarse.farm.Advance(time.Hour, coarse.hear)
	for at := time.Duration(0); at < time.Hour; {
		at = min(at+370*time.Millisecond, time.Hour)
		fine.farm.Advance(at, fine.hear)
	}
	if coarse.farm.TraceHash() != fine.farm.TraceHash() {
		t.Error("an hour in one step and in steps of 0.37 s differ")
	}
}

func TestAskingForTheTruthDoesNotChangeTheNight(t *testing.T) {
	asked, left := newYard(t, 1, Options{Seed: 1, StartPH: 6.6}), newYard(t, 1, Options{Seed: 1, StartPH: 6.6})
	for _, y := range []*yard{asked, left} {
		y.wait(5 * time.Second)
		y.dose(acid, north, 6)
		for range 600 {
			y.wait(time.Second)
			if y == asked {
				y.farm.Truth(north)
			}
		}
	}
	if asked.farm.TraceHash() != left.farm.TraceHash() {
		t.Error("it does")
	}
}

func TestAnotherProbeDoesNotChangeWhatTheOthersDraw(t *testing.T) {
	s := yardSettings(1)
	one := newYardOf(t, s, Options{Seed: 8})
	more := yardSettings(1)
	more.Safety.Inputs = append(more.Safety.Inputs, safety.Input{Name: "second ph", Tank: north, Quantity: dosing.QuantityPH, Period: 5 * time.Second})
	two := newYardOf(t, more, Options{Seed: 8})
	one.wait(time.Hour)
	two.wait(time.Hour)
	for topic, body := range one.sent {
		if two.sent[topic] != body {
			t.Errorf("%s: %s without and %s with the other probe", topic, body, two.sent[topic])
		}
	}
}

func TestScatterIsBellShaped(t *testing.T) {
	s := newStream(1, "scatter")
	const n = 200000
	sum, square, beyond := 0.0, 0.0, 0
	for range n {
		g := s.gauss()
		sum += g
		square += g * g
		if math.Abs(g) > 2 {
			beyond++
		}
	}
	near(t, "mean", sum/n, 0, 0.01)
	near(t, "standard deviation", math.Sqrt(square/n), 1, 0.01)
	near(t, "share beyond two standard deviations", float64(beyond)/n, 0.0455, 0.004) // of the normal distribution
}

func TestFadingIsTheExponential(t *testing.T) {
	for _, x := range []float64{0, 1e-6, 0.0125, 0.25, 0.3, 1, 2.5, 10, 39, 50} {
		near(t, "e^-x", fading(x), math.Exp(-x), 1e-14)
	}
}

func BenchmarkFarmHoursPerSecond(b *testing.B) {
	for _, tanks := range []int{1, 2} {
		b.Run([]string{"", "one tank", "two tanks"}[tanks], func(b *testing.B) {
			y := newYard(b, tanks, Options{Seed: 1, StartPH: 6.6, StartECShare: 0.6})
			nobody := func(string, byte, bool, []byte) {}
			b.ReportAllocs()
			for b.Loop() {
				y.now += time.Hour
				y.farm.Advance(y.now, nobody)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "sim-h/s")
		})
	}
}

func BenchmarkTruth(b *testing.B) {
	y := newYard(b, 1, Options{Seed: 1})
	y.wait(5 * time.Second)
	y.dose(acid, north, 6)
	b.ReportAllocs()
	for b.Loop() {
		y.farm.Truth(north)
	}
}
