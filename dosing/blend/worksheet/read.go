package worksheet

import (
	"fmt"
	"strings"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem/solution"
)

// Unreadable is a word that does not say what is wanted, as opposed to one that asks for
// what cannot be.
type Unreadable string

func (u Unreadable) Error() string { return string(u) }

// commonSalts make every macronutrient and the usual micronutrients.
var commonSalts = []string{"calcium nitrate tetrahydrate", "potassium nitrate", "monopotassium phosphate", "magnesium sulfate heptahydrate", "potassium sulfate",
	"ammonium nitrate", "iron DTPA 11 %", "manganese sulfate monohydrate", "zinc sulfate heptahydrate", "boric acid", "copper sulfate pentahydrate", "sodium molybdate dihydrate"}

// ReadSalts reads a list of salts that are weighed in, by their names and by what stands on
// a label (grade 13-0-46 + 13 NO3-N); "common" is a row of the usual ones.
func ReadSalts(list string) (stocks []blend.Stock, err error) {
	names := commonSalts
	if list != "common" {
		names = strings.Split(list, ",")
	}
	for _, name := range names {
		if name = strings.TrimSpace(name); strings.HasPrefix(name, "grade ") {
			stock, err := blend.GradeStock(name)
			if err != nil {
				return nil, err
			}
			stocks = append(stocks, stock)
			continue
		}
		salt, ok := blend.SaltNamed(name)
		if !ok {
			return nil, fmt.Errorf("%q is no salt of the table; leat blend list tells them", strings.TrimSpace(name))
		}
		stocks = append(stocks, blend.SaltStock(salt))
	}
	return stocks, nil
}

// ReadAcid reads "nitric acid 38 %", and "nitric acid 38 % 1:10" of one that has been diluted.
func ReadAcid(text string) (blend.Stock, error) {
	body, dilution, found := strings.Cut(strings.TrimSpace(text), "%")
	words := strings.Fields(body)
	if found && len(words) > 1 {
		if r, ok := blend.ReagentNamed(strings.Join(words[:len(words)-1], " ")); ok {
			percent, err := solution.Decimal(text, words[len(words)-1])
			if err != nil {
				return blend.Stock{}, Unreadable(err.Error())
			}
			var diluted blend.Dilution
			if strings.TrimSpace(dilution) != "" {
				if diluted, err = blend.ReadDilution(dilution); err != nil {
					return blend.Stock{}, Unreadable(err.Error())
				}
			}
			return blend.AcidStock(text, r, percent, 0, diluted)
		}
	}
	return blend.Stock{}, Unreadable(fmt.Sprintf("%q is not NAME PERCENT %%, with one of %s", text, strings.Join(blend.ReagentNames(), ", ")))
}

// ReadGiven reads "calcium=1200,bloom=900" in mL, a stock that is not named gave none.
func ReadGiven(text string, stocks []blend.Stock) ([]float64, error) {
	if text == "" {
		return nil, nil
	}
	volumes := make([]float64, len(stocks))
	seen := map[string]bool{}
	for _, word := range strings.Split(text, ",") {
		name, amount, found := strings.Cut(strings.TrimSpace(word), "=")
		at := -1
		for i := range stocks {
			if stocks[i].Name == strings.TrimSpace(name) {
				at = i
			}
		}
		if !found || at < 0 || seen[name] {
			return nil, Unreadable(fmt.Sprintf("%q is not STOCK=ML of one of the stocks, each once", word))
		}
		seen[name] = true
		v, err := solution.Decimal(name, strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(amount), "mL")))
		if err != nil || !(v >= 0) {
			return nil, Unreadable(fmt.Sprintf("%q has no volume in mL", word))
		}
		volumes[at] = v
	}
	return volumes, nil
}

// Known lists the recipes, salts, acids and bases that are known by name.
func Known() string {
	var out strings.Builder
	fmt.Fprintln(&out, "Recipes")
	for _, name := range blend.RecipeNames() {
		r, _ := blend.RecipeNamed(name)
		fmt.Fprintf(&out, "  %-12s %s\n", name, r.Source())
	}
	fmt.Fprintln(&out, "\nSalts                                    dissolves at 20 °C")
	for _, name := range blend.SaltNames() {
		s, dissolves := blend.Salts[name], "not known"
		if s.Solubility > 0 {
			dissolves = fmt.Sprintf("%4.0f g/L", s.Solubility)
		}
		fmt.Fprintf(&out, "  %-38s %-10s %s\n", name, dissolves, s.Formula)
	}
	fmt.Fprintln(&out, "\nAcids and bases")
	for _, name := range blend.ReagentNames() {
		r := blend.Reagents[name]
		kind := "acid"
		if r.Role == dosing.RoleBase {
			kind = "base"
		}
		fmt.Fprintf(&out, "  %-38s %-10s %s\n", name, kind, r.Formula)
	}
	return out.String()
}
