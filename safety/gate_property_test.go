package safety

import (
	"math"
	"testing"
	"time"

	"leat/dosing"

	"pgregory.net/rapid"
)

// auditor keeps its own books of one farm, in floats and plain lists, and checks
// each dose that the gate lets through against the caps as the safety
// specification states them.
type auditor struct {
	doses  []dosing.Dose
	filled []filling
}

// filling is a rise of a tank's level, by as many litres.
type filling struct {
	tank   dosing.TankID
	up     time.Duration
	litres float64
}

// alkalinity is the most in meq/L that top-up can have brought and no acid answered: all
// that the level rose by in the last mixing time and the minute that a gauge may take to
// be believed, never worth more than 0.30 pH.
func (a *auditor) alkalinity(s *Settings, tank dosing.TankID, up time.Duration, volume, floor float64) (sum float64) {
	plant := &s.Tanks[tank]
	for _, f := range a.filled {
		if f.tank == tank && up-f.up <= plant.MixingTime()+time.Minute {
			sum += f.litres * plant.TopUp.Alkalinity / volume
		}
	}
	return min(sum, 0.30*floor)
}

func (a *auditor) sum(p dosing.PumpID, up, window time.Duration) (sum dosing.Volume) {
	for _, d := range a.doses {
		if d.Pump == p && (d.Open || d.Up > up-window) {
			sum += d.Volume
		}
	}
	return sum
}

// transit is the signed acid in meq/L that is on its way to a tank.
func (a *auditor) transit(s *Settings, tank dosing.TankID, up time.Duration, volume float64) (acid, ec float64) {
	plant := &s.Tanks[tank]
	for _, d := range a.doses {
		if d.Tank != tank {
			continue
		}
		ml := d.Volume.Millilitres()
		age := up - d.Up
		if !d.Open && age > plant.DeadTime+7*plant.TimeConstant {
			continue // less than 0.1 % of it is unmixed: it has settled
		}
		if !d.Open && age > plant.DeadTime {
			ml *= math.Exp(-float64(age-plant.DeadTime) / float64(plant.TimeConstant))
		}
		acid += ml * s.Pumps[d.Pump].AcidPerML / volume
		ec += ml * s.Pumps[d.Pump].ECPerML / volume
	}
	return acid, ec
}

// check is the specification in short: caps, freshness, direction.
func (a *auditor) check(t *rapid.T, f *farm, plan dosing.Plan) {
	s, up := f.s, f.now.Up
	pump, caps, plant := &s.Pumps[plan.Pump], s.Caps[plan.Pump], &s.Tanks[plan.Tank]
	if plan.Volume < pump.MinDose || plan.Volume > caps.PerDose || plan.Volume.RunTime(pump.PerSecond) > caps.OnTime {
		t.Fatalf("%s: outside smallest dose, dose cap or run time", plan.Volume)
	}
	if a.sum(plan.Pump, up, time.Hour)+plan.Volume > caps.PerHour || a.sum(plan.Pump, up, 24*time.Hour)+plan.Volume > caps.PerDay {
		t.Fatalf("%s beyond %s in the hour or %s in the day", plan.Volume, a.sum(plan.Pump, up, time.Hour), a.sum(plan.Pump, up, 24*time.Hour))
	}
	for _, d := range a.doses {
		if d.Open {
			t.Fatalf("a dose is open")
		}
	}
	for _, q := range []dosing.Quantity{dosing.QuantityPH, dosing.QuantityLevel, dosing.QuantityCirculation} {
		reading, quality, ok := f.w.Input(f.input(plan.Tank, q))
		if !ok || !quality.MayDose() || reading.Retained() || up-reading.At().Up > Freshness(s.Inputs[reading.Input()], plant.Tank) {
			t.Fatalf("%s rests on a %s reading of age %s", q, quality, up-reading.At().Up)
		}
	}
	level, _, _ := f.w.Input(f.input(plan.Tank, dosing.QuantityLevel))
	volume := min(level.Value(), float64(plant.Volume))
	floor := f.g.BufferFloor(f.now, plan.Tank)
	acid, ec := a.transit(s, plan.Tank, up, volume)
	effect := plan.Volume.Millilitres() * pump.AcidPerML / volume
	const dust = 1e-6
	quiet := math.Abs(acid) <= 2*0.01*floor+dust && plan.Volume == pump.MinDose && math.Abs(effect)*volume/float64(plant.MinVolume) < 0.12
	met := 0.0
	if pump.Role == dosing.RoleAcid {
		met = a.alkalinity(s, plan.Tank, up, volume, floor)
	}
	if math.Abs(effect) > 0.10*floor+met+dust && !quiet {
		t.Fatalf("%s is worth %.3f pH, of which %.3f meets what top-up brought", plan.Volume, effect/floor, met/floor)
	}
	if after := acid + effect; math.Abs(after) > 0.30*floor+met+dust && math.Abs(after) > math.Abs(acid) && !quiet {
		t.Fatalf("%.3f pH on its way", after/floor)
	}
	if pump.Role == dosing.RoleStock {
		ml := plan.Volume.Millilitres() * pump.ECPerML / volume
		if ml > 0.10+dust || ec+ml > 0.20+dust {
			t.Fatalf("EC %.3f with %.3f on its way", ml, ec)
		}
	}
	if w := f.w.tanks[plan.Tank]; w.mode != ModeArmed || f.w.ledger != LedgerReady || !f.w.linkUp {
		t.Fatal("not armed, no ledger or no link")
	}
}

