package ratio

import (
	"fmt"
	"math"

	"leat/dosing/blend"
)

// What a crop in recirculated water usually takes with its water, for words before
// anything was measured: published figures lie between 0.8 and 2.5 mS/cm of nutrients
// with each litre, and a tank's own water lasts some three weeks.
const (
	UsualUptake = 1.25 // mS/cm
	UsualWeek   = 0.35 // of the tank's litres, used in a week
)

// A dump is due where an ion stands DumpAt above its target, or the nutrients as a whole
// that much below; it is to bring them to DumpTo. Both are shares. From doubtedAt on it is due
// already where the account's doubt reaches beyond Within.
const (
	DumpAt    = 0.10
	DumpTo    = 0.05
	doubtedAt = 0.07
)

// Gathering is an ion of which the source water brings more than the crop takes.
type Gathering struct {
	Ion     blend.Substance
	Water   float64 // mmol/L that the source brings
	Takes   float64 // mmol that the crop takes with each litre
	PerWeek float64 // share of the tank to replace with source water in a week, to stay at DumpAt; infinite where that water holds more itself
	Rain    float64 // share of rain water in the source with which it gathers no more
}

// Gathers are the macronutrients that gather in a tank of this water under a usual
// crop, though no stock gives any; target is at an EC.
func Gathers(water, target blend.Content, ec float64) (all []Gathering) {
	for s := blend.NO3; s <= blend.S; s++ {
		if !(target[s] > 0) || s == blend.NH4 {
			continue
		}
		g := Gathering{Ion: s, Water: water[s], Takes: target[s] * UsualUptake / ec}
		if g.Water <= g.Takes {
			continue
		}
		g.PerWeek, g.Rain = math.Inf(1), 1-g.Takes/g.Water
		if room := (1+DumpAt)*target[s] - water[s]; room > 0 {
			g.PerWeek = UsualWeek * (g.Water - g.Takes) / room
		}
		all = append(all, g)
	}
	return all
}

// passed is the part of sodium and chloride that a crop takes of the water that it drinks.
const passed = 0.2

// Leaving is what plants leave of this water, under a usual crop, as the EC that it takes
// from the nutrients; target is at an EC.
type Leaving struct {
	EC      float64 // mS/cm more in a week without a dump
	PerWeek float64 // share of the tank to replace with source water in a week, to stay at DumpAt of EC
}

// Leaves says what plants leave of this water.
func Leaves(water, target blend.Content, ec float64) Leaving {
	var left blend.Content
	for s := blend.NO3; s <= blend.S; s++ {
		left[s] = max(water[s]-float64(target[s]*UsualUptake/ec), 0)
	}
	left[blend.Na], left[blend.Cl] = (1-passed)*water[blend.Na], (1-passed)*water[blend.Cl]
	conducts := ec / weigh(target.Plus(water, 1)) // near enough for both
	l := Leaving{EC: UsualWeek * conducts * weigh(left)}
	l.PerWeek = l.EC / (DumpAt * ec)
	return l
}

// Dump is what only less of this water brings back: no stock takes anything away.
type Dump struct {
	Ion   blend.Substance // Rest: all that plants leave, which takes the nutrients' place in EC
	Off   float64         // share above the target, below it where it is negative; of Rest, share of EC that it takes beyond a fresh filling
	May   float64         // share above the target that it may be, where that makes the dump due; else 0
	Share float64         // of the tank to replace with source water; 0: that water itself holds too much
	Rain  float64         // then: the share of rain water, or other water without salts, in the source that brings it to DumpTo
}

