package controller

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/loop"
)

// fillPlan is how a tank is filled up with source water and brought to its setpoints.
type fillPlan struct {
	litres  float64         // of source water, by our own valve
	volumes []dosing.Volume // that each pump may give beyond what was usual lately, the valve's among them
	words   string
}

// fillWithin is how long an approved fill may take.
const fillWithin = 12 * time.Hour

// plan is the fill of a tank as it would begin now, or why there can be none.
func (fs *fills) plan(now dosing.Instant, id dosing.TankID) (*fillPlan, string) {
	t := &fs.tanks[id]
	level, rests := fs.watch.Resting(now, id)
	e := t.loops.Estimate(now, t.target())
	valve, fitted := fs.valve(id)
	p := &fillPlan{volumes: make([]dosing.Volume, len(fs.settings.Safety.Pumps))}
	full := level
	if band := fs.settings.Safety.Tanks[id].TopUpBand; fitted && level < float64(band.High) {
		full = float64(band.High)
	}
	p.litres = full - level
	switch {
	case !rests:
		return nil, "the level is not at rest, or not known: ask again when water neither comes nor goes"
	case !e.PHKnown || !e.ECKnown:
		return nil, "pH or EC is not known now"
	case !fitted && level < float64(t.plant.MinVolume):
		return nil, fmt.Sprintf("the tank holds %.0f L and no valve of leat lets water in: fill it up first, then enter which water is in", level)
	}
	before, after := fs.amounts(p, id, &e, full)
	if before == "" {
		return nil, "it cannot be worked out: " + after
	}
	if fitted {
		p.volumes[valve] = dosing.FromMillilitres(1000 * p.litres)
	}
	given, order := fs.orderOf(id, p)
	if p.litres < 1 && given == "" {
		return nil, "nothing is lacking: the tank is full and at its setpoints"
	}
	water := "No water is let in"
	if p.litres >= 1 {
		water = fmt.Sprintf("First %.0f L of source water by %s, nothing else meanwhile", p.litres, fs.settings.Safety.Pumps[valve].Name)
	}
	p.words = fmt.Sprintf("%s; %.0f L of what is in the tank remain. Then, before anything is added: %s.%s %s. After it: %s. It ends at 90 %% of the EC setpoint, or after 12 h; the loop goes on from there. Every dose passes the gate: its caps stand, only what was usual lately does not count",
		water, level, before, given, order, after)
	p.words += fs.notes(now, p)
	return p, ""
}

// amounts works out what each pump has to give, and the water before and after in words. Before is
// empty where it cannot be.
func (fs *fills) amounts(p *fillPlan, id dosing.TankID, e *loop.Estimate, full float64) (before, after string) {
	t := &fs.tanks[id]
	share, pH, ec := p.litres/full, t.ph.present, t.ec.present
	if t.ions.account != nil && t.ions.account.Begun() {
		out, amounts, err := t.ions.account.Refill(share, ec, pH, float64(e.MeasuredPH))
		if err != nil {
			return "", err.Error()
		}
		for i, perLitre := range amounts {
			p.volumes[i] = dosing.FromMillilitres(perLitre * full)
		}
		m := out.Mix
		return fmt.Sprintf("pH %.1f, EC %.2f mS/cm", m.Plain.PH, m.Plain.EC25), fmt.Sprintf("pH %.1f, EC %.2f mS/cm; mg/L: %s", m.Settled.PH, m.Settled.EC25, ionWords(&m.Reached))
	}
	// Without a recipe, by the shares of the pumps and the titration curve.
	mixed := float64(e.MeasuredEC)*(1-share) + float64(t.plant.TopUp.EC)*share
	blendML := 0.0
	if t.blendEC > 0 {
		blendML = max(ec-mixed, 0) / t.blendEC // mL for each litre
	}
	acid := t.curve.AcidNeeded(float64(e.MeasuredPH), pH)*t.plant.BufferScale*(1-share) + t.plant.TopUp.Alkalinity*share
	for i := range fs.settings.Safety.Pumps {
		pump := &fs.settings.Safety.Pumps[i]
		if each := blendML * t.loops.Share(dosing.PumpID(i)); pump.Role == dosing.RoleStock && each > 0 {
			p.volumes[i] = dosing.FromMillilitres(each * full)
			acid -= each * pump.AcidPerML
		}
	}
	for i := range fs.settings.Safety.Pumps {
		pump := &fs.settings.Safety.Pumps[i]
		if perLitre := acid / pump.AcidPerML; reagent(pump) && pump.ServesTank(id) && pump.AcidPerML != 0 && perLitre > 0 {
			p.volumes[i] = dosing.FromMillilitres(perLitre * full)
			break
		}
	}
	return fmt.Sprintf("EC %.2f mS/cm and %.2f meq/L of alkalinity from the source water", mixed, t.plant.TopUp.Alkalinity*share),
		fmt.Sprintf("pH %.1f, EC %.2f mS/cm", pH, max(ec, mixed))
}

