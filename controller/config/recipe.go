package config

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
)

// substance is an amount of an element or ion as a recipe or an analysis states it;
// what units fit depends on what it is of.
type substance struct{ text string }

// UnmarshalText keeps the text; blend reads it with the name it belongs to.
func (s *substance) UnmarshalText(text []byte) error {
	s.text = string(text)
	return nil
}

// mixes builds what each tank is to hold, from its source water, its row and its recipe.
type mixes struct {
	*frame
	vessels *vessels
}

// entries reads a table of substances; faults name the key.
func (b *mixes) entries(path string, table map[string]substance) (all []blend.Entry, ok bool) {
	ok = true
	for _, name := range sortedKeys(table) {
		entries, err := blend.ReadList(name + "=" + table[name].text)
		if err != nil || len(entries) != 1 {
			b.fault(join(path, name), quoted(table[name].text), "is no amount", `write it with its unit, for example "160 mg/L" or "4 mmol/L"; a pH has none`)
			ok = false
			continue
		}
		all = append(all, entries[0])
	}
	return all, ok
}

// blame turns an error of blend into a fault of the key it names.
func (b *mixes) blame(path string, table map[string]substance, err error) {
	var fault *blend.Fault
	var refusal *blend.Refusal
	switch {
	case errors.As(err, &fault) && table[fault.What] != (substance{}):
		b.fault(join(path, fault.What), quoted(table[fault.What].text), fault.Problem, fault.Hint)
	case errors.As(err, &fault):
		b.fault(path, "", fmt.Sprintf("%s %s", fault.What, fault.Problem), fault.Hint)
	case errors.As(err, &refusal):
		b.fault(path, "", refusal.Problem, refusal.Hint)
	default:
		b.fault(path, "", err.Error(), "")
	}
}

// source is the analysis of a tank's source water, as far as it can be read; its
// faults are told when the recipe is built.
func (b *vessels) source(t *tankTable) (blend.Analysis, bool) {
	var all []blend.Entry
	for _, name := range sortedKeys(t.Recipe.Water) {
		entries, err := blend.ReadList(name + "=" + t.Recipe.Water[name].text)
		if err != nil {
			return blend.Analysis{}, false
		}
		all = append(all, entries...)
	}
	a, err := blend.ReadAnalysis(all)
	return a, err == nil && len(all) > 0
}

// alkalinity is that of the top-up water, as stated there, else as analysed.
func (b *vessels) alkalinity(t *tankTable) float64 {
	if a, ok := b.source(t); ok && a.Alkalinity >= 0 {
		return t.TopUp.Alkalinity.or(a.Alkalinity)
	}
	return t.TopUp.Alkalinity.or(defaultAlkalinity)
}

// whence says where an alkalinity comes from that no analysis states.
func (b *vessels) whence(t *tankTable) string {
	if t.TopUp.Alkalinity.stated {
		return "top_up.alkalinity"
	}
	return "a usual tap"
}

func (b *vessels) sourceEC(t *tankTable, or float64) float64 {
	if a, ok := b.source(t); ok && a.EC > 0 {
		return a.EC
	}
	return or
}

// recipes reads what each tank is to hold, and solves it from its source water and
// its row: the first shares.
func (b *mixes) recipes() {
	for id := range b.layout.Tanks {
		if b.layout.Tanks[id].Recipe.Stated {
			b.recipe(dosing.TankID(id))
		}
		b.stageRecipes(dosing.TankID(id))
	}
	if len(b.faults) > 0 {
		return
	}
	for i := range b.gate().Pumps {
		p := &b.gate().Pumps[i]
		if p.Role != dosing.RoleStock || b.sharedByHand(i) {
			continue
		}
		if b.layout.Pumps[i].Share.stated {
			b.fault(join("pump."+strconv.Itoa(i), "share"), quoted(b.layout.Pumps[i].Share.text), "stands beside a recipe, from which the shares are computed", "leave it out")
		}
		// Caps and sizes go by the largest of its tanks. A stock that the first blend
		// needs none of may be needed later.
		p.Share = leastShare
		for id := range b.file.plants {
			if f := b.file.plants[id].fresh; f != nil && p.ServesTank(dosing.TankID(id)) {
				p.Share = math.Max(p.Share, b.freshShares(id)[i])
				for _, amounts := range b.file.plants[id].later {
					p.Share = math.Max(p.Share, sharesOf(b.gate().Pumps, amounts)[i])
				}
			}
		}
	}
}

