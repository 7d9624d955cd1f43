package chem

import "math"

// constants are everything of the tables that depends on temperature alone.
type constants struct {
	solvent
	ready      bool
	shift      *[SpeciesCount]float64 // log10 K more than the tables'; nil = none
	k          [SpeciesCount]float64  // formation constants
	solubility [PhaseCount]float64    // log10 K of the solids
	henry      float64                // CO2 activity per atm

	// Conductivity, over the charged species that conduct.
	diffusion [SpeciesCount]float64 // m2/s
	slowness  [SpeciesCount]float64 // one over it
	volume0   [SpeciesCount]float64 // cm3/mol at infinite dilution
	volumeI   [SpeciesCount]float64 // its growth with I^i4
	viscB     [SpeciesCount]float64
	viscD     [SpeciesCount]float64
	relax     float64 // B1 without q/(1+sqrt q) z+ z-
	electro   float64 // B2, S cm2/eq sqrt(kg/mol)
	falkDole  float64 // of the viscosity's square-root term
}

// henryLaw is CO2(g) = CO2, log K in mol/(kgw atm): phreeqc.dat, October 2025.
var henryLaw = logK{10.5624, -2.3547e-2, -3972.8, 0, 5.8746e5, 1.9194e-5}

// powersOfT are the six functions of temperature that every log K is a sum of.
func powersOfT(t float64) logK {
	return logK{1, t, 1 / t, ln(t) / ln10, 1 / float64(t*t), float64(t * t)}
}

func (k *logK) at(p *logK) float64 {
	return k[0] + float64(k[1]*p[1]) + float64(k[2]*p[2]) + float64(k[3]*p[3]) + float64(k[4]*p[4]) + float64(k[5]*p[5])
}

// set computes the constants at one temperature; the solver keeps them until
// the temperature changes.
func (k *constants) set(tempC float64) {
	if k.ready && k.tempC == tempC {
		return
	}
	k.solvent = solventAt(tempC)
	p := powersOfT(k.kelvins)
	for s := range table {
		log := table[s].log.at(&p)
		if k.shift != nil {
			log += k.shift[s]
		}
		k.k[s] = exp(float64(ln10 * log))
	}
	for i := range phases {
		k.solubility[i] = phases[i].product.log.at(&p)
	}
	k.henry = exp(float64(ln10 * henryLaw.at(&p)))
	k.setTransport()
	k.ready = true
}

func (k *constants) setTransport() {
	t, slow := k.kelvins, viscosity25/k.viscosity
	theta := t - 228
	for s := range table {
		sp := &table[s]
		if sp.d25 != 0 {
			k.diffusion[s] = sp.d25 * slow
			if sp.dT != 0 {
				k.diffusion[s] *= exp(sp.dT/t - sp.dT/t25)
			}
			k.slowness[s] = 1 / k.diffusion[s]
		}
		v := &sp.vol
		k.volume0[s] = float64(41.84*(float64(0.1*v[0])+100*v[1]/2601+v[2]/theta+1e4*v[3]/(2601*theta))) - float64(v[4]*1e5*k.born)
		k.volumeI[s] = v[6] + v[7]/theta + float64(v[8]*theta)
		b := &sp.visc
		if b[0] != 0 || b[1] != 0 {
			k.viscB[s] = b[0] + float64(b[1]*exp(float64(-b[2]*k.tempC)))
		}
		if b[3] != 0 {
			k.viscD[s] = b[3] * exp(float64(-b[4]*k.tempC))
		}
	}
	// Onsager's relaxation and electrophoresis, B1 and B2 of chemistry.md.
	a := elementary * elementary / (6 * math.Pi)
	k.relax = a / (2 * vacuumPermit * k.permittivity * boltzmann * t) * k.dhB * 1e10
	k.electro = a * avogadro / k.viscosity * k.dhB * 1e17
	k.falkDole = 4.3787e-14 * float64(t*math.Sqrt(t)) / k.viscosity
}