func reagent(p *dosing.Pump) bool { return p.Role == dosing.RoleAcid || p.Role == dosing.RoleBase }

// ionWords are the ions of a solution, mg/L by their atom.
func ionWords(c *blend.Content) string {
	var all []string
	for s := blend.NO3; s < blend.Carbon; s++ {
		if mg := c.Milligrams(s); mg > 0.005 {
			all = append(all, s.Symbol()+" "+strconv.FormatFloat(mg, 'g', 3, 64))
		}
	}
	return strings.Join(all, ", ")
}

// orderOf says how much of each liquid is given and in which order. Stocks go in portions that each
// hold all of them: a fill that is broken off then leaves a weak solution, not one of calcium alone.
func (fs *fills) orderOf(id dosing.TankID, p *fillPlan) (given, order string) {
	var acids, stocks []string
	for _, group := range []dosing.Group{dosing.GroupSilicate, dosing.GroupAcid, dosing.GroupBase, dosing.GroupCalcium, dosing.GroupNeutral, dosing.GroupSulfate, dosing.GroupChelate} {
		for i := range fs.settings.Safety.Pumps {
			pump := &fs.settings.Safety.Pumps[i]
			if pump.Group != group || pump.Role == dosing.RoleWater || p.volumes[i] < pump.MinDose {
				continue
			}
			text := fmt.Sprintf("%s %s · %s", volumeText(p.volumes[i]), pump.Name, pump.Liquid())
			if reagent(pump) {
				acids = append(acids, text)
			} else {
				stocks = append(stocks, text)
			}
		}
	}
	if given = strings.Join(append(acids, stocks...), "; "); given == "" {
		return "", "Nothing has to be added"
	}
	order = "Acid goes first, until pH is in its band; then the stocks in portions, calcium before sulfate and phosphate in each"
	if len(acids) == 0 {
		order = "The stocks go in portions, calcium before sulfate and phosphate in each"
	}
	return " Added in all: " + given + ".", order
}

// notes are what a person should know before approving, each a sentence.
func (fs *fills) notes(now dosing.Instant, p *fillPlan) string {
	var all strings.Builder
	for i, volume := range p.volumes {
		pump, caps := &fs.settings.Safety.Pumps[i], &fs.settings.Safety.Caps[i]
		if volume < pump.MinDose {
			continue
		}
		allows := min(caps.PerDay-fs.totals.Day(dosing.PumpID(i), now.Up), dosing.Volume(float64(caps.PerHour)*fillWithin.Hours()))
		if allows < volume {
			fmt.Fprintf(&all, ". Mind: the caps of %s let %s of its %s through in 12 h, the rest comes later", pump.Name, volumeText(max(allows, 0)), volumeText(volume))
		}
		if left := fs.stocks.left(dosing.PumpID(i)); left >= 0 && left < volume {
			fmt.Fprintf(&all, ". Mind: %s holds %s, less than is needed", pump.Name, volumeText(left))
		}
	}
	return all.String()
}

// text is the plan as its row keeps it: litres by pump. fillVolumes reads it.
func (fs *fills) text(p *fillPlan) string {
	var all []string
	for i, volume := range p.volumes {
		if volume > 0 {
			all = append(all, fmt.Sprintf("%s=%.6f L", fs.settings.Safety.Pumps[i].Name, volume.Litres()))
		}
	}
	return strings.Join(all, ", ")
}

// volumesOf are the volumes of a row, by pump; pumps that are gone are left out.
func (s *station) volumesOf(text string) []dosing.Volume {
	volumes := make([]dosing.Volume, len(s.settings.Safety.Pumps))
	for part := range strings.SplitSeq(text, ", ") {
		name, amount, _ := strings.Cut(part, "=")
		litres, err := strconv.ParseFloat(strings.TrimSuffix(amount, " L"), 64)
		if pump, known := s.pumpNamed(name); known && err == nil && litres > 0 && !math.IsInf(litres, 0) {
			volumes[pump] = dosing.FromMillilitres(1000 * litres)
		}
	}
	return volumes
}
