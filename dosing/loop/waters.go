package loop

import (
	"time"

	"leat/dosing"
)

// waters is how far the quick water of a tank stands from its slow water in one quantity,
// in amounts per litre. The zero value is a tank of one water.
//
// A dose first works in the quick water alone and then leaks into the slow, until both
// are alike: apart' = −apart ÷ fade.
type waters struct {
	slow  float64       // share of the slow water
	fade  time.Duration // in which a difference falls to 37 %: the quick share of the exchange time
	apart float64       // quick less slow; positive = the quick value is higher
}

func watersOf(t dosing.Tank) waters {
	if !(t.Slow > 0) || !(t.Slow < 1) || t.Exchange <= 0 {
		return waters{}
	}
	return waters{slow: t.Slow, fade: time.Duration((1 - t.Slow) * float64(t.Exchange))}
}

// leak is what the quick water loses to the slow one in a time.
func (w *waters) leak(over time.Duration) float64 {
	if w.apart == 0 || w.fade <= 0 {
		return 0
	}
	return float64(float64(w.slow*w.apart) * (1 - dosing.Exponential(-float64(over)/float64(w.fade))))
}

// pass lets a time pass in which came net entered the quick water, and returns what
// leaked.
func (w *waters) pass(over time.Duration, came float64) (leaked float64) {
	if w.slow == 0 {
		return 0
	}
	leaked = w.leak(over)
	w.apart += came - leaked/w.slow
	return leaked
}

// perHour is the present rate of the leak.
func (w *waters) perHour() float64 {
	if w.fade <= 0 {
		return 0
	}
	return float64(w.slow*w.apart) / w.fade.Hours()
}
