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
// that much below; it is to bring them to DumpTo. Both are shares.
const (
	DumpAt = 0.10
	DumpTo = 0.05
)

// Gathering is an ion of which the source water brings more than the crop takes.
type Gathering struct {
	Ion     blend.Substance
	Water   float64 // mmol/L that the source brings
	Takes   float64 // mmol that the crop takes with each litre
	PerWeek float64 // share of the tank to replace with source water in a week, to stay at DumpAt; infinite where that water holds more itself
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
		g.PerWeek = math.Inf(1)
		if room := (1+DumpAt)*target[s] - water[s]; room > 0 {
			g.PerWeek = UsualWeek * (g.Water - g.Takes) / room
		}
		all = append(all, g)
	}
	return all
}

// Dump is what only less of this water brings back: no stock takes anything away.
type Dump struct {
	Ion   blend.Substance // Rest: what gathers is no nutrient, or none that is wanted, and takes the others' place in EC
	Off   float64         // share above the target; of Rest, share of its target that the nutrient lacks which lacks most
	Share float64         // of the tank to replace with source water; 0: that water itself holds too much
}

func (d Dump) String() string {
	if d.Ion == blend.Rest {
		return fmt.Sprintf("a dump is due: what plants leave takes the nutrients' place in EC, which lack up to %.0f %% of their targets; %.0f %% of the tank replaced with source water and stocks brings them within %.0f %%", 100*d.Off, math.Ceil(100*d.Share-1e-6), 100*DumpTo)
	}
	if d.Share == 0 {
		return fmt.Sprintf("%s is thought %.0f %% above its target, and the source water itself holds more than it: only other water brings it back", d.Ion.Symbol(), 100*d.Off)
	}
	return fmt.Sprintf("a dump is due: %s is thought %.0f %% above its target; %.0f %% of the tank replaced with source water brings it within %.0f %%", d.Ion.Symbol(), 100*d.Off, math.Ceil(100*d.Share-1e-6), 100*DumpTo)
}

// lackShared is the part of DumpAt that all nutrients together must lack before the
// one that lacks most is laid to what gathers, and not to its stock's share.
const lackShared = 0.3

// Dumps are the dumps that are due; none while EC is still on its way. An ion that
// plants use up sooner than acid, base and water bring it is no reason: stocks that give
// less of it bring it back.
func (t *Tank) Dumps() (all []Dump) {
	if !t.started || t.room() > DumpTo*t.toward {
		return nil
	}
	target, wants := t.Target(t.toward), t.Wants()
	var held, fresh blend.Content // of the nutrients that do not gather
	most := 0.0
	for s := blend.NO3; s <= blend.S; s++ {
		if !(target[s] > 0) || s == blend.NH4 { // it is taken first and soon turned into nitrate
			continue
		}
		off := t.content[s]/target[s] - 1
		if off > DumpAt && wants[s] <= 0 {
			all = append(all, Dump{Ion: s, Off: off, Share: shareFor(off, t.plan.Water[s]/target[s])})
			continue
		}
		// What the row cannot reach even with fresh water, no dump brings.
		held[s], fresh[s] = t.content[s], min(t.made[s]*t.toward/t.plan.EC, target[s])
		most = max(most, (fresh[s]-held[s])/target[s])
	}
	if most > DumpAt && weigh(held) < (1-lackShared*DumpAt)*weigh(fresh) {
		all = append(all, Dump{Ion: blend.Rest, Off: most, Share: 1 - DumpTo/most})
	}
	return all
}

// shareFor is how much of a tank to replace with source water so that an ion that is off
// above its target comes back; water is what that water holds, as a share of the target.
func shareFor(off, water float64) float64 {
	if water >= 1+DumpTo {
		return 0
	}
	return (off - DumpTo) / (1 + off - water)
}