// leastShare is what caps and sizes allow for at least.
const leastShare = 0.02

// laterShare is what they allow for at least where a stock carries a macro ion: a tenth of
// the blend by what it does to EC, and no more than that by volume. A stock of which
// the first blend needs little is called for later, when plants, acid and water have bent
// the ratio; at a cap made for little, the rest of the blend would wait for it.
const laterShare = 0.10

// laterShares raises the shares by which caps go, once it is known what each stock
// does to EC.
func (b *mixes) laterShares() {
	for i := range b.gate().Pumps {
		p := &b.gate().Pumps[i]
		if p.Role != dosing.RoleStock || !p.MacroIon || b.sharedByHand(i) {
			continue
		}
		for id := range b.file.plants {
			if f := &b.file.plants[id]; f.fresh != nil && p.ServesTank(dosing.TankID(id)) {
				p.Share = math.Max(p.Share, laterShare*math.Min(1, f.blendEC/p.ECPerML))
			}
		}
	}
}

// freshShares are the shares of a tank's first blend, by pump.
func (b *mixes) freshShares(id int) []float64 {
	return sharesOf(b.gate().Pumps, b.file.plants[id].amounts)
}

func sharesOf(pumps []dosing.Pump, amounts []float64) []float64 {
	shares, sum := make([]float64, len(pumps)), 0.0
	for i := range pumps {
		if pumps[i].Role == dosing.RoleStock && i < len(amounts) {
			shares[i] = amounts[i]
			sum += amounts[i]
		}
	}
	for i := range shares {
		shares[i] /= math.Max(sum, 1e-9)
	}
	return shares
}

// sharedByHand says whether a stock serves a tank that has no recipe.
func (b *mixes) sharedByHand(i int) bool {
	p := &b.gate().Pumps[i]
	for id := range b.layout.Tanks {
		if p.Role == dosing.RoleStock && p.ServesTank(dosing.TankID(id)) && !b.layout.Tanks[id].Recipe.Stated {
			return true
		}
	}
	return false
}

func (b *mixes) recipe(id dosing.TankID) {
	in, set := &b.layout.Tanks[id].Recipe, &b.settings().Tanks[id]
	path := join("tank."+strconv.Itoa(int(id)), "recipe")
	before := len(b.faults)
	plan := &ratio.Plan{Litres: float64(b.gate().Tanks[id].Volume), EC: set.EC.Value, PH: set.PH.Value, MaxNH4: in.MaxAmmonium.or(blend.UsualNH4)}
	if !(plan.MaxNH4 > 0 && plan.MaxNH4 <= blend.HardNH4) {
		b.fault(join(path, "max_ammonium"), quoted(in.MaxAmmonium.text), "harms roots when a tank warms or drifts", `at most "15 %" of the nitrogen; "10 %" is usual`)
	}
	plan.Recipe = b.wanted(path, in.Name, in.Elements)
	plan.Water = b.water0(path, &b.layout.Tanks[id])
	plan.Stocks = b.rowOf(id)
	if len(b.faults) > before {
		return
	}
	fresh, amounts, err := plan.Fresh()
	if err != nil {
		b.blame(path, nil, err)
		return
	}
	for _, why := range fresh.Reasons {
		b.warn(path, why)
	}
	if names := b.neverGiven(id, amounts); names != nil {
		b.warn(path, "the first blend takes none of "+listed(names)+": the recipe does not ask for what they hold, or others bring it")
	}
	set.Ratio = plan
	p := &b.file.plants[id]
	p.fresh, p.amounts = fresh, amounts
}

func (b *mixes) neverGiven(id dosing.TankID, amounts []float64) (names []string) {
	for i := range b.gate().Pumps {
		if p := &b.gate().Pumps[i]; p.Role == dosing.RoleStock && p.ServesTank(id) && !(amounts[i] > 0) {
			names = append(names, p.Name)
		}
	}
	return names
}

