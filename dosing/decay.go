package dosing

import "math"

// Exponential is e^x by single IEEE operations, to about 1e-15 relative. The
// library's version fuses multiply and add on some processors, and a dose
// computed from it could differ by a microlitre between two machines that
// replay one night. Below -700 it is 0, above 700 +Inf, NaN for NaN.
func Exponential(x float64) float64 {
	if !(x > -700) {
		if x != x {
			return x
		}
		return 0
	}
	if x > 700 {
		return math.Inf(1)
	}
	// e^x = 2^(k/32)·e^r with |r| < ln2/64: six terms of the series leave 4e-18.
	const (
		steps = 32 / math.Ln2
		hi    = 6.93147180369123816490e-01 / 32 // leading bits: k*hi is exact here
		lo    = 1.90821492927058770002e-10 / 32
	)
	k := int64(float64(x*steps)+32768.5) - 32768 // the offset makes truncation a floor
	kf := float64(k)
	r := x - float64(kf*hi) - float64(kf*lo)
	q := float64(r * r)
	high := 1.0/24 + float64(r*(1.0/120)) + float64(q*(1.0/720))
	s := float64(q * (0.5 + float64(r*(1.0/6)) + float64(q*high)))
	return float64(roots[k&31]*(1+(r+s))) * math.Float64frombits(uint64(k>>5+1023)<<52)
}

// roots holds 2^(j/32), multiplied from square roots, which IEEE rounds alike
// everywhere.
var roots = func() (table [32]float64) {
	for j := range table {
		root, product := 2.0, 1.0
		for bit := 16; bit > 0; bit /= 2 {
			root = math.Sqrt(root)
			if j&bit != 0 {
				product *= root
			}
		}
		table[j] = product
	}
	return table
}()
