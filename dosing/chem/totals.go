// Package chem is the water chemistry on which every sum of the program rests:
// speciation with activities and ion pairs, pH by charge balance, conductivity,
// saturation and the titration curve. It touches nothing.
package chem

// Totals are total concentrations in mmol per kg of water: NH4 is total ammonia,
// P total phosphorus, DIC total inorganic carbon, Si total silicate.
type Totals struct{ NO3, NH4, P, K, Ca, Mg, SO4, Na, Cl, DIC, Si float64 }