// wanted is the recipe by its name or by its elements.
func (b *mixes) wanted(path string, name string, elements map[string]substance) blend.Recipe {
	switch {
	case name != "" && elements != nil:
		b.fault(join(path, "elements"), "", "stand beside the name of a recipe", "state one of the two")
	case name != "":
		r, ok := blend.RecipeNamed(name)
		if !ok {
			hint := "known are " + listed(blend.RecipeNames()) + "; or state elements"
			if guess := nearest(name, blend.RecipeNames()); guess != "" {
				hint = fmt.Sprintf("did you mean %q?", guess)
			}
			b.fault(join(path, "name"), quoted(name), "is no recipe that is known", hint)
		}
		return r
	case len(elements) == 0:
		b.fault(path, "", "asks for nothing", `state name = "lettuce", or elements = { "NO3-N" = "190 mg/L", K = "240 mg/L" } and so on`)
	default:
		at := join(path, "elements")
		entries, ok := b.entries(at, elements)
		if !ok {
			return blend.Recipe{}
		}
		r, err := blend.ReadRecipe("of its own", entries)
		if err != nil {
			b.blame(at, elements, err)
		}
		return r
	}
	return blend.Recipe{}
}

// water0 is the source water, closed for the sums.
func (b *mixes) water0(path string, t *tankTable) blend.Content {
	alkalinity := b.vessels.alkalinity(t)
	if t.Recipe.Water == nil {
		// Hardness comes with alkalinity; half of a guess is better than none.
		a := blend.Analysis{Alkalinity: alkalinity}
		a.Content[blend.Ca] = alkalinity / 2
		b.warn(path, fmt.Sprintf("no source water is stated: taken are an alkalinity of %s meq/L (%s) with %s mg/L of Ca beside it, and none of Mg, Na, Cl, S, N, K and the rest; on other water the first blend is wrong by what that water brings: state [tank.recipe.water]",
			figure(alkalinity), b.vessels.whence(t), figure(a.Content.Milligrams(blend.Ca))))
		return a.Water().Content
	}
	at := join(path, "water")
	entries, ok := b.entries(at, t.Recipe.Water)
	if !ok {
		return blend.Content{}
	}
	a, err := blend.ReadAnalysis(entries)
	if err != nil {
		b.blame(at, t.Recipe.Water, err)
		return blend.Content{}
	}
	if t.TopUp.Alkalinity.stated && a.Alkalinity >= 0 && math.Abs(t.TopUp.Alkalinity.value-a.Alkalinity) > 0.2+0.1*a.Alkalinity {
		b.fault(at, "", fmt.Sprintf("has an alkalinity of %s meq/L, and top_up.alkalinity says %s", figure(a.Alkalinity), figure(t.TopUp.Alkalinity.value)), "it is one water: state its alkalinity once")
	}
	if a.Alkalinity < 0 {
		a.Alkalinity = alkalinity
	}
	a = a.Water()
	for _, remark := range a.Remarks {
		b.warn(at, remark)
	}
	return a.Content
}

// rowOf are the stocks of a tank by pump; the zero stock does not serve it.
func (b *mixes) rowOf(id dosing.TankID) []blend.Stock {
	stocks, given := make([]blend.Stock, len(b.gate().Pumps)), false
	for i := range b.gate().Pumps {
		p, l := &b.gate().Pumps[i], &b.file.liquids[i]
		if !p.ServesTank(id) || p.Role == dosing.RoleWater {
			continue
		}
		if !l.known {
			key, hint := "salts", `state what stands in it: salts = { "potassium nitrate" = "80 g/L" }; without it no recipe can be kept`
			if p.Role != dosing.RoleStock {
				key, hint = "reagent", "state one of "+listed(sortedKeys(reagents))+" with its strength: what it brings counts as nutrient"
			}
			b.fault(join("pump."+strconv.Itoa(i), key), "", "is missing, and the tank has a recipe", hint)
			continue
		}
		stocks[i] = stockOf(p, l)
		given = given || p.Role == dosing.RoleStock
	}
	if !given && len(b.faults) == 0 {
		b.fault(join("tank."+strconv.Itoa(int(id)), "recipe"), "", "has no stock to be made from", "describe its stocks, or leave the recipe out")
	}
	return stocks
}

// uncountedWater warns of a recipe's tank whose top-up nobody sees: what that water
// brings is then missing in the account of the ions.
func (b *mixes) uncountedWater() {
	for _, in := range b.gate().Inputs {
		if in.Quantity == dosing.QuantityTopUp && in.NotFitted != "" && in.Tank != dosing.AllTanks && b.settings().Tanks[in.Tank].Ratio != nil && !(b.gate().Tanks[in.Tank].TopUpBand.High > 0) {
			b.warn(join("tank."+strconv.Itoa(int(in.Tank)), "recipe"), "no top_up input is fitted: what the source water brings is not counted, so have the tank analysed more often")
		}
	}
}
