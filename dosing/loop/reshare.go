package loop

import (
	"math"

	"leat/dosing"
)

// Reshare gives the blends that are begun from now on other shares by volume, by
// pump: those of a tank whose single ions are kept account of. They are taken whole
// or not at all: none below zero, no acid or base, a sum of one. What is owed of an
// earlier blend stands.
func (l *Loops) Reshare(shares []float64) bool {
	if len(shares) != len(l.pumps) {
		return false
	}
	sum, stocks := 0.0, 0.0
	for _, share := range shares {
		if !(share >= 0) {
			return false
		}
		sum += share
	}
	for _, id := range l.stocks {
		stocks += shares[id]
	}
	if math.Abs(sum-1) > 1e-6 || math.Abs(stocks-sum) > 1e-6 {
		return false
	}
	l.reshared = true
	l.blend.reshare(append([]float64(nil), shares...))
	return true
}

// Share is a stock's share of the blends that are begun now.
func (l *Loops) Share(id dosing.PumpID) float64 {
	if int(id) >= len(l.blend.shares) {
		return 0
	}
	return l.blend.shares[id]
}

// ToppedUp is how much plain water came in since the start, litres.
func (l *Loops) ToppedUp() dosing.Litres { return l.came }
