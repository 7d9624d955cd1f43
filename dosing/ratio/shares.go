package ratio

import (
	"fmt"
	"math"
	"strings"

	"leat/dosing"
	"leat/dosing/blend"
)

const (
	// horizon is what the stocks give, as a share of the tank's EC, until what is
	// missing is made good: the way to where the loop brings EC, then uptake. Shorter, and the shares would jump at each analysis by more than
	// the analysis knows; longer, and the tank would not be there by the next one.
	horizon = 0.5
	// movedEnough is the share of a target by which an ion or the account of the acid
	// must move before shares are solved anew.
	movedEnough = 0.02
)

// Shares are the shares of the stocks by volume, by pump; they sum to one. The
// slice is the tank's own.
func (t *Tank) Shares() []float64 { return t.shares }

// Moved says whether the account moved enough for other shares.
func (t *Tank) Moved() bool {
	if !t.solved.known {
		return true
	}
	level := t.level()
	for s := blend.NO3; s < blend.Carbon; s++ {
		if enough := movedEnough * t.target[s]; enough > 0 && !s.Micro() &&
			(math.Abs(t.content[s]/level-t.solved.content[s]) > enough || math.Abs(t.acid[s]+t.base[s]-t.solved.acid[s]) > enough) {
			return true
		}
	}
	return false
}

// Toward says to which EC the loop brings the tank.
func (t *Tank) Toward(ec float64) { t.toward = ec }

// level is the strength of the tank by its nutrients once EC stands where the loop
// brings it, 1 = at the plan's EC. What the loop does about EC is its own: shares are
// about the ratio. Fresh source water holds much calcium beside its potassium, and
// would still want calcium.
func (t *Tank) level() float64 {
	var held blend.Content
	for s := range t.target {
		if t.target[s] > 0 {
			held[s] = t.content[s]
		}
	}
	return max(weigh(held)/weigh(t.target)+t.room()/t.plan.EC, 0.05)
}

// room is what EC still has to rise, mS/cm.
func (t *Tank) room() float64 {
	if !t.seen {
		return 0
	}
	return max(t.toward-t.ec, 0)
}

// Wants is what the stocks are to give over the horizon, mmol for a litre of tank:
// what the tank lacks of its recipe, and what plants will take once EC stands where it
// is to stand, less what acid, base and water will bring then. So a dump is made good by
// what it took away, and not by what plants take over weeks. Below zero is a surplus, carried until it is used up.
func (t *Tank) Wants() blend.Content {
	uptake, level, brought := max(horizon*t.plan.EC-t.room(), 0), t.level(), t.brought()
	var w blend.Content
	for s := blend.NO3; s < blend.Carbon; s++ {
		if !(t.target[s] > 0) {
			continue
		}
		lacks := t.target[s] - t.content[s]/level
		if s == blend.NH4 {
			lacks = min(lacks, 0) // it is taken first and soon turned into nitrate
		}
		w[s] = lacks + float64(uptake*(t.appetite[s]-brought[s]))
	}
	return w
}

// Solve finds new shares and reports whether there are any. What the stocks cannot
// do (every nutrient in surplus) leaves the shares as they are.
func (t *Tank) Solve() bool {
	stocks, pumps := t.plan.serving(func(s *blend.Stock) bool { return s.Role == dosing.RoleStock })
	feed := blend.Feed{Wants: t.Wants(), Against: t.target, Stocks: stocks, NH4Most: t.plan.NH4Most}
	t.solved = solvedAt{known: true, content: blend.Content{}.Plus(t.content, 1/t.level()), acid: t.acid.Plus(t.base, 1)}
	given, err := feed.Amounts()
	if err != nil {
		return false
	}
	amounts := make([]float64, len(t.plan.Stocks))
	for i, pump := range pumps {
		amounts[pump] = given[i]
	}
	shares := t.plan.sharesOf(amounts)
	if shares == nil {
		return false
	}
	t.shares = shares
	return true
}

// Limits of the alarm of a surplus.
const (
	surplusUptake = 0.25 // of the tank's EC, taken since the last analysis
	surplusShare  = 0.10 // of the target, beyond what plants took
	surplusRatio  = 1.1  // of what plants took
)

// Surplus says, in words, of which nutrients acid or base bring more than the crop
// takes; empty while there are none or too little was taken to tell.
func (t *Tank) Surplus() string {
	if !(t.uptake > surplusUptake*t.plan.EC) {
		return ""
	}
	var words []string
	for s := blend.NO3; s < blend.Na; s++ {
		for _, by := range []struct {
			name  string
			given float64
		}{{"acid", t.acid[s]}, {"base", t.base[s]}} {
			taken := max(t.taken[s], 0)
			if t.target[s] > 0 && by.given > surplusRatio*taken && by.given-taken > surplusShare*t.target[s] {
				words = append(words, fmt.Sprintf("%s supplies more %s than the crop takes: %.2f against %.2f mmol/L since the last analysis", by.name, s.Symbol(), by.given, taken))
			}
		}
	}
	return strings.Join(words, "; ")
}

// Lever is what ammonium's share could do about the acid, in words: advice that is
// never carried out by itself. It is empty while there is nothing to say.
func (t *Tank) Lever() string {
	if !(t.uptake > surplusUptake*t.plan.EC) {
		return ""
	}
	nitrogen := t.taken.Nitrogen()
	share := 0.0
	if given := t.stock.Nitrogen() + t.acid.Nitrogen(); given > 0 {
		share = t.stock[blend.NH4] / given
	}
	most := t.plan.NH4Most
	if most == 0 {
		most = blend.UsualNH4
	}
	lever, ok := blend.AmmoniumLever(t.meq, nitrogen, share, most)
	if !ok {
		return ""
	}
	return lever.String()
}
