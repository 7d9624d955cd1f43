package controller_test

import (
	"fmt"
	"math"
	"slices"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
	"leat/safety/ledger"
)

// invariant is one rule that no night may break.
type invariant struct {
	number int // of the list of invariants
	name   string
	check  func(*trace) []string
	plant  func(*trace) bool // breaks the rule in a trace that kept it; false where there is nothing to break
}

var invariants = []invariant{
	{2, "intent first", intentFirst, func(t *trace) bool { delete(t.durable, t.orders[len(t.orders)/2].id); return true }},
	{4, "dose cap", doseCap, func(t *trace) bool {
		largest := 0 // the first doses are small enough for three times as much
		for i := range t.orders {
			if t.orders[i].pump == t.orders[0].pump && t.orders[i].volume > t.orders[largest].volume {
				largest = i
			}
		}
		t.orders[largest].volume *= 3
		return true
	}},
	{6, "rolling caps", rollingCaps, func(t *trace) bool {
		t.orders[0].hourUsed = t.settings.Safety.Caps[t.orders[0].pump].PerHour + 1
		return true
	}},
	{9, "direction", direction, func(t *trace) bool {
		for i := range t.orders {
			if t.settings.Safety.Pumps[t.orders[i].pump].Role == dosing.RoleAcid {
				t.orders[i].before.PH.Working = 9
				return true
			}
		}
		return false
	}},
	{10, "no fighting", noFighting, plantFight},
	{17, "fault-free envelope", envelope, func(t *trace) bool { t.samples[len(t.samples)-1].truePH += 0.6; return true }},
	{20, "uncertain counted", uncertainCounted, func(t *trace) bool { t.orders[0].shown = 0; return true }},
	{25, "latched means latched", latched, func(t *trace) bool {
		o := t.orders[len(t.orders)/2]
		t.latches = append(t.latches, traceLatch{at: o.at - time.Minute, tank: o.tank, scope: safety.ScopeTank, cause: safety.CauseLeak})
		return true
	}},
	{28, "liveness", liveness, func(t *trace) bool {
		from := t.samples[len(t.samples)-1].at - 30*time.Minute
		t.orders = slices.DeleteFunc(t.orders, func(o traceOrder) bool { return o.at > from })
		for i := range t.samples {
			if s := &t.samples[i]; s.at > from {
				s.holds, s.mode, s.settled.PH = 0, safety.ModeArmed, s.pH+0.3
			}
		}
		return true
	}},
	{32, "whole blends", wholeBlends, func(t *trace) bool { t.blends[len(t.blends)-1].given[calcium] += 100 * dosing.Millilitre; return true }},
	{35, "one outlet", oneOutlet, func(t *trace) bool { t.farm[0][calcium] += dosing.Millilitre; return true }},
}

func intentFirst(t *trace) (bad []string) {
	for _, o := range t.orders {
		if step, ok := t.durable[o.id]; !ok || step > o.step {
			bad = append(bad, fmt.Sprintf("order %s went out in step %d, its intent was durable in step %d", o.id, o.step, step))
		}
	}
	if t.starts > len(t.orders) {
		bad = append(bad, fmt.Sprintf("nodes began %d orders, %d were sent", t.starts, len(t.orders)))
	}
	return bad
}

// doseCap counts the effect at the buffer that the loops have learned. The gate's
// floor is never above it, so it may only be stricter. Beyond 0.10 pH only what
// top-up brought and nothing answered counts.
func doseCap(t *trace) (bad []string) {
	for _, o := range t.orders {
		p, caps, plant := &t.settings.Safety.Pumps[o.pump], t.settings.Safety.Caps[o.pump], &t.settings.Safety.Tanks[o.tank]
		if o.volume > caps.PerDose || o.volume.RunTime(p.PerSecond) > caps.OnTime || o.volume < p.MinDose {
			bad = append(bad, fmt.Sprintf("order %s: %s of %s, caps %+v", o.id, o.volume, p.Name, caps))
		}
		litres := min(o.litres, float64(plant.Volume)) * 1.01 // the level gauge scatters
		if ec := o.volume.Millilitres() * p.ECPerML / litres; p.Role == dosing.RoleStock && ec > 0.10 {
			bad = append(bad, fmt.Sprintf("order %s: worth %.3f mS/cm", o.id, ec))
		}
		curve, err := chem.NewCurve(plant.Expected(), 21)
		if err != nil || p.Role == dosing.RoleStock || !o.before.Settled.Known {
			continue
		}
		most := 0.10
		if o.topUp {
			most += 0.30
		}
		effect := o.volume.Millilitres() * math.Abs(p.AcidPerML) / litres / (curve.Buffer(phReading(&o.before)) * o.before.Settled.BufferScale)
		if effect > most {
			bad = append(bad, fmt.Sprintf("order %s: %s of %s is worth %.3f pH", o.id, o.volume, p.Name, effect))
		}
	}
	return bad
}

