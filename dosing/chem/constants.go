package chem

// constants are everything of the tables that depends on temperature alone.
type constants struct {
	solvent
	ready      bool
	altered    *alteration           // of the tables' numbers; nil = none
	k          [SpeciesCount]float64 // formation constants
	solubility [PhaseCount]float64   // log10 K of the solids
	henry      float64               // CO2 activity per atm

	conductors [SpeciesCount]conductor
	swellings  [SpeciesCount]swelling
	thickeners [SpeciesCount]thickener
	relax      float64 // B1 without q/(1+sqrt q) z+ z-
	electro    float64 // B2, S cm2/eq sqrt(kg/mol)
	falkDole   float64 // of the viscosity's square-root term
	chloride   float64 // its volume at infinite dilution, cm3/mol
}

// henryLaw is CO2(g) = CO2, log K in mol/(kg atm): USGS, October 2025 (data/species.txt).
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
		if k.altered != nil {
			log += k.altered.log[s]
		}
		k.k[s] = exp(float64(ln10 * log))
	}
	for i := range phases {
		k.solubility[i] = phases[i].log.at(&p)
		if k.altered != nil {
			k.solubility[i] += k.altered.solids[i]
		}
	}
	k.henry = exp(float64(ln10 * henryLaw.at(&p)))
	k.setConductors()
	k.setSwellings()
	k.setThickeners()
	k.ready = true
}
