package dosing

// Titration is the titration curve of a tank's solution at its commissioned
// composition. chem.Curve is one; the names of its arguments are pH values.
type Titration interface {
	// AcidNeeded is the strong acid that brings the solution from one pH to
	// another, meq/L; negative means base.
	AcidNeeded(fromPH, toPH float64) float64
	// PHAfter is the pH after so much strong acid in meq/L, negative for base.
	PHAfter(fromPH, acid float64) float64
	// Buffer is the buffer capacity at a pH in meq/L per pH, always positive.
	Buffer(atPH float64) float64
}
