package blend

import (
	"fmt"
	"math"

	"leat/dosing"
	"leat/dosing/chem"
)

// Task is what a mixture is asked for.
type Task struct {
	Recipe Recipe
	Base   Content // the source water, or the tank that is corrected
	IsTank bool    // the base is a tank: words then say "the tank holds"
	Stocks []Stock
	EC     float64 // mS/cm at 25 °C to scale the macronutrients to; 0 = the recipe as it stands
	PH     float64 // once the air has had its say; 0 = the recipe's, else 5.8
	TempC  float64 // of saturation and pH; 0 = 25
	CO2    float64 // of the air, atm; 0 = 420 ppm
	MaxNH4 float64 // share of nitrogen; 0 = 10 %

	// After a dump the tank is filled up with liquids and with this water: it is what
	// the liquids take the place of, as far as the dumped share goes.
	refill *Content
	dumped float64
	// Which of acid and base is given, where a search has settled it.
	reagent dosing.Role
	within  float64 // share by which each macronutrient may miss at most; 0 = no such limit
}

const (
	usualPH = 5.8
	roomCO2 = 420e-6 // atm, ventilated room

	// Ammonium's share of nitrogen: more burns roots when a tank warms or drifts
	// (common practice).
	UsualNH4 = 0.10
	HardNH4  = 0.15
)

// Refusal is a task that is not to be carried out, with what to change.
type Refusal struct{ Problem, Hint string }

func (r *Refusal) Error() string { return r.Problem + "; " + r.Hint }

func (t *Task) fill() error {
	if t.PH == 0 {
		t.PH = t.Recipe.PH
	}
	if t.PH == 0 {
		t.PH = usualPH
	}
	if t.TempC == 0 {
		t.TempC = 25
	}
	if t.CO2 == 0 {
		t.CO2 = roomCO2
	}
	if t.MaxNH4 == 0 {
		t.MaxNH4 = UsualNH4
	}
	switch {
	case !(t.PH >= 4.5 && t.PH <= 8):
		return &Refusal{fmt.Sprintf("pH %s is outside what roots take", figure(t.PH)), "ask for 4.5 to 8, usually 5.5 to 6.3"}
	case !(t.MaxNH4 > 0 && t.MaxNH4 <= HardNH4):
		return &Refusal{fmt.Sprintf("ammonium at %s %% of nitrogen harms roots", figure(100*t.MaxNH4)), "ask for at most 15 %"}
	case !(t.EC >= 0 && t.EC <= 6):
		return &Refusal{fmt.Sprintf("EC %s mS/cm is outside what plants live in", figure(t.EC)), "ask for at most 6 mS/cm at 25 °C"}
	case len(t.Stocks) == 0:
		return &Refusal{"there is no stock to blend from", "name stocks or salts"}
	case len(t.Stocks) > mostStocks:
		return &Refusal{fmt.Sprintf("%d stocks are more than can be blended", len(t.Stocks)), fmt.Sprintf("leave out those that are not used: at most %d", mostStocks)}
	case !t.Base.finite():
		return &Refusal{"the water holds amounts that are no numbers", "check its analysis"}
	}
	return nil
}

// around is a litre's base beside so many litres of liquids, and the share that is
// left of everything where nothing makes room for them: a tank that nobody dumped
// from grows by what is added.
func (t *Task) around(volume float64) (base Content, share float64) {
	water, room := &t.Base, 1.0
	switch {
	case t.refill != nil:
		water, room = t.refill, t.dumped
	case t.IsTank:
		room = 0
	}
	volume = min(volume, mostSought)
	taken := min(volume, room)
	share = 1 / (1 + volume - taken)
	return Content{}.Plus(t.Base.Plus(*water, -taken), share), share
}

// mostSought bounds the volume of the liquids while the mixture is sought; blends are
// refused far below it.
const mostSought = 0.5

// volume is what the liquids take of a litre, in litres.
func (t *Task) volume(amounts []float64) float64 {
	sum := 0.0
	for i := range t.Stocks {
		if !t.Stocks[i].Solid {
			sum += amounts[i]
		}
	}
	return sum / 1000
}

// serves says whether a stock holds anything that the recipe asks for.
func (t *Task) serves(s *Stock) bool {
	if s.acidic() {
		return false // acid and base are chosen once it is known which is needed
	}
	for o, w := range t.Recipe.Wants {
		if s.Content[o] > 0 && w.Stated && w.Weight > 0 && w.Amount > 0 {
			return true
		}
	}
	return t.Recipe.Nitrogen.Amount > 0 && s.Content.Nitrogen() > 0
}

// reached is the solution that amounts make.
func (t *Task) reached(amounts []float64) Content {
	c, share := t.around(t.volume(amounts))
	for i := range t.Stocks {
		if amounts[i] != 0 {
			c = c.Plus(t.Stocks[i].perUnit(), amounts[i]*share)
		}
	}
	return c
}

// wants is the recipe at a strength: macronutrients scaled, micronutrients as they
// stand, since a crop takes up no less iron because its EC is low.
func (t *Task) wants(factor float64) (w [SubstanceCount]Want, n Want) {
	w, n = t.Recipe.Wants, t.Recipe.Nitrogen
	for s := range w {
		if Substance(s).Macro() || Substance(s) == Si {
			w[s].Amount *= factor
		}
	}
	n.Amount *= factor
	return w, n
}

// Mix is the answer.
type Mix struct {
	Task    Task
	Factor  float64 // of the recipe's strength
	Amounts []float64
	Reached Content
	Wants   [SubstanceCount]Want // at this strength
	N       Want
	Acid    float64 // meq/L that the base needs to come to the pH; negative: base
	Steered bool    // an acid or base was at hand and used for pH

	Settled chem.Result // once the air has had its say
	AtOnce  chem.Result // before carbon dioxide has left
	Plain   chem.Result // the base itself, closed

	need float64 // balance of charge that the pH needs, meq/L: see balanceOf

	Reasons      []string
	Rounding     string // what whole doses of the pumps do to it, and what to add by hand; empty where it is nothing
	Alternatives []string
	Remarks      []string
}

// Off is how far a substance is from its target, as a share of it; NaN where there
// is none. For a target of zero it is the amount in mmol/L.
func (m *Mix) Off(s Substance) float64 { return off(m.Wants[s], m.Reached[s]) }

// OffN is the same for all nitrogen.
func (m *Mix) OffN() float64 { return off(m.N, m.Reached.Nitrogen()) }

func off(w Want, reached float64) float64 {
	switch {
	case !w.Stated || w.Weight == 0:
		return math.NaN()
	case w.Amount == 0:
		return reached
	}
	return reached/w.Amount - 1
}

// Worst is the largest share by which a macronutrient misses its target.
func (m *Mix) Worst() float64 {
	worst := 0.0
	for s := NO3; s <= S; s++ {
		if o := math.Abs(m.Off(s)); m.Wants[s].Amount > 0 && o > worst {
			worst = o
		}
	}
	if o := math.Abs(m.OffN()); m.N.Stated && o > worst {
		worst = o
	}
	return worst
}
