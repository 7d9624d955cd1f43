package blend

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// Stock is a container that can be blended from, or a salt by the gram.
type Stock struct {
	Name     string
	Role     dosing.Role // RoleStock, RoleAcid or RoleBase
	Group    dosing.Group
	Content  Content // mmol per litre of stock, per kilogram of a solid
	Solid    bool    // a salt by weight: amounts are grams per litre of solution
	Made     []Portion
	Chelate  string  // of its iron
	Molar    float64 // mol/L of an acid or base
	AtMost   float64 // mL per litre of solution; 0 = no limit
	Smallest float64 // smallest dose of its pump, mL; 0 = any
	Share    float64 // of the blend until now; 0 = not stated
	Remarks  []string
}

// Portion is a salt, fertiliser or acid in a stock.
type Portion struct {
	Name  string
	Salt  *Salt   // nil for a fertiliser by label
	Grams float64 // per litre of stock
	Group dosing.Group
	Each  Content // mmol in a gram
}

// Unit is what amounts of it are counted in, per litre of solution.
func (s *Stock) Unit() string {
	if s.Solid {
		return "g/L"
	}
	return "mL/L"
}

// perUnit is what one mL, or one g, holds in mmol.
func (s *Stock) perUnit() Content { return Content{}.Plus(s.Content, 1e-3) }

// acidic says whether it is dosed for pH rather than for what it holds.
func (s *Stock) acidic() bool { return s.Role == dosing.RoleAcid || s.Role == dosing.RoleBase }

// SaltStock is a salt taken by the gram.
func SaltStock(s *Salt) Stock {
	return Stock{Name: s.Name, Role: dosing.RoleStock, Group: s.Group, Solid: true, Content: Content{}.Plus(s.Content(), 1000),
		Made: []Portion{{Name: s.Name, Salt: s, Grams: 1000, Group: s.Group, Each: s.Content()}}, Chelate: chelateOf(s.Name)}
}

// GradeStock is a fertiliser taken by the gram, by its label as in ReadGrade.
func GradeStock(label string) (Stock, error) {
	each, chelate, err := ReadGrade(label)
	if err != nil {
		return Stock{}, err
	}
	group := groupOf(each, chelate)
	return Stock{Name: label, Role: dosing.RoleStock, Group: group, Solid: true, Content: each, Chelate: chelate,
		Made: []Portion{{Name: label, Grams: 1000, Group: group, Each: Content{}.Plus(each, 1e-3)}}}, nil
}

// MadeStock is a stock made of salts of the table, grams per litre of it.
func MadeStock(name string, portions []Portion) Stock {
	s := Stock{Name: name, Role: dosing.RoleStock}
	for _, p := range portions {
		s.put(p, chelateOf(p.Name))
	}
	return s
}

// chelateOf reads the chelate out of a salt's name, "iron DTPA 11 %".
func chelateOf(name string) string {
	for _, c := range chem.Chelates {
		if strings.Contains(name, c.Name) {
			return c.Name
		}
	}
	return ""
}

func chelateLimit(name string) (float64, bool) {
	c, ok := chem.ChelateNamed(name)
	return c.HighPH, ok
}

// holding is one line of a stock sheet.
type holding struct {
	line        int
	holds, unit string
	amount      float64
	dilution    Dilution
}

