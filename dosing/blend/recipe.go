package blend

import (
	_ "embed"
	"fmt"
	"sort"
	"strings"
)

//go:embed data/recipes.csv
var recipeRows string

// Want is what a recipe says of one substance.
type Want struct {
	Stated  bool
	Amount  float64 // mmol/L
	Weight  float64 // 1 is usual
	Limited bool
	Most    float64 // never above, mmol/L
}

// Recipe is what a crop is to find in a litre.
type Recipe struct {
	Name          string
	source, known string
	Wants         [SubstanceCount]Want
	Nitrogen      Want    // nitrate and ammonium together, where the recipe does not split them
	PH, EC        float64 // 0 where it does not say
	Remarks       []string
}

// Source is where a built-in recipe was published and how its figures are known; empty of
// one that a grower writes.
func (r *Recipe) Source() string {
	if r.source == "" {
		return ""
	}
	return r.source + " (" + r.known + ")"
}

// Content is the recipe as a solution; nitrogen without a form counts as nitrate.
func (r *Recipe) Content() Content {
	var c Content
	for s, w := range r.Wants {
		c[s] = w.Amount
	}
	if r.Nitrogen.Stated {
		c[NO3] = max(c[NO3], r.Nitrogen.Amount-c[NH4])
	}
	return c
}

// open is the charge in meq/L that no neutral salts can close: cations less
// anions, phosphate as H2PO4. NaN-free; false where it cannot be told because
// nitrogen has no form.
func (r *Recipe) open() (meq float64, known bool) {
	for s := NO3; s <= S; s++ {
		if !r.Wants[s].Stated && s != NH4 && !(s == NO3 && r.Nitrogen.Stated) {
			return 0, false
		}
	}
	c := r.Content()
	return openCharge(c), !r.Nitrogen.Stated
}

// recipes are the classic solutions, each with its source.
var recipes = readRecipes()