func (d Dump) String() string {
	by := math.Ceil(100*d.Share - 1e-6)
	switch {
	case d.Ion == blend.Rest:
		return fmt.Sprintf("a dump is due: what plants leave takes %.0f %% of EC beyond a fresh filling, in the nutrients' place; %.0f %% of the tank replaced with source water and stocks brings that to %.0f %%", 100*d.Off, by, 100*DumpTo)
	case d.Off < 0:
		return fmt.Sprintf("a dump is due: %s is thought %.0f %% below its target, and what plants leave keeps EC up, so that stocks cannot bring it back; %.0f %% of the tank replaced with source water makes room", d.Ion.Symbol(), -100*d.Off, by)
	case d.Share == 0:
		return fmt.Sprintf("%s is thought %.0f %% above its target, and the source water itself holds more than it: no stock and no dump brings it back, only other water, as this with %.0f %% of rain water", d.Ion.Symbol(), 100*d.Off, math.Ceil(100*d.Rain-1e-6))
	}
	may := ""
	if d.May > 0 {
		may = fmt.Sprintf(" and may be %.0f %%", 100*d.May)
	}
	return fmt.Sprintf("a dump is due: %s is thought %.0f %% above its target%s; %.0f %% of the tank replaced with source water brings it within %.0f %%", d.Ion.Symbol(), 100*d.Off, may, by, 100*DumpTo)
}

// Left judges what plants leave in a tank, and what only other water or another setpoint
// does about it.
type Left struct{ t *Tank }

// Left is what plants leave in the tank.
func (t *Tank) Left() Left { return Left{t} }

// Dumps are the dumps that are due; none while EC is still on its way. An ion that
// plants use up sooner than acid, base and water bring it is no reason: stocks that give
// less of it bring it back.
func (l Left) Dumps() (all []Dump) {
	if !l.atSetpoint() {
		return nil
	}
	target, wants := l.t.Target(l.t.toward), l.t.Wants()
	for s := blend.NO3; s <= blend.S; s++ {
		if !(target[s] > 0) || s == blend.NH4 { // it is taken first and soon turned into nitrate
			continue
		}
		water, may := l.t.plan.Water[s]/target[s], float64(l.t.content[s]+Quantile*l.t.Off(s))/target[s]-1
		if water < 1+DumpTo { // a fresh filling holds no less
			target[s] = max(target[s], l.t.made[s])
			water = l.t.plan.Water[s] / target[s]
		}
		off := l.t.content[s]/target[s] - 1
		if off > DumpAt {
			may = 0
		}
		if wants[s] <= 0 && (off > DumpAt || off > doubtedAt && may > Within) {
			all = append(all, Dump{Ion: s, Off: off, May: may, Share: shareFor(off, water), Rain: max(1-(1+DumpTo)/water, 0)})
		}
	}
	if off := l.Gathered() / l.t.plan.EC; off > DumpAt {
		all = append(all, Dump{Ion: blend.Rest, Off: off, Share: 1 - DumpTo/off})
	} else if d, ok := l.starved(off); ok {
		all = append(all, d)
	}
	return all
}

// starved is the nutrient that lacks most, by DumpAt at least, where gathered, a share of EC,
// keeps EC up so that the stocks that would bring it back are hardly given.
func (l Left) starved(gathered float64) (worst Dump, is bool) {
	if gathered < DumpTo {
		return Dump{}, false
	}
	target, brought := l.t.Target(l.t.toward), l.t.brought()
	for s := blend.NO3; s <= blend.S; s++ {
		if !(target[s] > 0) || l.t.appetite[s] <= brought[s] || s == blend.NH4 {
			continue
		}
		wanted := min(target[s], float64(l.t.made[s]*target[s]/l.t.target[s]))
		if off := l.t.content[s]/wanted - 1; off < min(worst.Off, -DumpAt) {
			worst = Dump{Ion: s, Off: off, Share: 1 - DumpTo/(DumpTo+gathered)}
		}
	}
	return worst, worst.Off < 0
}

// atSetpoint says that EC stands where the loop brings it, so that what is held tells
// something.
func (l Left) atSetpoint() bool { return l.t.started && l.t.room() <= DumpTo*l.t.toward }

