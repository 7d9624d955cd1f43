package chem

import (
	_ "embed"
	"fmt"
)

// Species names a dissolved species; it indexes Result.Species.
type Species int

// The species, in the order of data/species.txt.
const (
	H Species = iota
	OH
	SO4
	HSO4
	CO3
	HCO3
	CO2
	CO2Pair // (CO2)2
	PO4
	HPO4
	H2PO4
	H3PO4
	Ca
	CaOH
	CaCO3
	CaHCO3
	CaSO4
	CaHSO4
	CaPO4
	CaHPO4
	CaH2PO4
	Mg
	MgOH
	MgCO3
	MgHCO3
	MgSO4
	MgSO42 // Mg(SO4)2-2
	MgPO4
	MgHPO4
	MgH2PO4
	K
	KSO4
	KHCO3
	KHPO4
	Na
	NaSO4
	Na2SO4
	NaHCO3
	NaHPO4
	NH4
	NH3
	NH4SO4
	Cl
	HCl
	NO3
	H4SiO4
	H3SiO4
	H2SiO4
	H3BO3
	H2BO3
	CaNO3
	KNO3
	SpeciesCount
)

//go:embed data/species.txt
var speciesText string

//go:embed data/transport.txt
var transportText string

//go:embed data/viscosity.txt
var viscosityText string

//go:embed data/volume.txt
var volumeText string

// Four species are the unknowns of the solver; every other master species
// follows from them, because each pair holds at most one of the others.
const (
	uH = iota
	uSO4
	uCO3
	uPO4
	unknownCount
)

// The other master species, the partners; each has one total.
const (
	pCa = iota
	pMg
	pK
	pNa
	pNH4
	pCl
	pNO3
	pSi
	pB
	pCaNO3 // the pairs of nitrate stand for themselves; nitrate.go sets their totals
	pKNO3
	partnerCount
)

var (
	unknowns = [unknownCount]Species{H, SO4, CO3, PO4}
	partners = [partnerCount]Species{Ca, Mg, K, Na, NH4, Cl, NO3, H4SiO4, H3BO3, CaNO3, KNO3}
)

// basis stands for the constant of an ion that all others are made of.
const basis = "-"

// logK is log10 K = a1 + a2 T + a3/T + a4 log10 T + a5/T² + a6 T².
type logK [6]float64

// species is one row of the tables, resolved.
type species struct {
	name     string
	charge   int
	zz       float64               // charge squared
	formed   [unknownCount]int8    // of the unknowns
	nu       [unknownCount]float64 // the same as numbers
	partner  int8                  // -1: none
	partners int8                  // how many of the partner
	water    int8                  // H2O on the left-hand side
	log      logK
	made     made
	gamma    int // index into gammas
	source   string

	// Conductivity; d25 zero: does not conduct.
	d25, dT, size, sizeGrowth, viscExponent float64
	// Viscosity and volume, the columns of their tables.
	visc      [7]float64
	vol       [10]float64
	hasVolume bool
}

// made is a reaction as its row writes it, with that row's log K.
type made struct {
	reaction string
	log      logK
}

// gamma is one way an activity coefficient depends on ionic strength; species
// that share charge, size and slope share it.
type gamma struct {
	zz, size, slope float64
	davies          bool
}

// hotRow is what the solver's inner loops read of a row, close together.
type hotRow struct {
	hydrogen float64 // how much hydrogen it holds
	zz       float64 // charge squared
	gamma    uint8
	proton   uint8 // which factor of hydrogen and water makes it
	anion    uint8 // and which of the anions
}

var (
	hot          [SpeciesCount]hotRow
	chargeNumber [SpeciesCount]float64
)

// The sums over all species go by pairs.
var _ [0]struct{} = [SpeciesCount % 2]struct{}{}

// run is a stretch of rows with the same anion, as often, and the same partner.
type run struct {
	from, to Species
	anion    int // unknown; uH: none
	n        float64
	factor   int // place in the table of the anions' powers
	partners float64
}

// group holds the rows of one partner.
type group struct {
	from, to Species
	runs     []run
	double   int // the row that holds two of the partner, from the first; -1: none
}

var groups [partnerCount + 1]group // the last: rows without a partner

const protonFactors = 16

// protonFactor is the place of hydrogen^h water^w in the table of factors; -1
// when the table does not hold it.
func protonFactor(h, w int) int {
	switch {
	case w == 0 && h >= -2 && h <= 3:
		return h + 2
	case h == -1 && w == 1:
		return 6
	case h == 2 && w == -1:
		return 7
	case h == 4 && w == -2:
		return 8
	}
	return -1
}

var (
	table  [SpeciesCount]species
	gammas []gamma
)

const gammaMost = 32 // kinds of activity coefficient

// String gives the name as in the table, "H2PO4-".
func (s Species) String() string {
	if s < 0 || s >= SpeciesCount {
		return fmt.Sprintf("Species(%d)", int(s))
	}
	return table[s].name
}

// Charge gives the charge number.
func (s Species) Charge() int { return table[s].charge }

// Source says where the row's constant comes from.
func (s Species) Source() string { return table[s].source }
