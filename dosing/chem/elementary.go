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

// exp2of64 is 2^(j/64).
var exp2of64 = func() (t [64]float64) {
	for j := range t {
		// Taylor's series of e^r, r < 0.7; the 24th term is below 1e-26.
		r, sum := float64(j)*(ln2hi+ln2lo)/64, 1.0
		for n := 24; n >= 1; n-- {
			sum = 1 + float64(float64(r/float64(n))*sum)
		}
		t[j] = sum
	}
	return t
}()

// exp returns e^x to some 3e-16 relative; 0 below -700, +Inf above 700; NaN for NaN.
func exp(x float64) float64 {
	if !(x > -700 && x < 700) {
		switch {
		case x != x:
			return x
		case x < 0:
			return 0
		}
		return math.Inf(1)
	}
	k := int64(float64(x*(64*inv))+65536.5) - 65536 // the sum is positive, so truncation is a floor
	fk := float64(k)
	r := x - float64(fk*(ln2hi/64)) - float64(fk*(ln2lo/64)) // |r| < 0.0055
	r2 := r * r
	p := r + float64(r2*(float64(0.5+float64(r*(1.0/6)))+float64(r2*(float64(1.0/24+float64(r*(1.0/120)))))))
	t := exp2of64[k&63]
	return (t + float64(t*p)) * math.Float64frombits(uint64(k>>6+1023)<<52)
}

// expSmall is exp, quicker near 0 and good to 3e-9 there.
func expSmall(y float64) float64 {
	if y > 0.05 || y < -0.05 {
		return exp(y)
	}
	return 1 + float64(y*(1+float64(y*(0.5+float64(y*(1.0/6+float64(y*(1.0/24))))))))
}

// lnOf64 is ln(1 + j/64), overOf64 one over it.
var lnOf64, overOf64 = func() (l, o [65]float64) {
	for j := range l {
		// ln c = 2 atanh z, z = (c-1)/(c+1) <= 1/3; the 20th term is below 1e-20.
		c := 1 + float64(float64(j)/64)
		z := (c - 1) / (c + 1)
		q, sum := z*z, 0.0
		for n := 39; n >= 1; n -= 2 {
			sum = 1/float64(n) + float64(q*sum)
		}
		l[j], o[j] = 2*z*sum, 1/c
	}
	return l, o
}()

// ln returns the natural logarithm of a normal positive x to some 2e-16 of the
// larger of it and 1; NaN for everything else, so that a bad value shows.
func ln(x float64) float64 {
	if !(x >= 0x1p-1022 && x <= math.MaxFloat64) {
		return math.NaN()
	}
	bits := math.Float64bits(x)
	k := float64(int64(bits>>52) - 1023)
	j := (bits>>45&127 + 1) >> 1                         // the nearest of 64 steps between 1 and 2
	m := math.Float64frombits(bits&(1<<52-1) | 1023<<52) // 1 <= m < 2
	c := 1 + float64(float64(j)*(1.0/64))
	r := float64((m - c) * overOf64[j]) // m-c is exact; |r| < 1/127
	r2 := r * r
	series := r - float64(r2*(float64(0.5-float64(r*(1.0/3)))+float64(r2*(float64(0.25-float64(r*(1.0/5)))+float64(r2*(1.0/6-float64(r*(1.0/7))))))))
	return float64(k*ln2hi) + (lnOf64[j] + (series + float64(k*ln2lo)))
}

// nearby is how small a change lastExp and lastLn follow by a series; what
// that leaves out is below 2e-13 then.
const nearby = 1e-3

// lastExp is an exponential of something that changes little from one call to
// the next, as everything does from dose to dose. The zero value is ready.
type lastExp struct{ x, value, near float64 }

func (l *lastExp) exp(x float64) float64 {
	if d := x - l.x; math.Abs(d) < l.near {
		return l.value * grown(d)
	}
	return l.afresh(x)
}

// grown is e^d for a d nearby.
func grown(d float64) float64 {
	return 1 + float64(d*(1+float64(d*(0.5+float64(d*(1.0/6))))))
}

func (l *lastExp) afresh(x float64) float64 {
	l.x, l.value, l.near = x, exp(x), nearby
	return l.value
}

// lastLn is a logarithm of something that changes little, of a normal positive
// number as ln.
type lastLn struct{ over, value float64 }

func (l *lastLn) ln(x float64) float64 {
	if d := float64(x*l.over) - 1; math.Abs(d) < nearby {
		return l.value + float64(d*(1-float64(d*(0.5-float64(d*(1.0/3-float64(d*0.25)))))))
	}
	return l.afresh(x)
}

func (l *lastLn) afresh(x float64) float64 {
	l.over, l.value = 1/x, ln(x)
	return l.value
}

// lastPow is a power of which base and exponent change little.
type lastPow struct {
	base  lastLn
	power lastExp
}

func (l *lastPow) of(x, y float64) float64 { return l.power.exp(float64(y * l.base.ln(x))) }
