package alarm

import (
	"fmt"
	"math"

	"leat/safety/response"
)

// What separates the causes of doses that do other than commissioned.
const (
	poorEC  = 0.75 // stocks that do so little
	apartBy = 0.75 // acid's effect ÷ base's, below which only acid is taken up
)

// early says that acid, base and stocks all do more at first than they should: pumps and
// buffers differ by reagent, only water does not. What the stated zones explain, since they take up their
// share later, is as it should be.
func (s *Situation) early(back float64) bool {
	atFirst := 1 - s.Later
	return s.LnBuffer < math.Log(atFirst)-worn+back && s.ECGain*atFirst > response.RichEC-back
}

// weak says what it points to that acid and base do too little, as far as anything
// separates the causes.
func (s *Situation) weak() string {
	words := fmt.Sprintf("acid and base do %.0f %% of what was commissioned", 100*math.Exp(-s.LnBuffer))
	stocks := fmt.Sprintf("the stocks do %.0f %%", 100*s.ECGain)
	switch {
	case s.ECGain > 0 && s.ECGain < poorEC:
		words += ", " + stocks + ": all fall alike, as with pumps that give less than they count, or more water in the tank than was stated"
		if s.Slow > 0 {
			words += " (or a larger quick share)"
		}
		return words
	case s.Acid.Known && s.Base.Known && s.Acid.Does < apartBy*s.Base.Does:
		return words + fmt.Sprintf(" (acid %.0f, base %.0f %%), %s: carbonate takes up acid and not base, as top-up water or a base of carbonate brings it; else the acid's tube",
			100*s.Acid.Does, 100*s.Base.Does, stocks)
	case s.Acid.Known && s.Base.Known && s.Base.Does < apartBy*s.Acid.Does:
		return words + fmt.Sprintf(" (acid %.0f, base %.0f %%), %s: it is the base alone: its tube, or what it has lost to the air",
			100*s.Acid.Does, 100*s.Base.Does, stocks)
	case s.Acid.Known && s.Base.Known:
		return words + ", one like the other, " + stocks + ": water that buffers more than was commissioned, or a pH probe that answers slowly (time it in two buffers)"
	case s.Alkaline:
		return words + ", " + stocks + ": carbonate, which the top-up brings, looks like that, and so do a worn tube and a slow pH probe; measure what the pump gives before you change it"
	}
	return words + ", " + stocks + ": a worn tube, a slow pH probe or water that buffers more all look like that; measure what the pump gives before you change it"
}

func (s *Situation) rich() string {
	return fmt.Sprintf("acid and base do %.0f %% and the stocks %.0f %% of what was commissioned, all at first more than they should: %s",
		100*math.Exp(-s.LnBuffer), 100*s.ECGain, response.SlowWaterWords)
}
