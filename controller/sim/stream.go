package sim

import (
	"hash/fnv"
	"math/rand/v2"
)

// stream is the randomness of one source. Each source has its own, named, so that
// a new probe or a new fault does not change what the others draw.
type stream struct{ pcg rand.PCG }

func newStream(seed uint64, source string) *stream {
	h := fnv.New64a()
	h.Write([]byte(source))
	s := &stream{}
	s.pcg.Seed(seed, h.Sum64())
	return s
}

func (s *stream) uint64() uint64 { return s.pcg.Uint64() }

// uniform draws from [low, high).
func (s *stream) uniform(low, high float64) float64 {
	u := float64(s.pcg.Uint64()>>11) * 0x1p-53
	return low + float64(u*(high-low))
}

// gauss draws a bell-shaped value of mean 0 and standard deviation 1 from the sum
// of eight uniform ones, within ±4.9. Whole-number sums rather than the library's
// logarithm: that one gives other last digits on other processors, and a night
// must replay byte for byte anywhere.
func (s *stream) gauss() float64 {
	sum := -8 * 0xffff / 2
	for range 2 {
		u := s.pcg.Uint64()
		sum += int(u&0xffff) + int(u>>16&0xffff) + int(u>>32&0xffff) + int(u>>48)
	}
	const sd = 0x10000 * 0.816496580927726 // of eight uniform 16-bit numbers: 2^16 · √(8/12)
	return float64(sum) / sd
}

// fading is e^-x for x ≥ 0, from single operations only so that it has the same
// bits on every processor. It is 0 above 40 and good to 1e-15.
func fading(x float64) float64 {
	if !(x < 40) {
		return 0
	}
	halvings := 0
	for x > 0.25 {
		x /= 2
		halvings++
	}
	sum := 1.0
	for n := 12.0; n >= 1; n-- {
		sum = 1 - float64(float64(x/n)*sum)
	}
	for range halvings {
		sum = float64(sum * sum)
	}
	return sum
}

// swing is a smooth wave of period 1 between -1 and 1, zero and rising at phase 0:
// a parabola for each half, within 0.06 of a sine, and the same bits everywhere.
func swing(phase float64) float64 {
	phase -= float64(int64(phase))
	if phase < 0 {
		phase++
	}
	if phase < 0.5 {
		return float64(16 * phase * (0.5 - phase))
	}
	return -float64(16 * (phase - 0.5) * (1 - phase))
}
