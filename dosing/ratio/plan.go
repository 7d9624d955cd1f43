package ratio

import (
	"fmt"

	"leat/dosing"
	"leat/dosing/blend"
)

// Plan is what a tank is to hold and what it can be given from.
type Plan struct {
	Recipe blend.Recipe
	Water  blend.Content // of the source, closed: blend.Analysis.Water
	Stocks []blend.Stock // one for each pump of the row; the zero Stock does not serve this tank
	Litres float64       // at the working level
	EC, PH float64       // setpoints of the file
	MaxNH4 float64       // ammonium's share of the nitrogen that is given; 0 = 10 %
}

// Fresh is the recipe made from the source water at the setpoints: what a tank is
// filled with, and the first shares. Amounts are by pump.
func (p *Plan) Fresh() (*blend.Mix, []float64, error) {
	stocks, pumps := p.serving(func(s *blend.Stock) bool { return s.Role != dosing.RoleNone })
	m, err := blend.Solve(blend.Task{Recipe: p.Recipe, Base: p.Water, Stocks: stocks, EC: p.EC, PH: p.PH, MaxNH4: p.MaxNH4})
	if err != nil {
		return nil, nil, fmt.Errorf("recipe %s: %w", p.Recipe.Name, err)
	}
	amounts := make([]float64, len(p.Stocks))
	for i, pump := range pumps {
		amounts[pump] = m.Amounts[i]
	}
	return m, amounts, nil
}

// bringsUsually is what a litre of source water, and the acid or base that it needs
// (amounts are of the fresh blend), bring for each mS/cm that a usual crop takes.
func (p *Plan) bringsUsually(amounts []float64) blend.Content {
	litre := p.Water
	for i := range p.Stocks {
		if r := p.Stocks[i].Role; r == dosing.RoleAcid || r == dosing.RoleBase {
			litre = litre.Plus(p.Stocks[i].Content, amounts[i]/1000)
		}
	}
	return blend.Content{}.Plus(litre, 1/UsualUptake)
}

// forAlkalinity is what the acid of the fresh blend brings for each meq of alkalinity;
// nothing where it gives none.
func (p *Plan) forAlkalinity(amounts []float64) blend.Content {
	var acid blend.Content
	for i := range p.Stocks {
		if p.Stocks[i].Role == dosing.RoleAcid {
			acid = acid.Plus(p.Stocks[i].Content, amounts[i])
		}
	}
	meq := 0.0
	for s, z := range charges {
		meq -= float64(z * acid[s])
	}
	if !(meq > 0) {
		return blend.Content{}
	}
	return blend.Content{}.Plus(acid, 1/meq)
}

// serving are the stocks that pass, with their pumps.
func (p *Plan) serving(pass func(*blend.Stock) bool) (stocks []blend.Stock, pumps []int) {
	for i := range p.Stocks {
		if pass(&p.Stocks[i]) {
			stocks, pumps = append(stocks, p.Stocks[i]), append(pumps, i)
		}
	}
	return stocks, pumps
}

// sharesOf brings amounts of stocks to shares by volume that sum to one; acids and
// bases have none. Nil where there is nothing to share.
func (p *Plan) sharesOf(amounts []float64) []float64 {
	shares, sum := make([]float64, len(p.Stocks)), 0.0
	for i := range p.Stocks {
		if p.Stocks[i].Role == dosing.RoleStock && amounts[i] > 0 {
			shares[i] = amounts[i]
			sum += amounts[i]
		}
	}
	if !(sum > 0) {
		return nil
	}
	for i := range shares {
		shares[i] /= sum
	}
	return shares
}

// ionic are the limiting molar conductivities of the ions at 25 °C, mS/cm for a mmol/L
// (CRC Handbook of Chemistry and Physics, phosphate as H2PO4). They only weigh the ions
// against one another.
var ionic = blend.Content{blend.NO3: 0.0714, blend.NH4: 0.0735, blend.P: 0.033, blend.K: 0.0735, blend.Ca: 0.1189, blend.Mg: 0.106, blend.S: 0.160, blend.Na: 0.0501, blend.Cl: 0.0763}

const ionicHCO3 = 0.0445

// weigh is the conductivity that the ions of a content would have if they were alone in
// much water.
func weigh(c blend.Content) float64 {
	sum := 0.0
	for s := blend.NO3; s <= blend.Cl; s++ {
		sum += float64(ionic[s] * c[s])
	}
	return sum
}