func phReading(v *controller.TankView) float64 {
	for i := range v.Inputs {
		if v.Inputs[i].Quantity == dosing.QuantityPH {
			return v.Inputs[i].Value
		}
	}
	return math.NaN()
}

func rollingCaps(t *trace) (bad []string) {
	for _, o := range t.orders {
		if c := t.settings.Safety.Caps[o.pump]; o.hourUsed > c.PerHour || o.dayUsed > c.PerDay {
			bad = append(bad, fmt.Sprintf("order %s: with it %s in an hour and %s in a day, caps %s and %s", o.id, o.hourUsed, o.dayUsed, c.PerHour, c.PerDay))
		}
	}
	return bad
}

// direction goes by where the water would settle the second before the intent.
func direction(t *trace) (bad []string) {
	for _, o := range t.orders {
		v := &o.before
		if !v.Settled.Known {
			continue
		}
		wrong := false
		switch t.settings.Safety.Pumps[o.pump].Role {
		case dosing.RoleAcid:
			wrong = v.Settled.PH < v.PH.Working-0.01
		case dosing.RoleBase:
			wrong = v.Settled.PH > v.PH.Working+0.01
		case dosing.RoleStock:
			wrong = v.Settled.EC > v.EC.Working+0.05 // the rest of a blend is finished within the band
		}
		if wrong {
			bad = append(bad, fmt.Sprintf("order %s of %s at %s: settles at pH %.3f of %.3f, EC %.3f of %.3f", o.id, t.settings.Safety.Pumps[o.pump].Name, o.at,
				v.Settled.PH, v.PH.Working, v.Settled.EC, v.EC.Working))
		}
	}
	return bad
}

func noFighting(t *trace) (bad []string) {
	for i, o := range t.orders {
		p := &t.settings.Safety.Pumps[o.pump]
		for _, earlier := range t.orders[:i] {
			q := &t.settings.Safety.Pumps[earlier.pump]
			ended := earlier.at
			switch end, ok := t.settled[earlier.id]; {
			case t.doubted[earlier.id]:
				// The latest at which it can have run.
				ended += 10*time.Second + earlier.volume.RunTime(q.PerSecond)
			case ok:
				ended = end.at
			}
			apart := o.at - ended
			opposite := p.Role == dosing.RoleAcid && q.Role == dosing.RoleBase || p.Role == dosing.RoleBase && q.Role == dosing.RoleAcid
			if opposite && earlier.tank == o.tank && apart < 20*time.Minute && math.Abs(o.before.Settled.PH-o.before.PH.Working) <= 0.15-0.02 {
				bad = append(bad, fmt.Sprintf("order %s of %s %s after %s", o.id, p.Name, apart, q.Name))
			}
			if !p.Group.MayMeet(q.Group) && apart < t.settings.Safety.Tanks[earlier.tank].PlumeTime() {
				bad = append(bad, fmt.Sprintf("order %s of %s %s after %s, which it must not meet", o.id, p.Name, apart, q.Name))
			}
		}
	}
	return bad
}

func plantFight(t *trace) bool {
	for i := range t.orders {
		if o := t.orders[i]; o.pump == acidNorth {
			o.pump, o.at = baseNorth, o.at+time.Minute
			o.before.Settled.PH = o.before.PH.Working - 0.06
			t.orders = append(t.orders, o)
			return true
		}
	}
	return false
}

func envelope(t *trace) (bad []string) {
	if t.faulty {
		return nil
	}
	for _, s := range t.samples {
		if s.at > 150*time.Minute && (!(math.Abs(s.truePH-s.pH) <= 0.5) || !(math.Abs(s.trueEC-s.ec) <= 0.2)) {
			return append(bad, fmt.Sprintf("tank %d at %s: pH %.2f, wanted %.2f; EC %.2f, wanted %.2f", s.tank, s.at, s.truePH, s.pH, s.trueEC, s.ec))
		}
	}
	return nil
}

// uncertainCounted: from its order on a dose counts in full until it is settled, and
// until then nothing else goes out; an uncertain one keeps its tank waiting for a
// mixing time from the doubt, which cannot be before its order.
func uncertainCounted(t *trace) (bad []string) {
	for i, o := range t.orders {
		if o.shown < o.hourUsed {
			bad = append(bad, fmt.Sprintf("order %s: the core counts %s in this hour, the record %s", o.id, o.shown, o.hourUsed))
		}
		end, ended := t.settled[o.id]
		for _, later := range t.orders[i+1:] {
			if !ended || later.step < end.step {
				bad = append(bad, fmt.Sprintf("order %s went out while %s was open", later.id, o.id))
			}
			if t.doubted[o.id] && ended && end.outcome == ledger.OutcomeUncertain && later.tank == o.tank && later.at < o.at+t.settings.Safety.Tanks[o.tank].MixingTime() {
				bad = append(bad, fmt.Sprintf("order %s %s after the uncertain %s", later.id, later.at-o.at, o.id))
			}
		}
		if ended && end.outcome != ledger.OutcomeConfirmed && end.outcome != ledger.OutcomeWithdrawn && end.volume != o.volume {
			bad = append(bad, fmt.Sprintf("order %s is %s and counts %s of %s", o.id, end.outcome, end.volume, o.volume))
		}
	}
	return bad
}

