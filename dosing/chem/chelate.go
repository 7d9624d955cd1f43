package chem

import "strings"

// Chelate is an iron chelate and the pH up to which it holds its iron in a
// nutrient solution (common practice; the edge is soft, and calcium, ultraviolet
// light and peroxide lower it).
type Chelate struct {
	Name   string
	HighPH float64
}

// Chelates from the weakest to the strongest. Ultraviolet lamps and peroxide
// destroy all of them; the loss per pass of iron and manganese is fitted from
// analyses. Acid never follows chelate in one unflushed line.
var Chelates = [...]Chelate{
	{"EDTA", 6.3},
	{"DTPA", 7.0},
	{"EDDHA", 9.0},
}

// ChelateNamed finds a chelate, in either case.
func ChelateNamed(name string) (Chelate, bool) {
	for _, c := range Chelates {
		if strings.EqualFold(c.Name, name) {
			return c, true
		}
	}
	return Chelate{}, false
}

// Holds tells whether the chelate keeps iron dissolved at a pH. False for NaN.
func (c Chelate) Holds(ph float64) bool { return ph <= c.HighPH && ph >= 3 }

// Micros are the micronutrients in mg/L. They ride along by mass: too little
// to matter to pH or conductivity (of order 0.1 mmol of charge).
type Micros struct{ Fe, Mn, Zn, B, Cu, Mo float64 }

// Add returns m plus scale times other.
func (m Micros) Add(other Micros, scale float64) Micros {
	return Micros{
		Fe: m.Fe + float64(other.Fe*scale),
		Mn: m.Mn + float64(other.Mn*scale),
		Zn: m.Zn + float64(other.Zn*scale),
		B:  m.B + float64(other.B*scale),
		Cu: m.Cu + float64(other.Cu*scale),
		Mo: m.Mo + float64(other.Mo*scale),
	}
}
