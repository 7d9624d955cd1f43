package blend

import "math"

// Crop is one of several crops on a tank, with its share of the plants.
type Crop struct {
	Recipe Recipe
	Share  float64
}

// Compromise is the solution for several crops on one tank. The ratio of the macronutrients is
// the geometric mean of the crops' by their shares, so that two crops of equal share miss each
// of them by the same factor; strength and micronutrients likewise. What one crop alone asks for
// is given as that crop asks for it: to the other it is no want.
type Compromise struct {
	Recipe Recipe
	Misses []CropMiss
}

// CropMiss is what one crop gets: of each nutrient that it asks for, how much of its own target.
type CropMiss struct {
	Crop     string
	Strength float64 // macronutrients in all, ÷ its own
	Of       []MissOf
}

// MissOf is one nutrient: what the crop asks for and what it gets, mmol/L. Ratio is among the
// macronutrients, once the strength is left out; of a micronutrient the same as Got ÷ Asked.
type MissOf struct {
	Substance  Substance
	Asked, Got float64
	Ratio      float64
}

// strength is a recipe's macronutrient cations, meq/L.
func (c Content) strength() float64 { return c[NH4] + c[K] + 2*c[Ca] + 2*c[Mg] }

// Compromises makes one recipe of those of several crops. Crops without cations of their own
// have no strength and are left out.
func Compromises(crops []Crop) Compromise {
	var all, strength float64
	kept := crops[:0:0]
	for _, c := range crops {
		if s := c.Recipe.Content().strength(); s > 0 && c.Share > 0 {
			kept, all = append(kept, c), all+c.Share
			strength += c.Share * math.Log(s)
		}
	}
	out := Compromise{Recipe: Recipe{Name: "several crops"}}
	if len(kept) == 0 {
		return out
	}
	strength = math.Exp(strength / all)
	out.mean(kept, strength)
	for _, c := range kept {
		own := c.Recipe.Content()
		m := CropMiss{Crop: c.Recipe.Name, Strength: strength / own.strength()}
		for s := NO3; s < Carbon; s++ {
			if own[s] > 0 {
				of := MissOf{Substance: s, Asked: own[s], Got: out.Recipe.Wants[s].Amount}
				of.Ratio = of.Got / of.Asked
				if !s.Micro() {
					of.Ratio /= m.Strength
				}
				m.Of = append(m.Of, of)
			}
		}
		out.Misses = append(out.Misses, m)
	}
	return out
}

// mean writes the recipe of the crops at a strength.
func (out *Compromise) mean(crops []Crop, strength float64) {
	pH, ec, phShare, ecShare := 0.0, 0.0, 0.0, 0.0
	var logs, shares [SubstanceCount]float64
	for _, c := range crops {
		own := c.Recipe.Content()
		for s := NO3; s < Carbon; s++ {
			if own[s] > 0 {
				v := own[s]
				if !s.Micro() {
					v *= strength / own.strength()
				}
				logs[s], shares[s] = logs[s]+c.Share*math.Log(v), shares[s]+c.Share
			}
		}
		if c.Recipe.PH > 0 {
			pH, phShare = pH+c.Share*c.Recipe.PH, phShare+c.Share
		}
		if c.Recipe.EC > 0 {
			ec, ecShare = ec+c.Share*math.Log(c.Recipe.EC), ecShare+c.Share
		}
	}
	for s := range shares {
		if shares[s] > 0 {
			out.Recipe.Wants[s] = Want{Stated: true, Amount: math.Exp(logs[s] / shares[s]), Weight: 1}
		}
	}
	if phShare > 0 {
		out.Recipe.PH = pH / phShare
	}
	if ecShare > 0 {
		out.Recipe.EC = math.Exp(ec / ecShare)
	}
}
