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
