package dosing

// Correction is by how much a probe was found to read off in known solutions. It is taken
// out of what the probe sent, before temperature is compensated. The zero correction takes
// out nothing.
type Correction struct {
	Slope  float64 // of the probe's own reading: 0.97 of a pH unit for each, or mS/cm for each; 0 = 1
	Offset float64 // of a pH probe: what it reads at pH 7, less 7
}

// Of is what a probe of q would have sent without its error.
func (c Correction) Of(q Quantity, sent float64) float64 {
	slope := c.Slope
	if slope == 0 {
		slope = 1
	}
	switch q {
	case QuantityPH:
		return 7 + (sent-7-c.Offset)/slope
	case QuantityEC:
		return sent / slope
	}
	return sent
}