// Gathered is the EC that what plants leave takes beyond a fresh filling, mS/cm: so much
// higher must EC stand for the nutrients to have the recipe's strength. A nutrient of
// which plants take more than acid, base and water bring does not gather, however much
// of it there is now.
func (l Left) Gathered() float64 {
	fresh, brought := l.t.made, l.t.brought()
	fresh[blend.Carbon] = l.t.content[blend.Carbon]
	left := fresh
	for s := blend.NO3; s <= blend.Cl; s++ {
		if l.t.target[s] > 0 && l.t.appetite[s] > brought[s] || s == blend.NH4 {
			continue
		}
		left[s] = max(l.t.content[s], fresh[s])
	}
	with, ok := l.t.conductivity(left, l.t.pH)
	without, okToo := l.t.conductivity(fresh, l.t.pH)
	if !ok || !okToo || !l.t.started {
		return 0
	}
	return (with - without) / l.t.scale
}

// allows is how much of an EC setpoint is for what plants leave: what stands above the
// file's, as far as there is something left.
func (l Left) allows(ec float64) float64 {
	if ec <= l.t.plan.EC {
		return 0
	}
	return min(ec-l.t.plan.EC, l.Gathered())
}

// worthASetpoint is the step of EC that is worth a word, mS/cm.
const worthASetpoint = 0.06

// allowMost is the most that a setpoint should allow for, as a share: beyond it a dump is near,
// which takes it out, and a setpoint that was raised just before would feed too strong after.
const allowMost = 0.75 * DumpAt

// worthLess is the same downward: once a dump has taken out what had gathered, a setpoint that
// still allows for it feeds too strong.
const worthLess = worthASetpoint / 2

// lacking is the EC that the nutrients which stocks steer lack of a fresh filling at the plan's
// EC; below zero they have more.
func (l Left) lacking() float64 {
	brought, sum := l.t.brought(), 0.0
	for s := blend.NO3; s <= blend.S; s++ {
		if l.t.appetite[s] > brought[s] && s != blend.NH4 {
			sum += float64(ionic[s] * (l.t.made[s] - l.t.content[s]))
		}
	}
	return sum * l.t.plan.EC / weigh(l.t.made)
}

// Setpoint is the EC that holds the nutrients at the recipe's strength beside what
// plants leave, with a sentence; 0 where the present one does, where a person keeps the
// tank weaker than the file, or where EC is on its way. A raise also wants nutrients that
// lack for half of it, so that an account that is off raises nothing. A lower one follows
// from nutrients that have too much, as after a dump, even where something is still left:
// beside what gathers a tank holds less ammonium than a fresh filling, for one.
func (l Left) Setpoint() (ec float64, words string) {
	if !l.atSetpoint() || l.t.toward < l.t.plan.EC-1e-3 {
		return 0, ""
	}
	allowed, lacking := min(l.Gathered(), allowMost*l.t.plan.EC), l.lacking()
	if l.t.plan.EC+allowed < l.t.toward || lacking < 0 {
		allowed = max(min(allowed, l.t.ec+lacking-l.t.plan.EC), 0)
	}
	ec = math.Round(100*(l.t.plan.EC+allowed)) / 100
	up := ec - l.t.toward
	if up > -worthLess && up < worthASetpoint || up > 0 && lacking < up/2 {
		return 0, ""
	}
	if up > 0 {
		words = fmt.Sprintf("what plants leave takes %.2f mS/cm of EC beyond a fresh filling: an EC setpoint of %.2f keeps the nutrients at the strength that the recipe has at %.2f", l.Gathered(), ec, l.t.plan.EC)
		if l.Gathered() > allowMost*l.t.plan.EC {
			words += "; what is more waits for a dump"
		}
		return ec, words
	}
	return ec, fmt.Sprintf("the EC setpoint of %.2f allows %.2f mS/cm for what plants leave, and that takes %.2f of the nutrients' place now: %.2f keeps them at the strength that the recipe has at %.2f", l.t.toward, l.t.toward-l.t.plan.EC, ec-l.t.plan.EC, ec, l.t.plan.EC)
}

// shareFor is how much of a tank to replace with source water so that an ion that is off
// above its target comes back; water is what that water holds, as a share of the target.
func shareFor(off, water float64) float64 {
	if water >= 1+DumpTo {
		return 0
	}
	return (off - DumpTo) / (1 + off - water)
}
