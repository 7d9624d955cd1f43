package blend

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// Feed is what a tank in use is to be given next: a blend without acid, pH and EC,
// which others see to.
type Feed struct {
	Wants   Content // mmol for a litre of tank; below zero counts as none
	Against Content // what a litre is to hold: a miss counts as a share of it
	Stocks  []Stock // acids and bases among them give nothing
	MaxNH4  float64 // of the nitrogen that is given; 0 = 10 %

	// What is given is worth Most at most, by what a mmol of each is worth: where all is
	// given as a share of an EC, no ion may take the place of another beyond that.
	Worth Content
	Most  float64 // 0 = no such limit
}

// Amounts is the nearest that the stocks can give, mL of each for a litre of tank.
// Substances that Against leaves out are not looked at. Errors are *Refusal.
func (f *Feed) Amounts() ([]float64, error) {
	t := Task{Recipe: Recipe{Name: "what the tank lacks"}, Stocks: f.Stocks, MaxNH4: f.MaxNH4}
	if err := t.fill(); err != nil {
		return nil, err
	}
	if !f.Wants.finite() || !f.Against.finite() {
		return nil, &Refusal{"the tank's account holds amounts that are no numbers", "enter an analysis"}
	}
	nitrogen := max(f.Wants[NO3], 0) + max(f.Wants[NH4], 0)
	for s := NO3; s < Carbon; s++ {
		if !(f.Against[s] > 0) {
			continue
		}
		w := Want{Stated: true, Amount: max(f.Wants[s], 0)}
		// The row is divided by its scale: what is left is a share of Against.
		w.Weight = scaleOf(s, w, nitrogen) / f.Against[s]
		if s.Micro() {
			w.Weight *= microWeight
		}
		t.Recipe.Wants[s] = w
	}
	m := &Mix{Task: t, Factor: 1}
	b := newBlender(&m.Task)
	b.worth, b.most = f.Worth, f.Most
	for i := range m.Task.Stocks {
		b.usable[i] = !m.Task.Stocks[i].acidic()
	}
	for round := 0; round == 0 || round < 3 && b.apart; round++ { // then it is known what comes with the traces
		if err := b.mixture(m); err != nil {
			return nil, err
		}
	}
	if by := f.paid(b, m); by < 1 {
		for i := range m.Amounts {
			if b.trace[i] {
				m.Amounts[i] *= by
			}
		}
	}
	return m.Amounts, nil
}

// paid is the part of what is to be given that the stocks of macronutrients bring.
// Doses go on until EC is whole: where nothing can bring calcium, others are given for
// its EC, and micronutrients must not come with them twice.
func (f *Feed) paid(b *blender, m *Mix) float64 {
	if !(f.Most > 0) {
		return 1
	}
	given := 0.0
	for i := range m.Amounts {
		if !b.trace[i] {
			given += float64(f.Stocks[i].perUnit().worth(&f.Worth) * m.Amounts[i])
		}
	}
	return given / f.Most
}

func (c Content) worth(each *Content) float64 {
	sum := 0.0
	for s := NO3; s < Carbon; s++ {
		sum += float64(c[s] * each[s])
	}
	return sum
}

// AmmoniumAdvice is ammonium's share of the nitrogen as a means against a pH that climbs:
// from Share to To, acid falls by the share Less.
type AmmoniumAdvice struct{ Share, To, Less float64 }

// smallestAdvice is the change of share that is worth a word.
const smallestAdvice = 0.01

// AdviseAmmonium finds the share at which half the acid is saved, or the nearest
// that is allowed. Acid is meq and nitrogen mmol, both of the same water or time;
// share and most are parts of the nitrogen. A root that takes up ammonium gives off
// one proton, one that takes up nitrate takes up about one (Marschner's Mineral
// Nutrition of Higher Plants, chapter on rhizosphere pH): each mmol that changes
// its form saves two meq. It reports false where no acid is given or nothing is
// left to move.
func AdviseAmmonium(acid, nitrogen, share, most float64) (AmmoniumAdvice, bool) {
	if !(acid > 0) || !(nitrogen > 0) || !(share >= 0) {
		return AmmoniumAdvice{}, false
	}
	l := AmmoniumAdvice{Share: share, To: math.Min(share+acid/(4*nitrogen), math.Min(most, HardNH4))}
	if !(l.To-share >= smallestAdvice) {
		return AmmoniumAdvice{}, false
	}
	l.Less = 2 * (l.To - share) * nitrogen / acid
	return l, true
}

func (l AmmoniumAdvice) String() string {
	saved := fmt.Sprintf("about %.0f %% less acid", 100*l.Less)
	if l.Less > 0.45 {
		saved = "about half the acid"
	}
	return fmt.Sprintf("NH4 %.0f → %.0f %% of N: %s", 100*l.Share, 100*l.To, saved)
}

// List is the analysis in the short form that ReadList reads, mmol/L.
func (a Analysis) List() string {
	var words []string
	add := func(name string, v float64, unit string) {
		words = append(words, strings.TrimSpace(fmt.Sprintf("%s=%s %s", name, exact(v), unit)))
	}
	for s := NO3; s < Carbon; s++ {
		if a.Stated[s] {
			add(s.Symbol(), a.Content[s], "mmol/L")
		}
	}
	sort.Strings(words)
	if a.Alkalinity >= 0 {
		add("HCO3", a.Alkalinity, "meq/L")
	}
	if a.PH > 0 {
		add("pH", a.PH, "")
	}
	if a.EC > 0 {
		add("EC", a.EC, "mS/cm")
	}
	return strings.Join(words, ", ")
}

// exact prints a number with six digits that count and without an exponent, which a
// list cannot hold.
func exact(v float64) string {
	if !(v > 0) {
		return "0"
	}
	digits := min(max(5-int(math.Floor(math.Log10(v))), 0), 9)
	text := fmt.Sprintf("%.*f", digits, v)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}
