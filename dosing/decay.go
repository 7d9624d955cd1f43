package dosing

import "math"

// exponential is e^x by single IEEE operations, to about 4e-16 relative. The
// library's version fuses multiply and add on some processors, and a dose
// computed from it could differ by a microlitre between two machines that
// replay one night. Below -700 it is 0, above 700 +Inf, NaN for NaN.
func exponential(x float64) float64 {
	if !(x > -700) {
		if x != x {
			return x
		}
		return 0
	}
	if x > 700 {
		return math.Inf(1)
	}
	const (
		perLn2 = 1.44269504088896338700
		ln2hi  = 6.93147180369123816490e-01 // leading bits: k*ln2hi is exact here
		ln2lo  = 1.90821492927058770002e-10
	)
	k := int64(float64(x*perLn2)+1024.5) - 1024 // the offset makes truncation a floor
	kf := float64(k)
	r := x - float64(kf*ln2hi) - float64(kf*ln2lo) // |r| < 0.35
	sum := 1.0
	for i := len(reciprocals) - 1; i >= 0; i-- {
		sum = 1 + float64(float64(r*reciprocals[i])*sum)
	}
	return sum * math.Float64frombits(uint64(k+1023)<<52)
}

// reciprocals of 1…13: the next term of the series is below 1e-16.
var reciprocals = [13]float64{1, 1.0 / 2, 1.0 / 3, 1.0 / 4, 1.0 / 5, 1.0 / 6, 1.0 / 7, 1.0 / 8, 1.0 / 9, 1.0 / 10,
	1.0 / 11, 1.0 / 12, 1.0 / 13}
