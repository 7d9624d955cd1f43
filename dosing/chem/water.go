package chem

import "math"

const (
	kelvin       = 273.15
	t25          = 298.15
	gasConstant  = 8.31446261815324 // J/(mol K)
	faraday      = 96485.33212      // C/mol
	viscosity25  = 0.8900           // mPa s, water at 25 °C (IAPWS)
	avogadro     = 6.02214076e23
	boltzmann    = 1.380649e-23     // J/K
	elementary   = 1.602176634e-19  // C
	vacuumPermit = 8.8541878128e-12 // F/m
	atmBar       = 1.01325
)

// solvent holds what pure water is at one temperature and 1 atm.
type solvent struct {
	tempC, kelvins float64
	density        float64 // kg/L
	permittivity   float64 // relative
	viscosity      float64 // mPa s
	dhA            float64 // Debye-Hückel A, log10, sqrt(kg/mol)
	dhB            float64 // Debye-Hückel B, per angstrom sqrt(kg/mol)
	dhV            float64 // Debye-Hückel slope of the volume, cm3/mol sqrt(kg/mol)
	born           float64 // Born function Q, times 41.84, cm3/mol
}

// solventAt computes water between 0 and 50 °C. Density: Kell 1975; viscosity:
// Pátek et al. 2009 (IAPWS); permittivity: Bradley & Pitzer 1979. Within
// 2e-4 of water.csv, which a test checks.
func solventAt(tempC float64) solvent {
	t := tempC + kelvin
	w := solvent{tempC: tempC, kelvins: t}
	w.density = densityOfWater(tempC)
	w.viscosity = viscosityOfWater(t)

	// Bradley & Pitzer 1979, J. Phys. Chem. 83, 1599, at 1 atm.
	d1000 := float64(342.79 * exp(float64(t*(-5.0866e-3+float64(t*9.469e-7)))))
	c := -2.0525 + 3115.9/(t-182.89)
	b := -8032.5 + 4.2142e6/t + float64(2.1417*t)
	w.permittivity = d1000 + float64(c*ln((b+atmBar)/(b+1000)))

	bjerrum := float64(elementary*elementary) / (4 * math.Pi * vacuumPermit * w.permittivity * boltzmann * t) // m
	kappa := math.Sqrt(8 * math.Pi * avogadro * bjerrum * w.density * 1000)                                   // 1/m sqrt(kg/mol)
	w.dhB = kappa * 1e-10
	w.dhA = kappa * bjerrum / (2 * ln10)

	const compressibility = 4.6e-5 // 1/atm, near 25 °C; moves dhV by under 3 % from 0 to 50 °C
	slope := c / (b + atmBar) * atmBar / w.permittivity
	w.dhV = kappa * bjerrum * 82.0574 * t * (slope - compressibility/3)
	w.born = c / (b + atmBar) / w.permittivity / w.permittivity * 41.84
	return w
}

// densityOfWater in kg/L: Kell 1975, J. Chem. Eng. Data 20, 97.
func densityOfWater(c float64) float64 {
	s := 16.945176 + float64(c*(-7.9870401e-3+float64(c*(-46.170461e-6+float64(c*(105.56302e-9+float64(c*-280.54253e-12)))))))
	return (999.83952 + float64(c*s)) / (1 + float64(16.879850e-3*c)) / 1000
}

// viscosityOfWater in mPa s: Pátek, Hrubý, Klomfar, Součková, Harvey 2009,
// J. Phys. Chem. Ref. Data 38, 21, eq. 7.
func viscosityOfWater(kelvins float64) float64 {
	l := ln(kelvins / 300)
	return float64(0.28068*exp(-1.9*l)) + float64(0.51145*exp(-7.7*l)) +
		float64(0.061131*exp(-19.6*l)) + float64(0.00045903*exp(-40*l))
}

// NernstSlope is the ideal slope of a pH electrode in mV per pH: 59.16 at 25 °C.
func NernstSlope(tempC float64) float64 {
	return 1000 * ln10 * gasConstant * (tempC + kelvin) / faraday
}