// TestGateNeverEmitsOutsideCapsForAnySequence drives a farm with any order of
// readings, faults, learned values and doses.
func TestGateNeverEmitsOutsideCapsForAnySequence(t *testing.T) {
	farms, emitted := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		farms++
		f := freshFarm(t, func(s *Settings) { s.StartSettling = 10 * time.Second })
		f.pass(20 * time.Second)
		books := &auditor{}
		steps := rapid.IntRange(5, 40).Draw(rt, "steps")
		for range steps {
			switch rapid.IntRange(0, 9).Draw(rt, "what") {
			case 0:
				f.pass(time.Duration(rapid.IntRange(1, 400).Draw(rt, "seconds")) * time.Second)
			case 1:
				id := dosing.InputID(rapid.IntRange(0, len(f.s.Inputs)-1).Draw(rt, "input"))
				f.mute[id] = rapid.Bool().Draw(rt, "mute")
			case 2:
				id := dosing.InputID(rapid.IntRange(0, len(f.s.Inputs)-1).Draw(rt, "input"))
				q, before := f.s.Inputs[id].Quantity, f.value[id]
				f.value[id] = nominal[q] * rapid.Float64Range(0.9, 1.1).Draw(rt, "factor")
				if q == dosing.QuantityLevel {
					books.filled = append(books.filled, filling{f.s.Inputs[id].Tank, f.now.Up, max(0, f.value[id]-before)})
				}
				if q.Switch() {
					f.value[id] = float64(rapid.IntRange(0, 1).Draw(rt, "switch"))
				}
			case 3:
				f.w.Learned(dosing.TankID(rapid.IntRange(0, 1).Draw(rt, "tank")), rapid.Float64().Draw(rt, "m"), rapid.Float64().Draw(rt, "s"), rapid.IntRange(-1, 9).Draw(rt, "n"))
			case 4:
				f.w.Aim(dosing.TankID(rapid.IntRange(0, 1).Draw(rt, "tank")),
					dosing.Target{PH: dosing.PH(rapid.Float64Range(4, 8).Draw(rt, "pH")), EC: dosing.Conductivity(rapid.Float64Range(0.5, 3).Draw(rt, "EC"))})
			case 5:
				for id := range f.value { // a good day again
					good := nominal[f.s.Inputs[id].Quantity]
					if f.s.Inputs[id].Quantity == dosing.QuantityLevel {
						books.filled = append(books.filled, filling{f.s.Inputs[id].Tank, f.now.Up, max(0, good-f.value[id])})
					}
					f.value[id] = good
				}
				f.mute = map[dosing.InputID]bool{}
				for tank := range dosing.TankID(2) {
					f.w.Confirm(f.now, tank)
					f.w.Clear(f.now, tank)
				}
				f.pass(320 * time.Second)
			default:
				emitted += tryDose(rt, f, books)
			}
		}
	})
	if emitted < farms {
		t.Errorf("only %d doses were let through in %d farms: the property was hardly tested", emitted, farms)
	}
}

// tryDose plans any dose, gives it if the gate lets it, and settles it somehow.
func tryDose(rt *rapid.T, f *farm, books *auditor) int {
	plan := dosing.Plan{Tank: dosing.TankID(rapid.IntRange(0, 1).Draw(rt, "tank")), Pump: dosing.PumpID(rapid.IntRange(0, 3).Draw(rt, "pump")),
		Volume: dosing.Volume(rapid.Int64Range(-1000, 300_000).Draw(rt, "volume")), Reason: dosing.ReasonBlendOwed}
	largest, cause := f.g.Largest(f.now, plan.Tank, plan.Pump)
	if (largest == 0) != (cause != CauseNone) {
		rt.Fatalf("largest %s with cause %s", largest, cause)
	}
	if rapid.Bool().Draw(rt, "as much as allowed") && largest > 0 {
		plan.Volume = largest
	}
	clearance, verdict := f.g.Judge(f.now, plan)
	want := plan.Volume >= f.s.Pumps[plan.Pump].MinDose && plan.Volume <= largest
	// The rest of a blend has a little more room than Largest supposes.
	if verdict.Allowed != (clearance != nil) || verdict.Allowed != want && !(verdict.Allowed && cause == CauseAwayFromSetpoint) {
		rt.Fatalf("%s judged %+v, largest %s (%s)", plan.Volume, verdict, largest, cause)
	}
	if !verdict.Allowed {
		return 0
	}
	books.check(rt, f, plan)
	f.key++
	d := dosing.Dose{Key: f.key, Tank: plan.Tank, Pump: plan.Pump, Volume: plan.Volume, Up: f.now.Up, Open: true}
	f.w.Opened(d)
	if v := f.g.Recheck(f.now, plan, f.key); !v.Allowed {
		rt.Fatalf("the second judgement in the same instant: %+v, of %v", v, plan)
	}
	if v, _ := f.g.Largest(f.now, plan.Tank, plan.Pump); v != 0 {
		rt.Fatalf("%s more with a dose open", v)
	}
	f.pass(3 * time.Second)
	certain := rapid.Bool().Draw(rt, "reported")
	delivered := plan.Volume
	if certain {
		delivered = dosing.Volume(rapid.Int64Range(0, int64(plan.Volume+plan.Volume/10)).Draw(rt, "delivered"))
	}
	f.w.Closed(f.now, plan.Tank, plan.Pump, f.key, fateOf(certain), delivered)
	d.Volume, d.Up, d.Open = delivered, f.now.Up, false
	books.doses = append(books.doses, d)
	return 1
}
