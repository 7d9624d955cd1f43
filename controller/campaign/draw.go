package campaign

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"strconv"
	"time"
)

// stream is the randomness of one source of a night. Each source has its own,
// named, so that a new parameter does not change what the others draw.
type stream struct{ pcg rand.PCG }

func source(seed uint64, name string) *stream {
	h := fnv.New64a()
	h.Write([]byte("night " + name))
	s := &stream{}
	s.pcg.Seed(seed, h.Sum64())
	return s
}

func (s *stream) uniform(low, high float64) float64 {
	u := float64(s.pcg.Uint64()>>11) * 0x1p-53
	return low + float64(u*(high-low))
}

// logUniform draws evenly in the logarithm. It is rounded to six digits: the
// library's powers differ in the last bits from one processor to another, and a
// night must replay byte for byte anywhere.
func (s *stream) logUniform(low, high float64) float64 {
	return sixDigits(low * math.Pow(high/low, s.uniform(0, 1)))
}

func (s *stream) whole(low, high int) int {
	return low + int(s.pcg.Uint64()%uint64(high-low+1))
}

func sixDigits(x float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	if err != nil {
		return x
	}
	return rounded
}

// span turns seconds into a whole number of milliseconds.
func span(seconds float64) time.Duration {
	return time.Duration(math.Round(seconds*1000)) * time.Millisecond
}