// ReadStocks reads a sheet of stocks under the header stock,holds,amount,unit, a
// line for each thing that can be said of a stock:
//
//	calcium,calcium nitrate tetrahydrate,100,g/L    a salt of the table
//	bloom,grade 0-52-34,60,g/L                      a fertiliser by its label
//	feed,NO3-N,4.2,%                                what a liquid's label says, by mass with
//	feed,density,1.21,g/mL                          its density, or in g/L or mol/L
//	acid,nitric acid,38,%                           an acid or base by mass percent or mol/L
//	acid,dilution,1:10,                             and how far it has been diluted
//	calcium,at most,8,mL/L                          never more than this in a litre
//	calcium,smallest dose,0.5,mL                    of its pump
//	calcium,share,30,%                              of the blend until now, by volume
//
// Faults are *Fault.
func ReadStocks(text string) ([]Stock, error) {
	var names []string
	all := map[string][]holding{}
	err := eachRow(text, []string{"stock", "holds", "amount", "unit"}, nil, func(line int, row map[string]string) error {
		name := row["stock"]
		l := holding{line: line, holds: row["holds"], unit: row["unit"]}
		var err error
		if strings.EqualFold(l.holds, "dilution") {
			var f *Fault
			if l.dilution, err = ReadDilution(row["amount"]); errors.As(err, &f) {
				f.Line = line
				return f
			}
		} else if l.amount, err = decimal(row["amount"]); err != nil {
			return &Fault{line, l.holds, err.Error(), "for example calcium,calcium nitrate tetrahydrate,100,g/L"}
		}
		if len(all[name]) == 0 {
			names = append(names, name)
		}
		all[name] = append(all[name], l)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(names) > mostStocks {
		return nil, &Fault{0, "", fmt.Sprintf("names %d stocks; at most %d are blended", len(names), mostStocks), "leave out those that no tank uses"}
	}
	var stocks []Stock
	for _, name := range names {
		s, err := stockOf(name, all[name])
		if err != nil {
			return nil, err
		}
		stocks = append(stocks, s)
	}
	if len(stocks) == 0 {
		return nil, &Fault{0, "", "names no stock", "for example calcium,calcium nitrate tetrahydrate,100,g/L"}
	}
	return stocks, nil
}

// mostStocks bounds a row of stocks.
const mostStocks = 64

func stockOf(name string, lines []holding) (Stock, error) {
	s := Stock{Name: name, Role: dosing.RoleStock}
	density := 0.0
	var diluted holding
	var contents []holding
	for _, l := range lines {
		at := func(problem, hint string) error { return &Fault{l.line, l.holds, problem, hint} }
		wrong := func(unit string) bool { return plainUnit(l.unit) != unit }
		switch strings.ToLower(l.holds) {
		case "density":
			if wrong("g/mL") || !(l.amount >= 0.9 && l.amount <= 2.2) {
				return s, at("is no density", "write it in g/mL, from the label")
			}
			density = l.amount
		case "dilution":
			if l.unit != "" {
				return s, at("has a unit", dilutionHint)
			}
			diluted = l
		case "at most":
			if wrong("mL/L") || l.amount == 0 {
				return s, at("is no limit", "write it in mL/L: mL of stock in a litre of solution")
			}
			s.AtMost = l.amount
		case "smallest dose":
			if wrong("mL") {
				return s, at("is no dose", "write it in mL")
			}
			s.Smallest = l.amount
		case "share":
			if wrong("%") || l.amount > 100 {
				return s, at("is no share", "write it in %")
			}
			s.Share = l.amount / 100
		default:
			contents = append(contents, l)
		}
	}
	if len(contents) == 0 {
		return s, &Fault{lines[0].line, name, "holds nothing", "say what stands in it: a salt in g/L, an acid in %, or its label"}
	}
	if r, ok := ReagentNamed(contents[0].holds); ok {
		return acidOf(s, r, contents, density, diluted)
	}
	if diluted.dilution.Stated() {
		return s, &Fault{diluted.line, diluted.holds, "belongs to an acid or base alone", "give a stock of salts as it is, in g/L"}
	}
	for _, l := range contents {
		if err := s.hold(l, density); err != nil {
			return s, err
		}
	}
	return s, s.judgeLabel()
}

// hold adds a salt, a fertiliser or a line of a label.
func (s *Stock) hold(l holding, density float64) error {
	at := func(problem, hint string) error { return &Fault{l.line, l.holds, problem, hint} }
	unit := plainUnit(l.unit)
	grams, byMass := l.amount, true
	switch unit {
	case "g/L", "kg/m3":
	case "mg/L":
		grams /= 1000
	default:
		byMass = false
	}
	if salt, ok := SaltNamed(l.holds); ok {
		if unit == "mol/L" {
			grams, byMass = l.amount*salt.MolarMass, true
		}
		if !byMass || grams == 0 || grams > 2000 {
			return at(fmt.Sprintf("has no mass in a litre: %s %s", figure(l.amount), l.unit), "write g/L or mol/L, for example 90,g/L")
		}
		s.put(Portion{Name: salt.Name, Salt: salt, Grams: grams, Group: salt.Group, Each: salt.Content()}, chelateOf(salt.Name))
		return nil
	}
	if strings.HasPrefix(l.holds, "grade ") {
		each, chelate, err := ReadGrade(l.holds)
		var f *Fault
		if errors.As(err, &f) {
			f.Line = l.line
			return f
		}
		if !byMass || grams == 0 || grams > 2000 {
			return at(fmt.Sprintf("has no mass in a litre: %s %s", figure(l.amount), l.unit), "write g/L, for example 60,g/L")
		}
		s.put(Portion{Name: l.holds, Grams: grams, Group: groupOf(each, chelate), Each: Content{}.Plus(each, 1e-3)}, chelate)
		return nil
	}
	if nitrite(l.holds) {
		return at(nitriteProblem, "do not dose from it")
	}
	named, ok := spelled(l.holds)
	if !ok || named.substance >= SubstanceCount {
		return at("is no salt, acid, fertiliser grade or element", holdHint(l.holds))
	}
	var amount float64
	var err error
	if unit == "%" {
		if density == 0 {
			return at("is in % of a liquid whose density is not stated", "add a line with density in g/mL, or write g/L")
		}
		amount = l.amount * density * 10_000 / named.mass * named.per
	} else if amount, err = named.amount(l.amount, unit); err != nil {
		return at(err.Error(), "or % by mass with a line for the density")
	}
	if amount > 25_000 {
		return at("is more than a litre can hold", "check the unit")
	}
	s.Content[named.substance] += amount
	s.join(groupOf(s.Content, ""))
	return nil
}

// stockWords are what a sheet says of a stock beside what it holds.
var stockWords = []string{"density", "dilution", "at most", "smallest dose", "share"}

func holdHint(name string) string {
	names := append(append(SaltNames(), ReagentNames()...), SpellingNames()...)
	if guess := Meant(name, append(names, stockWords...)); guess != "" {
		return fmt.Sprintf("did you mean %q?", guess)
	}
	return "salts stand in dosing/blend/data/salts.csv; a fertiliser is a grade: " + gradeHint
}

func (s *Stock) put(p Portion, chelate string) {
	s.Made = append(s.Made, p)
	s.Content = s.Content.Plus(p.Each, p.Grams)
	if chelate != "" {
		s.Chelate = chelate
	}
	s.join(p.Group)
}

// join sets the group to the one that asks for most care.
func (s *Stock) join(g dosing.Group) {
	if g != dosing.GroupNeutral && (s.Group == dosing.GroupNeutral || s.Group == dosing.GroupChelate) {
		s.Group = g
	}
}

// groupOf is the group that follows from what is in it.
func groupOf(c Content, chelate string) dosing.Group {
	switch {
	case c[Si] > 0:
		return dosing.GroupSilicate
	case c[Ca] > 0:
		return dosing.GroupCalcium
	case c[P] > 0 || c[S] > 0:
		return dosing.GroupSulfate
	case chelate != "" || c[Fe] > 0:
		return dosing.GroupChelate
	}
	return dosing.GroupNeutral
}

// judgeLabel closes the charge of a stock that was given by its label. Salts and
// silicate close by themselves.
func (s *Stock) judgeLabel() error {
	labelled := s.Content
	for _, p := range s.Made {
		labelled = labelled.Plus(p.Each, -p.Grams)
	}
	open, sum := openCharge(labelled)-2*labelled[Si], 0.0
	for i, v := range labelled {
		sum += math.Abs(known[i].charge * v)
	}
	if sum+labelled[P] <= 1e-9 {
		return nil
	}
	s.Content[Rest] -= open
	if math.Abs(open) > 0.05*(sum+labelled[P]) {
		s.Remarks = append(s.Remarks, fmt.Sprintf("its label leaves %s meq/L of charge unnamed: it is taken as neutral; if it is acid or alkaline, its pH effect is not known here", figure(math.Abs(open))))
	}
	if !s.Content.finite() {
		return &Fault{0, s.Name, "has amounts that are no numbers", "check its lines"}
	}
	return nil
}

// figure prints a number for people: three digits that count, no exponent.
func figure(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "unknown"
	case a < 5e-7:
		return "0"
	default:
		digits := min(max(2-int(math.Floor(math.Log10(a))), 0), 6)
		text := fmt.Sprintf("%.*f", digits, v)
		if strings.Contains(text, ".") {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
		return text
	}
}
