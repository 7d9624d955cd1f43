package blend

import (
	"fmt"
	"math"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// Finding is a judgement on what stands in one container or meets undiluted.
type Finding struct {
	Refused bool // it must not be made; else it is to be watched
	Text    string
}

// Handbook limits of what dissolves beside one another.
const (
	gypsumGrams   = 2.4 // g of CaSO4·2H2O in a litre of water at 20 °C (CRC Handbook, from memory)
	gypsumMass    = 172.164
	phosphateMmol = 0.5 // mmol/L of calcium and phosphate that a weak solution holds near pH 5.8 (brushite, from its constant)
	loadMost      = 1.0 // sum of grams ÷ solubility
	loadGood      = 0.8
	doubtful      = 0.5 // of a saturation index in a concentrate
	beyondModel   = "the stock lies outside the activity model: the sign of the index counts, its value is good to ±0.5"
)

// Judge says what may not stand together in a litre of concentrate: by handbook
// limits of solubility and, where the chemistry reaches, by saturation.
func Judge(portions []Portion, tempC float64) []Finding {
	var all []Finding
	refuse := func(format string, args ...any) {
		all = append(all, Finding{true, fmt.Sprintf(format, args...)})
	}
	watch := func(format string, args ...any) {
		all = append(all, Finding{false, fmt.Sprintf(format, args...)})
	}
	var c, free Content
	chelate, chelated := "", false
	for _, p := range portions {
		c = c.Plus(p.Each, p.Grams)
		if p.Group != dosing.GroupChelate {
			free = free.Plus(p.Each, p.Grams)
		}
		if p.Group == dosing.GroupChelate {
			chelated = true
			chelate = chelateOf(p.Name)
		}
	}
	byHandbook(c, portions, refuse)
	if c[Si] > 0 && (len(portions) > 1) {
		refuse("silicate stands alone: it is strongly alkaline, and gels or falls out beside calcium, magnesium, acid and most salts")
	}
	bySolubility(portions, tempC, refuse, watch)
	crossing(c, portions, tempC, watch)
	r, solved := solution(c, tempC)
	byMetals(c, free, r, solved, portions, refuse, watch)
	if solved {
		bySaturation(c, r, refuse, watch)
		byChelate(r, chelate, chelated, refuse, watch)
	} else if c.Ions() != (chem.Totals{}) && (c[Ca] > 0 && (c[S] > 0 || c[P] > 0) || c[Mg] > 0 && c[P] > 0) {
		watch("too concentrated for a saturation index: only the handbook limits were used")
	}
	return all
}

// solution is the stock as the chemistry sees it; false where it finds none.
func solution(c Content, tempC float64) (*chem.Result, bool) {
	var solver chem.Solver
	r := new(chem.Result)
	t := c.Ions()
	if t == (chem.Totals{}) {
		return nil, false
	}
	return r, solver.Solve(&t, chem.Conditions{TempC: tempC, OnlyHere: true}, r) == nil
}

// namesOf lists the portions that hold a substance.
func namesOf(portions []Portion, s Substance) string {
	var names []string
	for _, p := range portions {
		if p.Each[s] > 0 {
			names = append(names, p.Name)
		}
	}
	return strings.Join(names, ", ")
}

// metalsClear is the pH up to which zinc, manganese and copper stay dissolved
// beside phosphate; ironClear that up to which bare iron(II) keeps for weeks
// (common practice).
const metalsClear, ironClear = 5.0, 4.0

// byMetals judges metals that no chelate holds, beside phosphate: a pH that is not
// known is taken as too high. Iron(II) phosphate, vivianite, falls out at any pH that
// a stock has.
func byMetals(c, free Content, r *chem.Result, solved bool, portions []Portion, refuse, watch func(string, ...any)) {
	if free[Fe] > 0 {
		if c[P] > 0 {
			refuse("%s beside %s: iron phosphate (vivianite) falls out; take a chelate of iron, or give it a stock of its own", namesOf(portions, Fe), namesOf(portions, P))
		} else {
			watch("iron that no chelate holds turns to rust above about pH %s: acidify the stock below that before the iron goes in, or take a chelate", figure(ironClear))
		}
	}
	if !(c[P] > 0) {
		return
	}
	for _, metal := range []Substance{Mn, Zn, Cu} {
		switch {
		case !(free[metal] > 0) || solved && r.PH <= metalsClear:
		case solved:
			refuse("%s beside %s: %s phosphate falls out above pH %s, and the stock comes to about pH %.1f; %s", namesOf(portions, metal), namesOf(portions, P), metal, figure(metalsClear), r.PH, acidAdvice(c, r))
		default:
			refuse("%s beside %s: %s phosphate falls out above pH %s, and the pH of this stock is beyond the model; give the metals a stock without phosphate", namesOf(portions, metal), namesOf(portions, P), metal, figure(metalsClear))
		}
	}
}

// stockPH is where phosphate keeps its company: advised where a stock is too
// alkaline for what stands in it.
const stockPH = 4.5

// acidAdvice says what would keep a phosphate dissolved beside metals or magnesium.
func acidAdvice(c Content, r *chem.Result) string {
	var solver chem.Solver
	t := c.Ions()
	meq, err := solver.AcidFor(&t, stockPH, chem.Conditions{TempC: r.TempC})
	if err != nil || !(meq > 0) {
		return "part them"
	}
	return fmt.Sprintf("acidify it to pH %s before they meet (about %s meq of nitric or phosphoric acid in a litre), take monopotassium phosphate, or part them", figure(stockPH), figure(meq))
}

func byHandbook(c Content, portions []Portion, refuse func(string, ...any)) {
	from := func(s Substance) string { return namesOf(portions, s) }
	if both := math.Min(c[Ca], c[S]); both > 0 {
		if grams := both * gypsumMass / 1000; grams > gypsumGrams {
			refuse("%s beside %s: gypsum falls out, %s g/L of it where %s dissolve", from(Ca), from(S), figure(grams), figure(gypsumGrams))
		}
	}
	if math.Min(c[Ca], c[P]) > phosphateMmol {
		refuse("%s beside %s: calcium phosphate (brushite) falls out of anything this strong", from(Ca), from(P))
	}
}

// Load is the sum of each salt's grams ÷ what dissolves of it alone; common practice
// stays at or below 0.8. Salts of unknown solubility are left out.
func Load(portions []Portion, tempC float64) float64 {
	sum := 0.0
	for _, p := range portions {
		if p.Salt != nil && p.Salt.Solubility > 0 {
			sum += p.Grams / max(p.Salt.Dissolves(tempC), 1e-9)
		}
	}
	return sum
}

func bySolubility(portions []Portion, tempC float64, refuse, watch func(string, ...any)) {
	for _, p := range portions {
		if p.Salt == nil || p.Salt.Solubility == 0 {
			if p.Group != dosing.GroupChelate {
				watch("%s: its solubility is not known here; try a litre first", p.Name)
			}
			continue
		}
		if most := p.Salt.Dissolves(tempC); p.Grams > most {
			refuse("%s %s g/L is more than dissolves at %s °C: %s g/L", p.Name, figure(p.Grams), figure(tempC), figure(most))
			return
		}
	}
	switch load := Load(portions, tempC); {
	case load > loadMost:
		refuse("all salts together need %s times the water there is at %s °C", figure(load), figure(tempC))
	case load > loadGood:
		watch("the salts take %s of what dissolves at %s °C: make it a little weaker", percent(load), figure(tempC))
	}
}

// crossing warns of salts that form from the ions of others: potassium of one and
// sulfate of another make potassium sulfate, the least soluble.
func crossing(c Content, portions []Portion, tempC float64, watch func(string, ...any)) {
	has := func(name string) bool {
		for _, p := range portions {
			if p.Salt != nil && p.Salt.Name == name {
				return true
			}
		}
		return false
	}
	for _, pair := range []struct {
		name string
		mmol float64
	}{
		{"potassium sulfate", math.Min(c[K]/2, c[S])},
		{"potassium nitrate", math.Min(c[K], c[NO3])},
		{"monopotassium phosphate", math.Min(c[K], c[P])},
	} {
		salt := Salts[pair.name]
		if grams := pair.mmol * salt.MolarMass / 1000; grams > salt.Dissolves(tempC) && !has(pair.name) {
			watch("its ions can form %s, %s g/L where %s dissolve at %s °C: crystals may grow from salts that went in clear", pair.name, figure(grams), figure(salt.Dissolves(tempC)), figure(tempC))
		}
	}
}

// bySaturation asks the chemistry. Concentrates lie outside its activity model:
// only a sign beyond its doubt is told, beside the handbook's word.
func bySaturation(c Content, r *chem.Result, refuse, watch func(string, ...any)) {
	for _, one := range []struct {
		phase    chem.Phase
		what     string
		clear    float64 // index up to which it stays in solution in practice
		alkaline bool    // acid dissolves it
	}{
		{chem.Gypsum, "gypsum", 0, false},
		{chem.Brushite, "brushite (calcium phosphate)", chem.BrushiteClear, true},
		{chem.Struvite, "struvite (magnesium ammonium phosphate)", 0, true},
		{chem.Newberyite, "newberyite (magnesium phosphate)", 0, true},
	} {
		si, advice := r.Saturation[one.phase], ""
		if one.alkaline && r.PH > stockPH {
			advice = "; " + acidAdvice(c, r)
		}
		if r.Warnings.Has(chem.BeyondModel) {
			advice += "; " + beyondModel
		}
		switch {
		case math.IsNaN(si) || si <= one.clear-doubtful:
		case si > one.clear+doubtful:
			refuse("%s is supersaturated, index %+.1f%s", one.what, si, advice)
		default:
			watch("%s is near saturation, index %+.1f%s", one.what, si, advice)
		}
	}
}

// byChelate judges the pH at which a chelate is kept.
func byChelate(r *chem.Result, chelate string, chelated bool, refuse, watch func(string, ...any)) {
	if !chelated {
		return
	}
	if limit, ok := chelateLimit(chelate); ok && r.PH > limit {
		watch("the stock comes to about pH %.1f, and iron %s holds up to about %s", r.PH, chelate, figure(limit))
	}
	if r.PH < 3 {
		refuse("the stock comes to about pH %.1f, at which a chelate lets go of its iron", r.PH)
	}
}
