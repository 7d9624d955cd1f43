package blend

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// The tables of salts, reagents and densities are data that a grower can read and
// correct, each row with its source.
var (
	//go:embed data/salts.csv
	saltRows string
	//go:embed data/reagents.csv
	reagentRows string
	//go:embed data/densities.csv
	densityRows string
)

// Salt is what a stock is made from.
type Salt struct {
	Name, Formula string
	MolarMass     float64     // g/mol
	Ions          chem.Totals // mol in a mol; none for micronutrient salts
	Micros        Content     // mol in a mol, micronutrients only
	EC            float64     // mS/cm per mmol/L, of salts whose ions are not modelled
	Group         dosing.Group
	Solubility    float64 // g/L of water at 20 °C; 0 = not known
	Solubility10  float64 // the same at 10 °C; 0 = not known
}

// Salts is the table of salts by name.
var Salts = readSalts()

// SaltNamed finds a salt by name in either case, or by formula; an iron chelate with the
// percentage of iron in its name, from 1 to 15.
func SaltNamed(name string) (*Salt, bool) {
	name = strings.TrimSpace(name)
	if s, ok := Salts[name]; ok {
		return s, true
	}
	for _, key := range SaltNames() {
		if s := Salts[key]; strings.EqualFold(key, name) || s.Formula == name && !strings.Contains(s.Formula, " ") {
			return s, true
		}
	}
	return chelateNamed(name)
}

var chelateName = regexp.MustCompile(`(?i)^iron (DTPA|EDTA|EDDHA) ([0-9.]+) ?%$`)

// chelateNamed is an iron chelate of the strength that its name states: "iron DTPA 7 %".
// As much of it as holds a mole of iron is a mole.
func chelateNamed(name string) (*Salt, bool) {
	words := chelateName.FindStringSubmatch(name)
	if words == nil {
		return nil, false
	}
	percent, err := strconv.ParseFloat(words[2], 64)
	if err != nil || !(percent >= 1 && percent <= 15) {
		return nil, false
	}
	kind := strings.ToUpper(words[1])
	for _, key := range SaltNames() {
		if strings.HasPrefix(key, "iron "+kind+" ") {
			s := *Salts[key]
			s.Name, s.MolarMass = fmt.Sprintf("iron %s %s %%", kind, figure(percent)), spellings["Fe"].mass/percent*100
			return &s, true
		}
	}
	return nil, false
}

// SaltNames lists the salts in order.
func SaltNames() []string {
	names := make([]string, 0, len(Salts))
	for name := range Salts {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

// Content is what a gram of the salt holds, mmol.
func (s *Salt) Content() Content {
	perGram := 1000 / s.MolarMass
	return Content{}.Plus(ContentOf(s.Ions), perGram).Plus(s.Micros, perGram)
}

// Dissolves is the solubility at a temperature in °C, g/L of water, 0 where it is
// not known. Below 20 °C a salt without a value at 10 °C is taken to lose as much
// as potassium nitrate, which loses most; above 20 °C nothing is gained.
func (s *Salt) Dissolves(tempC float64) float64 {
	if s.Solubility == 0 || !(tempC < 20) {
		return s.Solubility
	}
	const steepest = 209.0 / 316.0
	cold := s.Solubility10
	if cold == 0 {
		cold = steepest * s.Solubility
	}
	return max(cold+float64((s.Solubility-cold)*(tempC-10))/10, 0)
}

func readSalts() map[string]*Salt {
	all := map[string]*Salt{}
	for _, row := range rows(saltRows) {
		group, ok := dosing.ParseGroup(row["group"])
		if !ok {
			panic("salts.csv: group of " + row["salt"])
		}
		s := &Salt{Name: row["salt"], Formula: row["formula"], MolarMass: number(row["molar_mass"]), Ions: ionList(row["ions"]),
			EC: number(row["ec"]), Group: group, Solubility: number(row["solubility"]), Solubility10: number(row["solubility_10"])}
		words := strings.Fields(row["micros"])
		for i := 0; i+1 < len(words); i += 2 {
			s.Micros[substanceOf(words[i])] = number(words[i+1])
		}
		all[s.Name] = s
	}
	return all
}

func substanceOf(symbol string) Substance {
	for s := range SubstanceCount {
		if s.Symbol() == symbol {
			return s
		}
	}
	panic("no substance " + symbol)
}

// rows reads a table that is part of the program; a fault in it is a fault of the
// build, caught by the first test, so it panics.
func rows(text string) []map[string]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	records, err := r.ReadAll()
	if err != nil {
		panic(err)
	}
	var all []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		all = append(all, row)
	}
	return all
}

func number(text string) float64 {
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(err)
	}
	return v
}

// ionList reads "NO3 2 Ca 1".
func ionList(text string) chem.Totals {
	var t chem.Totals
	words := strings.Fields(text)
	for i := 0; i+1 < len(words); i += 2 {
		*t.Ion(words[i]) = number(words[i+1])
	}
	return t
}
