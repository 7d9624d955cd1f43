package ratio

import (
	"fmt"
	"math"
	"strings"

	"leat/dosing"
	"leat/dosing/blend"
)

const (
	// horizon is what EC rises and plants take, as a share of the tank's EC, until what is
	// missing is made good. Shorter, and the shares would jump at each analysis by more
	// than the analysis knows; longer, and the tank would not be there by the next one.
	horizon = 0.5
	// refillFirst is how much sooner EC that is missing is made good than what plants take
	// meanwhile. Evenly, a refill on hard water gave phosphate for a week at once: there acid
	// and water bring most of the EC that plants take, and the stocks' part of it is rich in
	// what those do not bring.
	refillFirst = 5
	// unwilling is how much more a share of a target counts where nothing of the ion is wanted:
	// evenly, calcium that gathers was given with the nitrate of its stock, and dumped again.
	unwilling = 3
	// movedEnough is the share of a target by which what is lacking of an ion must move
	// before shares are solved anew.
	movedEnough = 0.02
)

// Shares are the shares of the stocks by volume, by pump; they sum to one. The
// slice is the tank's own.
func (t *Tank) Shares() []float64 { return t.shares }

// Moved says whether the account moved enough for other shares.
func (t *Tank) Moved() bool {
	if !t.solved.known {
		return true
	}
	o := t.ahead()
	lacking := o.left.Plus(t.target, -o.level)
	for s := blend.NO3; s < blend.Carbon; s++ {
		if enough := movedEnough * t.target[s]; enough > 0 && !s.Micro() && math.Abs(lacking[s]-t.solved.lacking[s]) > enough {
			return true
		}
	}
	return false
}

// Toward says to which EC the loop brings the tank.
func (t *Tank) Toward(ec float64) { t.toward = ec }

// room is what EC still has to rise, mS/cm.
func (t *Tank) room() float64 {
	if !t.seen {
		return 0
	}
	return max(t.toward-t.ec, 0)
}

// outlook is the tank at the end of the horizon.
type outlook struct {
	t      *Tank
	uptake float64       // mS/cm that plants take until then
	left   blend.Content // what is there then if stocks give nothing; below zero is what plants will miss
	budget float64       // what stocks give until then, as weigh weighs it
	level  float64       // the strength of the recipe at which that is enough, 1 = at the plan's EC
}

// least is the part of the horizon for which stocks give even where acid and water
// bring as much EC as plants take.
const least = 0.1

// ahead looks at the end of the horizon. The loop gives of the stocks what brings EC to
// its setpoint and no more, whatever takes up that EC: sodium and chloride that plants
// leave, calcium of which there is too much. The nutrients that stocks bring can then
// all stand at one strength, which is found here. Aiming higher would let those fall
// behind of which the row gives little EC, as phosphate.
func (t *Tank) ahead() (o outlook) {
	o.t = t
	room, brought := t.room(), t.brought()
	o.uptake = max(horizon*t.plan.EC-float64(refillFirst*room), 0)
	o.left = t.content.Plus(brought, o.uptake).Plus(t.appetite, -o.uptake)
	o.dumped()
	alkalinity := max(float64(bicarbonate(t.pH)*t.content[blend.Carbon])-float64(bicarbonate(t.plan.PH)*carbonateKept), 0)
	held := weigh(t.content) + float64(ionicHCO3*bicarbonate(t.pH)*t.content[blend.Carbon])
	if t.perAlkalinity != (blend.Content{}) {
		o.left = o.left.Plus(t.perAlkalinity, alkalinity) // its acid is on the way
		held -= float64(ionicHCO3 * alkalinity)
	}
	o.budget = max(held+o.rise(held, room)-weigh(o.left), float64(least*horizon)*weigh(t.target))
	low, high := 0.0, float64(strongest)
	for range 30 {
		o.level = (low + high) / 2
		sum := 0.0
		for s := blend.NO3; s <= blend.S; s++ {
			sum += float64(ionic[s] * max(o.wants(s), 0))
		}
		if sum < o.budget {
			low = o.level
		} else {
			high = o.level
		}
	}
	return o
}

// dumped takes out of what lies ahead what a dump will: nothing gathers beyond where one is
// due. Otherwise stocks would make room for sodium that never comes.
func (o *outlook) dumped() {
	left := &o.left
	for s := blend.NO3; s <= blend.S; s++ {
		if most := max(o.t.content[s], (1+DumpAt)*o.t.target[s]); o.t.target[s] > 0 && left[s] > most {
			left[s] = most
		}
	}
	conducts := o.t.plan.EC / weigh(o.t.made)
	comes := conducts * (float64(ionic[blend.Na]*(left[blend.Na]-o.t.content[blend.Na])) + float64(ionic[blend.Cl]*(left[blend.Cl]-o.t.content[blend.Cl])))
	if room := max(DumpAt*o.t.plan.EC-o.t.Left().Gathered(), 0); comes > room {
		for _, s := range []blend.Substance{blend.Na, blend.Cl} {
			left[s] = o.t.content[s] + float64((left[s]-o.t.content[s])*room/comes)
		}
	}
}

