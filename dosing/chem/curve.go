package chem

import "math"

const (
	curveLowPH  = 3.0
	curveHighPH = 10.5
	curveStep   = 0.1
	curvePoints = 76
)

// Curve is the closed-system titration curve of one solution from pH 3.0 to
// 10.5: how much strong acid or base lies between two pH values. Nothing is
// lost to the air and nothing precipitates along it. It is a table with exact
// slopes, so reading it is cheap; safe for concurrent reads.
type Curve struct {
	acid  [curvePoints]float64 // meq/L of strong acid from pH 10.5 down to the point; rises as pH falls
	slope [curvePoints]float64 // meq/L per pH, > 0
	tempC float64
	work  speciation
}

// NewCurve tabulates the curve of a solution. The pH that the totals have by
// themselves plays no part: the strong ions needed at each pH come and go as
// nitrate or potassium would, without pairing.
func NewCurve(t Totals, tempC float64) (*Curve, error) {
	c := new(Curve)
	if err := c.Refill(t, tempC); err != nil {
		return nil, err
	}
	return c, nil
}

// Refill tabulates another solution in place, without allocating. After an
// error the curve holds the former solution's points in part: discard it. Not
// to be called while another goroutine reads.
func (c *Curve) Refill(t Totals, tempC float64) error {
	if err := t.check(); err != nil {
		return err
	}
	conditions := Conditions{TempC: tempC, FixedPH: curveHighPH}
	if err := conditions.check(); err != nil {
		return err
	}
	c.tempC = tempC
	s := &c.work
	s.set(tempC)
	s.balanceStrong = true
	first := 0.0
	for i := curvePoints - 1; i >= 0; i-- {
		conditions.FixedPH = curveLowPH + float64(float64(i)*curveStep)
		if err := s.speciate(&t, &conditions); err != nil {
			return err
		}
		perLitre := 1000 / s.litres
		hydrogen := float64(s.m.hydrogen() * perLitre)
		if i == curvePoints-1 {
			first = hydrogen
		}
		c.acid[i] = hydrogen - first
		c.slope[i] = float64(ln10*perLitre) * s.slopes.hydrogen
		if !(c.slope[i] > 0) {
			return &ConvergenceError{IonicStrength: s.ionic}
		}
	}
	c.steady()
	return nil
}

// steady keeps the cubic between two points monotone (Fritsch & Carlson 1980:
// no slope above three times the secant's) and the points falling.
func (c *Curve) steady() {
	for i := curvePoints - 2; i >= 0; i-- {
		if !(c.acid[i] > c.acid[i+1]) {
			c.acid[i] = c.acid[i+1] + 1e-12
		}
		most := 3 * (c.acid[i] - c.acid[i+1]) / curveStep
		c.slope[i] = math.Min(c.slope[i], most)
		c.slope[i+1] = math.Min(c.slope[i+1], most)
	}
}

// TempC is the temperature of the curve.
func (c *Curve) TempC() float64 { return c.tempC }

// at returns the acid down to a pH and the slope there; pH is clamped.
func (c *Curve) at(ph float64) (acid, slope float64) {
	i, u := place(ph)
	a0, a1 := c.acid[i], c.acid[i+1]
	d0, d1 := -float64(c.slope[i]*curveStep), -float64(c.slope[i+1]*curveStep)
	return hermite(u, a0, a1, d0, d1)
}

// place is the cell of a pH and how far into it the pH lies, 0 to 1.
func place(ph float64) (i int, u float64) {
	at := (min(max(ph, curveLowPH), curveHighPH) - curveLowPH) / curveStep
	i = min(int(at), curvePoints-2)
	return i, at - float64(i)
}

// hermite is the cubic with the given ends and derivatives at u = 0 … 1; it
// returns value and minus the derivative per pH.
func hermite(u, a0, a1, d0, d1 float64) (value, slope float64) {
	rise := a1 - a0
	c2 := float64(3*rise) - float64(2*d0) - d1
	c3 := d0 + d1 - float64(2*rise)
	value = a0 + float64(u*(d0+float64(u*(c2+float64(u*c3)))))
	slope = -(d0 + float64(u*(float64(2*c2)+float64(3*float64(u*c3))))) / curveStep
	return value, slope
}

// AcidNeeded is the strong acid in meq/L that takes the solution from one pH
// to another; negative means base. pH beyond the curve is clamped to its ends,
// NaN gives NaN.
func (c *Curve) AcidNeeded(fromPH, toPH float64) float64 {
	if fromPH != fromPH || toPH != toPH {
		return math.NaN()
	}
	from, _ := c.at(fromPH)
	to, _ := c.at(toPH)
	return to - from
}

// PHAfter is the pH that acid (meq/L; negative: base) leads to, the inverse of
// AcidNeeded; clamped to the ends of the curve, NaN gives NaN.
func (c *Curve) PHAfter(fromPH, acid float64) float64 {
	if fromPH != fromPH || acid != acid {
		return math.NaN()
	}
	from, _ := c.at(fromPH)
	want := from + acid
	if want >= c.acid[0] {
		return curveLowPH
	}
	if want <= c.acid[curvePoints-1] {
		return curveHighPH
	}
	// From where it stands: most doses and drifts stay in the cell or go one further.
	i, _ := place(fromPH)
	for c.acid[i] <= want {
		i--
	}
	for c.acid[i+1] > want {
		i++
	}
	return curveLowPH + float64(curveStep*(float64(i)+c.within(i, want)))
}

// within finds the place between two points by Newton, kept between bounds.
func (c *Curve) within(i int, want float64) float64 {
	a0, a1 := c.acid[i], c.acid[i+1]
	d0, d1 := -float64(c.slope[i]*curveStep), -float64(c.slope[i+1]*curveStep)
	low, high := 0.0, 1.0
	u := (a0 - want) / (a0 - a1)
	for n := 0; n < 30; n++ {
		value, slope := hermite(u, a0, a1, d0, d1)
		if value > want {
			low = u
		} else {
			high = u
		}
		next := u + (value-want)/float64(slope*curveStep)
		if !(next > low && next < high) {
			next = 0.5 * (low + high)
		}
		if math.Abs(next-u) < 1e-12 {
			return next
		}
		u = next
	}
	return u
}

// Buffer is the buffer capacity at a pH in meq/L of strong acid or base per
// pH, > 0; NaN gives NaN.
func (c *Curve) Buffer(ph float64) float64 {
	if ph != ph {
		return ph
	}
	_, slope := c.at(ph)
	return max(slope, 1e-9)
}
