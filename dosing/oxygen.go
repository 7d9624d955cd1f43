package dosing

import "math"

// OxygenSaturation is the dissolved oxygen of fresh water in balance with moist air at
// 1013.25 hPa, in mg/L, by the equation of APHA Standard Methods (1985), from Benson and
// Krause; ±0.02 mg/L of the published table from 0 to 30 °C. The salt of a nutrient
// solution of 2 mS/cm takes less than 1 % of it, 1,000 m of height 11 %.
func OxygenSaturation(t Celsius) float64 {
	k := float64(t) + 273.15
	return math.Exp(-139.34411 + 1.575701e5/k - 6.642308e7/(k*k) + 1.243800e10/(k*k*k) - 8.621949e11/(k*k*k*k))
}
