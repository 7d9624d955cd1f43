package chem

import "math"

// exp and ln of the package's own. The library's use fused multiply-add where
// the processor has it, so their last digit depends on the machine; these use
// only single IEEE operations and give the same bits everywhere.

const (
	ln2hi = 6.93147180369123816490e-01 // leading bits of ln 2: k*ln2hi is exact for |k| < 2^20
	ln2lo = 1.90821492927058770002e-10
	ln10  = 2.302585092994045684017991454684
	inv   = 1.44269504088896338700 // 1/ln 2
)

// exp returns e^x to some 2e-16 relative; 0 below -700, +Inf above 700; NaN for NaN.
func exp(x float64) float64 {
	if !(x > -700) {
		if x != x {
			return x
		}
		return 0
	}
	if x > 700 {
		return math.Inf(1)
	}
	k := int64(float64(x*inv) + 1024.5) // positive before truncation, so this is a floor
	k -= 1024
	fk := float64(k)
	r := x - float64(fk*ln2hi) - float64(fk*ln2lo)
	// Taylor series of e^r, |r| < 0.35: the 13th term is below 1e-16.
	s := 1 + float64(r*(1.0/13))
	s = 1 + float64(float64(r*(1.0/12))*s)
	s = 1 + float64(float64(r*(1.0/11))*s)
	s = 1 + float64(float64(r*(1.0/10))*s)
	s = 1 + float64(float64(r*(1.0/9))*s)
	s = 1 + float64(float64(r*(1.0/8))*s)
	s = 1 + float64(float64(r*(1.0/7))*s)
	s = 1 + float64(float64(r*(1.0/6))*s)
	s = 1 + float64(float64(r*(1.0/5))*s)
	s = 1 + float64(float64(r*(1.0/4))*s)
	s = 1 + float64(float64(r*(1.0/3))*s)
	s = 1 + float64(float64(r*(1.0/2))*s)
	s = 1 + float64(r*s)
	return s * math.Float64frombits(uint64(k+1023)<<52)
}

// ln returns the natural logarithm of a normal positive x to some 2e-16; NaN
// for everything else, so that a bad value shows.
func ln(x float64) float64 {
	if !(x >= 0x1p-1022 && x <= math.MaxFloat64) {
		return math.NaN()
	}
	bits := math.Float64bits(x)
	k := int64(bits>>52) - 1023
	m := math.Float64frombits(bits&(1<<52-1) | 1023<<52) // 1 <= m < 2
	if m > math.Sqrt2 {
		m *= 0.5
		k++
	}
	// ln m = 2 atanh z, z = (m-1)/(m+1), |z| < 0.172: the series' 11th term is below 1e-17.
	z := (m - 1) / (m + 1)
	q := z * z
	s := 1.0/19 + float64(q*(1.0/21))
	s = 1.0/17 + float64(q*s)
	s = 1.0/15 + float64(q*s)
	s = 1.0/13 + float64(q*s)
	s = 1.0/11 + float64(q*s)
	s = 1.0/9 + float64(q*s)
	s = 1.0/7 + float64(q*s)
	s = 1.0/5 + float64(q*s)
	s = 1.0/3 + float64(q*s)
	fk := float64(k)
	return float64(fk*ln2hi) + (float64(2*z) + (float64(float64(2*z)*float64(q*s)) + float64(fk*ln2lo)))
}

// pow returns x^y for x > 0.
func pow(x, y float64) float64 { return exp(float64(y * ln(x))) }