// RecipeNames lists the recipes that are built in.
func RecipeNames() []string {
	names := make([]string, 0, len(recipes))
	for name := range recipes {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

// RecipeNamed finds a built-in recipe.
func RecipeNamed(name string) (Recipe, bool) {
	r, ok := recipes[strings.ToLower(strings.TrimSpace(name))]
	return r, ok
}

func readRecipes() map[string]Recipe {
	all := map[string]Recipe{}
	for _, row := range rows(recipeRows) {
		r := Recipe{Name: row["recipe"], source: row["source"], known: row["known"], EC: number(row["ec"])}
		for s := range SubstanceCount {
			if text := row[strings.ToLower(s.Symbol())]; text != "" {
				r.Wants[s] = Want{Stated: true, Amount: number(text), Weight: 1}
				if s.Micro() {
					r.Wants[s].Amount /= 1000
					r.Wants[s].Weight = microWeight
				}
			}
		}
		all[r.Name] = r
	}
	return all
}

// microWeight: a micronutrient that is missing altogether counts like a macronutrient
// 2 % off. More, and a stock that carries both would be given for its traces.
const microWeight = 0.02

// ReadRecipe makes a recipe of a sheet's entries: elements, ions or salts of the
// table, with pH and EC.
func ReadRecipe(name string, entries []Entry) (Recipe, error) {
	r := Recipe{Name: name}
	for _, e := range entries {
		at := func(problem, hint string) error { return &Fault{e.Line, e.What, problem, hint} }
		s, ok := spelled(e.What)
		switch {
		case nitrite(e.What):
			return r, at(nitriteProblem, "ask for NO3-N or NH4-N")
		case !ok:
			if err := r.salt(e); err != nil {
				return r, err
			}
			continue
		case s.substance == reading:
			a := Analysis{}
			if err := a.read(e); err != nil {
				return r, err
			}
			r.PH, r.EC = max(r.PH, a.PH), max(r.EC, a.EC)
			continue
		case s.substance == hardness:
			return r, at("is no nutrient", "ask for Ca and Mg")
		case s.substance == alkaline:
			return r, at("is no nutrient", "alkalinity follows from the pH you ask for")
		}
		amount, err := s.amount(e.Amount, e.Unit)
		if err != nil {
			return r, at(err.Error(), "for example Ca,160,mg/L")
		}
		if amount > 200 {
			return r, at("is more than any solution that plants live in", "check the unit")
		}
		want := &r.Nitrogen
		if s.substance != nitrogen {
			want = &r.Wants[s.substance]
		}
		if want.Stated || want.Limited {
			return r, at("is stated twice", "leave one out; salts add up by themselves")
		}
		*want = Want{Stated: e.Weight > 0, Amount: amount, Weight: e.Weight}
		if s.substance != nitrogen && s.substance.Micro() {
			want.Weight *= microWeight
		}
		if e.Most >= 0 {
			want.Limited = true
			if want.Most, err = s.amount(e.Most, e.Unit); err != nil {
				return r, at(err.Error(), "")
			}
		}
	}
	return r, r.judge()
}

// salt adds a salt of the table to the recipe.
func (r *Recipe) salt(e Entry) error {
	at := func(problem, hint string) error { return &Fault{e.Line, e.What, problem, hint} }
	salt, ok := SaltNamed(e.What)
	if !ok {
		hint := nameHint(e.What)
		if guess := Meant(e.What, append(SaltNames(), SpellingNames()...)); guess != "" {
			hint = fmt.Sprintf("did you mean %q?", guess)
		}
		return at("is no element, ion or salt of the table", hint)
	}
	if e.Most >= 0 || e.Weight != 1 {
		return at("has a weight or a limit", "those belong to elements")
	}
	var grams float64
	switch plainUnit(e.Unit) {
	case "g/L", "kg/m3":
		grams = e.Amount
	case "mg/L", "ppm", "g/m3":
		grams = e.Amount / 1000
	case "mmol/L":
		grams = e.Amount * salt.MolarMass / 1000
	default:
		return at(fmt.Sprintf("has the unit %q", e.Unit), "write g/L, mg/L or mmol/L of a salt")
	}
	if grams > 50 {
		return at("is more than any solution that plants live in", "check the unit")
	}
	for s, v := range salt.Content() {
		if v == 0 {
			continue
		}
		w := &r.Wants[s]
		if !w.Stated {
			*w = Want{Stated: true, Weight: 1}
			if Substance(s).Micro() {
				w.Weight = microWeight
			}
		}
		w.Amount += float64(v * grams)
	}
	return nil
}

func (r *Recipe) judge() error {
	any := r.Nitrogen.Stated
	for s, w := range r.Wants {
		any = any || w.Stated && w.Amount > 0
		if w.Stated && w.Limited && w.Most < w.Amount {
			return &Fault{0, Substance(s).String(), fmt.Sprintf("is wanted at %s and never above %s mmol/L", figure(w.Amount), figure(w.Most)), "raise the limit or lower the target"}
		}
	}
	if !any {
		return &Fault{0, "", "asks for no nutrient", "for example NO3-N,160,mg/L"}
	}
	if r.Nitrogen.Stated && r.Wants[NO3].Stated {
		return &Fault{0, "N", "is stated beside NO3-N", "state NO3-N and NH4-N, or N alone, or N and NH4-N"}
	}
	if r.Nitrogen.Stated && r.Wants[NH4].Stated && r.Wants[NH4].Amount > r.Nitrogen.Amount {
		return &Fault{0, "NH4-N", "is more than all nitrogen", "lower it, or raise N"}
	}
	if !r.Nitrogen.Stated && r.Wants[NO3].Stated && !r.Wants[NH4].Stated {
		r.Remarks = append(r.Remarks, "the recipe does not name ammonium: none is aimed at")
		r.Wants[NH4] = Want{Stated: true, Weight: 1}
	}
	return nil
}
