package desk

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"leat/dosing/blend"
)

// Crops is what leat plan crops is asked: recipes as a name, a file or a list, each with its
// share of the plants after a colon.
type Crops struct {
	Crops []string
	JSON  bool
}

// Add takes one more crop as it is typed.
func (c *Crops) Add(text string) error {
	c.Crops = append(c.Crops, text)
	return nil
}

// cropsTold is the compromise as JSON.
type cropsTold struct {
	Elements map[string]float64 `json:"elements_mg_per_l"`
	PH       float64            `json:"ph,omitempty"`
	EC       float64            `json:"ec_ms_per_cm,omitempty"`
	Crops    []cropTold         `json:"crops"`
}

type cropTold struct {
	Crop     string             `json:"crop"`
	Share    float64            `json:"share"`
	Strength float64            `json:"strength_of_own"`
	Ratio    map[string]float64 `json:"ratio_of_own"`
}

// Run prints the compromise of several crops on one tank, and what each of them misses.
func (c *Crops) Run(stdout io.Writer) error {
	if len(c.Crops) < 2 {
		return Misuse("name the crops: -crop lettuce:60 -crop strawberry:40, at least two")
	}
	var crops []blend.Crop
	all := 0.0
	for _, text := range c.Crops {
		name, share := text, 1.0
		if at := strings.LastIndex(text, ":"); at >= 0 {
			v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text[at+1:]), "%")), 64)
			if err != nil || !(v > 0 && v <= 1e6) {
				return Misuse("-crop %.60q: want its share after the colon, such as lettuce:60", text)
			}
			name, share = text[:at], v
		}
		recipe, err := readRecipe(name)
		if err != nil {
			return err
		}
		crops, all = append(crops, blend.Crop{Recipe: recipe, Share: share}), all+share
	}
	found := blend.Compromises(crops)
	if len(found.Misses) != len(crops) {
		return fmt.Errorf("a recipe names none of K, Ca, Mg and NH4, so its strength is not known")
	}
	if c.JSON {
		return WriteJSON(stdout, toldCrops(&found, crops, all))
	}
	_, err := io.WriteString(stdout, cropsText(&found, crops, all))
	return err
}

func toldCrops(found *blend.Compromise, crops []blend.Crop, all float64) cropsTold {
	told := cropsTold{Elements: map[string]float64{}, PH: found.Recipe.PH, EC: found.Recipe.EC}
	for s, want := range found.Recipe.Wants {
		if s := blend.Substance(s); want.Stated {
			told.Elements[s.Symbol()] = want.Amount * s.Mass()
		}
	}
	for i, m := range found.Misses {
		one := cropTold{Crop: m.Crop, Share: crops[i].Share / all, Strength: m.Strength, Ratio: map[string]float64{}}
		for _, of := range m.Of {
			one.Ratio[of.Substance.Symbol()] = of.Ratio
		}
		told.Crops = append(told.Crops, one)
	}
	return told
}

func cropsText(found *blend.Compromise, crops []blend.Crop, all float64) string {
	var b strings.Builder
	fmt.Fprintf(&b, "One tank for %d crops: the geometric mean of their recipes by share of the plants\n\n%-8s %10s", len(crops), "mg/L", "the tank")
	for i, m := range found.Misses {
		fmt.Fprintf(&b, "  %22s", fmt.Sprintf("%.14s, %.0f %%", m.Crop, 100*crops[i].Share/all))
	}
	b.WriteString("\n")
	var file []string
	for s := blend.NO3; s < blend.Carbon; s++ {
		want := found.Recipe.Wants[s]
		if !want.Stated {
			continue
		}
		mg := want.Amount * s.Mass()
		file = append(file, fmt.Sprintf("%q = \"%.3g mg/L\"", s.Symbol(), mg))
		fmt.Fprintf(&b, "%-8s %10.3g", s.Symbol(), mg)
		for _, m := range found.Misses {
			fmt.Fprintf(&b, "  %22s", missWords(&m, s))
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "%-8s %10s", "strength", "")
	for _, m := range found.Misses {
		fmt.Fprintf(&b, "  %22s", fmt.Sprintf("%+.0f %%", 100*(m.Strength-1)))
	}
	b.WriteString("\n\nOf the macronutrients the per cent are what is off in the ratio, once strength is left out: strength is the EC setpoint's to choose.\n")
	if found.Recipe.EC > 0 {
		fmt.Fprintf(&b, "EC between the crops' own: %.2f mS/cm", found.Recipe.EC)
		if found.Recipe.PH > 0 {
			fmt.Fprintf(&b, "; pH %.2f", found.Recipe.PH)
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "\nTo have it so, put this under [tank.recipe] of the file in place of name, and run leat check, which says what the stocks make of it:\n\nelements = { %s }\n", strings.Join(file, ", "))
	return b.String()
}

// missWords are what a crop asks for and by how much it is missed.
func missWords(m *blend.CropMiss, s blend.Substance) string {
	for _, of := range m.Of {
		if of.Substance == s {
			return fmt.Sprintf("%.3g, %+.0f %%", of.Asked*s.Mass(), 100*(of.Ratio-1))
		}
	}
	return "not asked for"
}