func latched(t *trace) (bad []string) {
	for _, l := range t.latches {
		cleared := time.Duration(math.MaxInt64)
		for _, c := range t.clears {
			if c.tank == l.tank && c.at > l.at {
				cleared = min(cleared, c.at)
			}
		}
		for _, o := range t.orders {
			if o.at > l.at && o.at < cleared && l.concerns(t, o) {
				bad = append(bad, fmt.Sprintf("order %s at %s, though %s latched at %s", o.id, o.at, l.cause, l.at))
			}
		}
	}
	return bad
}

func (l *traceLatch) concerns(t *trace, o traceOrder) bool {
	role := t.settings.Safety.Pumps[o.pump].Role
	switch l.scope {
	case safety.ScopeStation, safety.ScopeTank:
		return o.tank == l.tank || l.scope == safety.ScopeStation
	case safety.ScopeNutrients:
		return o.tank == l.tank && role == dosing.RoleStock
	case safety.ScopeReagents:
		return o.tank == l.tank && role != dosing.RoleStock
	}
	return t.settings.Safety.Pumps[o.pump].Name == l.pump
}

func liveness(t *trace) (bad []string) {
	const within = 15 * time.Minute
	for tank := range t.settings.Tanks {
		since, last := time.Duration(-1), 0
		for _, s := range t.samples {
			if s.tank != dosing.TankID(tank) {
				continue
			}
			if s.wordless > 0 {
				return append(bad, fmt.Sprintf("tank %d at %s: a hold without words or age", tank, s.at))
			}
			for last < len(t.orders) && t.orders[last].at <= s.at {
				if t.orders[last].tank == s.tank {
					since = -1
				}
				last++
			}
			wants := s.settled.Known && (math.Abs(s.settled.PH-s.pH) > dosing.StartBand.PH || s.settled.EC < s.ec-dosing.StartBand.EC)
			if !wants || s.holds > 0 || s.mode != safety.ModeArmed {
				since = -1
				continue
			}
			if since < 0 {
				since = s.at
			}
			if s.at-since > within {
				return append(bad, fmt.Sprintf("tank %d at %s: settles at pH %.2f of %.2f, EC %.2f of %.2f, nothing holds it, and nothing came for %s",
					tank, s.at, s.settled.PH, s.pH, s.settled.EC, s.ec, within))
			}
		}
	}
	return nil
}

// wholeBlends: what each stock gave and still owes is what the blends begun so far
// had for it, within one smallest dose.
func wholeBlends(t *trace) (bad []string) {
	for _, b := range t.blends {
		for p := range t.settings.Safety.Pumps {
			set := &t.settings.Safety.Pumps[p]
			if set.Role != dosing.RoleStock || !set.ServesTank(b.tank) {
				continue
			}
			if off := float64(b.given[p]+b.owed[p]) - b.due[p]; math.Abs(off) > float64(set.MinDose) {
				bad = append(bad, fmt.Sprintf("tank %d at %s: %s is %.1f mL off its share", b.tank, b.at, set.Name, off/1000))
			}
		}
	}
	return bad
}

// oneOutlet: one order runs at a time, and each entered the tank that it named.
func oneOutlet(t *trace) (bad []string) {
	for _, s := range t.samples {
		if s.running < 0 || s.tank != 0 {
			continue
		}
		ordered := slices.ContainsFunc(t.orders, func(o traceOrder) bool {
			end, ended := t.settled[o.id]
			return int(o.pump) == s.running && o.at <= s.at && (!ended || end.at >= s.at-2*time.Second)
		})
		if !ordered {
			bad = append(bad, fmt.Sprintf("pump %d ran at %s without an open order", s.running, s.at))
		}
	}
	for tank := range t.farm {
		for p := range t.farm[tank] {
			if t.farm[tank][p] > t.counted[tank][p]+t.openVolume(dosing.TankID(tank), dosing.PumpID(p)) {
				bad = append(bad, fmt.Sprintf("%s of pump %d entered tank %d, %s were meant for it", t.farm[tank][p], p, tank, t.counted[tank][p]))
			}
		}
	}
	return bad
}

func (t *trace) openVolume(tank dosing.TankID, pump dosing.PumpID) (sum dosing.Volume) {
	for _, o := range t.orders {
		if _, ended := t.settled[o.id]; !ended && o.tank == tank && o.pump == pump {
			sum += o.volume
		}
	}
	return sum
}
