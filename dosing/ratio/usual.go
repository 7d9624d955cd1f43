package ratio

import (
	"leat/dosing"
	"leat/dosing/blend"
)

// UsualDrink is what a usual crop drinks of a tank in a day, in litres.
func UsualDrink(litres float64) float64 { return UsualWeek / 7 * litres }

// UsualDay is what a usual crop draws of each pump in a day, mL, before anything was
// measured. With each litre that it drinks it takes UsualUptake of nutrients in the recipe's
// proportions: stocks give what the source water and the acid do not bring. Acid is counted
// for the alkalinity of that water alone: what plants themselves do to pH nobody knows yet.
func (p *Plan) UsualDay() ([]float64, error) {
	fresh, amounts, err := p.Fresh()
	if err != nil {
		return nil, err
	}
	brings := blend.Content{}.Plus(p.bringsUsually(amounts), UsualUptake) // with a litre
	takes := make([]float64, len(p.Stocks))
	feed := blend.Feed{MaxNH4: p.MaxNH4}
	for s, want := range fresh.Wants {
		feed.Against[s] = want.Amount * UsualUptake / p.EC
	}
	if n := fresh.N; n.Stated {
		feed.Against[blend.NO3] = max(feed.Against[blend.NO3], n.Amount*UsualUptake/p.EC-feed.Against[blend.NH4])
	}
	for s := range feed.Wants {
		feed.Wants[s] = feed.Against[s] - brings[s]
	}
	stocks, pumps := p.serving(func(s *blend.Stock) bool { return s.Role == dosing.RoleStock })
	feed.Stocks = stocks
	given, err := feed.Amounts()
	if err != nil {
		return nil, err
	}
	for i, pump := range pumps {
		takes[pump] = given[i]
	}
	drink := UsualDrink(p.Litres)
	for i := range takes {
		if p.Stocks[i].Role != dosing.RoleStock {
			takes[i] = amounts[i]
		}
		takes[i] *= drink
	}
	return takes, nil
}
