package ratio

import (
	"leat/dosing"
	"leat/dosing/blend"
)

// leastNew is the share of a tank that a refill counts as new water where none is to come: a
// thousandth changes no figure that is shown.
const leastNew = 0.001

// Refill is what brings the tank to its recipe at an EC and pH when a share of it is replaced by
// source water. Amounts are mL for each litre of tank, by pump. Reads is the pH that it has now.
func (t *Tank) Refill(share, ec, pH, reads float64) (*blend.Refilled, []float64, error) {
	p := t.plan
	stocks, pumps := p.serving(func(s *blend.Stock) bool { return s.Role != dosing.RoleNone })
	out, err := blend.Fill(blend.Refill{Recipe: p.Recipe, EC: ec, PH: pH, MaxNH4: p.MaxNH4, Stocks: stocks,
		Source: p.Water, Water: p.Water, Tank: t.Sample(reads), Share: min(max(share, leastNew), 1)})
	if err != nil {
		return nil, nil, err
	}
	amounts := make([]float64, len(p.Stocks))
	for i, pump := range pumps {
		amounts[pump] = out.Mix.Amounts[i]
	}
	return out, amounts, nil
}
