package dosing

// Titration is the curve of the present solution, closed against air, between
// pH 3 and 10.5. Amounts are meq/L of strong acid, negative for base.
type Titration interface {
	// AcidNeeded brings the solution from one pH to another.
	AcidNeeded(fromPH, toPH float64) float64
	// PHAfter is the pH at which acid leaves a solution of fromPH.
	PHAfter(fromPH, acid float64) float64
	// Buffer is the buffer capacity at ph, meq/L per pH, positive.
	Buffer(ph float64) float64
}