// rise is by how much the ions that weigh held must grow for EC to rise by room. They
// conduct less the closer they are (Kohlrausch's square root).
func (o *outlook) rise(held, room float64) float64 {
	made := weigh(o.t.made)
	slows := (1 - o.t.plan.EC/made) / math.Sqrt(made)
	conducts := held * (1 - float64(slows*math.Sqrt(held)))
	if !(room > 0) || !(conducts > 0) {
		return 0
	}
	end, ec := held, conducts+room
	for range 8 {
		end = ec / (1 - float64(slows*math.Sqrt(end)))
	}
	return end - held
}

// wants is what of an ion the stocks are to give until the end of the horizon. Below
// zero is a surplus, carried until it is used up.
func (o *outlook) wants(s blend.Substance) float64 {
	target := o.t.target[s]
	if !(target > 0) {
		return 0
	}
	if s.Micro() { // a crop takes up no less of them where it is kept at a lower strength
		return target - o.left[s]
	}
	if s == blend.NH4 { // it is taken first and soon turned into nitrate
		return min(float64(o.level*target)-o.t.content[s], 0) + o.t.content[s] - o.left[s]
	}
	return float64(o.level*target) - o.left[s]
}

// Wants is what the stocks are to give over the horizon, mmol for a litre of tank: what
// the tank lacks of its recipe at the strength that it can reach, and what plants will
// take once EC stands where it is to stand, less what acid, base and water will bring. So
// a dump is made good by what it took away, and not by what plants take over weeks.
func (t *Tank) Wants() blend.Content {
	o := t.ahead()
	return o.wantsAll()
}

func (o *outlook) wantsAll() (w blend.Content) {
	for s := blend.NO3; s < blend.Carbon; s++ {
		w[s] = o.wants(s)
	}
	return w
}

// Solve finds new shares and reports whether there are any. What the stocks cannot
// do (every nutrient in surplus) leaves the shares as they are.
func (t *Tank) Solve() bool {
	stocks, pumps := t.plan.serving(func(s *blend.Stock) bool { return s.Role == dosing.RoleStock })
	o := t.ahead()
	wants, against := o.wantsAll(), t.target
	for s := blend.NO3; s <= blend.S; s++ {
		if wants[s] <= 0 {
			against[s] /= unwilling
		}
	}
	feed := blend.Feed{Wants: wants, Against: against, Stocks: stocks, MaxNH4: t.plan.MaxNH4, Worth: ionic, Most: o.budget}
	t.solved = solvedAt{known: true, lacking: o.left.Plus(t.target, -o.level)}
	given, err := feed.Amounts()
	if err != nil {
		return false
	}
	amounts := make([]float64, len(t.plan.Stocks))
	for i, pump := range pumps {
		amounts[pump] = given[i]
	}
	shares := t.plan.sharesOf(amounts)
	if shares == nil {
		return false
	}
	t.shares = shares
	return true
}

// Limits of the alarm of a surplus.
const (
	surplusUptake = 0.25 // of the tank's EC, taken since the last analysis
	surplusShare  = 0.10 // of the target, beyond what plants took
	surplusRatio  = 1.1  // of what plants took
)

// Surplus says, in words, of which nutrients acid or base bring more than the crop
// takes; empty while there are none or too little was taken to tell.
func (a *account) Surplus() string {
	if !(a.uptake > surplusUptake*a.plan.EC) {
		return ""
	}
	var words []string
	for s := blend.NO3; s < blend.Na; s++ {
		for _, by := range []struct {
			name  string
			given float64
		}{{"acid", a.acid[s]}, {"base", a.base[s]}} {
			taken := max(a.taken[s], 0)
			if a.target[s] > 0 && by.given > surplusRatio*taken && by.given-taken > surplusShare*a.target[s] {
				words = append(words, fmt.Sprintf("%s supplies more %s than the crop takes: %.2f against %.2f mmol/L since the last analysis", by.name, s.Symbol(), by.given, taken))
			}
		}
	}
	return strings.Join(words, "; ")
}

// AmmoniumAdvice is what ammonium's share could do about the acid, in words: advice that is
// never carried out by itself. It is empty while there is nothing to say.
func (a *account) AmmoniumAdvice() string {
	if !(a.uptake > surplusUptake*a.plan.EC) {
		return ""
	}
	nitrogen := a.taken.Nitrogen()
	share := 0.0
	if given := a.stock.Nitrogen() + a.acid.Nitrogen(); given > 0 {
		share = a.stock[blend.NH4] / given
	}
	most := a.plan.MaxNH4
	if most == 0 {
		most = blend.UsualNH4
	}
	lever, ok := blend.AdviseAmmonium(a.meq, nitrogen, share, most)
	if !ok {
		return ""
	}
	return lever.String()
}
