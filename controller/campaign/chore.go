package campaign

import (
	"fmt"
	"slices"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/calibration"
	filled "leat/dosing/ratio"
	"leat/safety"
)

// chore is ordinary work of a person on the farm, well done or with a slip that is put
// right.
type chore struct {
	kind     choreKind
	at       time.Duration // of the night
	lasts    time.Duration // of a pause, of a cleaning
	tank     dosing.TankID
	pump     dosing.PumpID // whose container is filled
	other    dosing.PumpID // for which a slip enters it
	probe    dosing.InputID
	quantity dosing.Quantity
	value    float64 // of a setpoint
	share    float64 // of the water that is changed in a cleaning
	slip     bool
}

type choreKind uint8

const (
	choreSetpoint  choreKind = iota // another setpoint for good
	chorePause                      // resumed after a while; slip: forgotten for hours
	choreRefill                     // slip: litres for millilitres, then another pump's container
	choreCalibrate                  // slip: the bottles are swapped
	choreClean                      // slip: arms the tank while the cleaner is in it
	choreFill                       // a part is dumped, and a fill is approved; where leat has no valve it is filled up before
	choreKinds
)

var choreNames = [choreKinds]string{"setpoint", "pause", "refill", "calibration", "cleaning", "fill"}

// drawChores draws a night's: two to four, each in its own part of the night.
func (s *Scene) drawChores() (all []chore) {
	from, fills := source(s.Seed, "chores"), source(s.Seed, "fills")
	count := from.whole(2, 4)
	each := s.Hours / time.Duration(count)
	for i := range count {
		x := chore{kind: choreKind(from.whole(0, int(choreFill)-1)), tank: dosing.TankID(from.whole(0, len(s.Settings.Tanks)-1))}
		x.at = time.Duration(i)*each + span(float64(int(from.uniform(0.05, 0.6)*each.Seconds())))
		x.slip = from.uniform(0, 1) < 0.5
		x.lasts = span(float64(int(from.uniform(300, 2400))))
		x.share = from.uniform(0.4, 0.8)
		pumps, up := serving(s.Settings.Pumps(), x.tank), from.uniform(-1, 1)
		k := from.whole(0, len(pumps)-1)
		x.pump, x.other = pumps[k], pumps[(k+1)%len(pumps)]
		x.quantity = []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC}[from.whole(0, 1)]
		target := &s.Settings.Tanks[x.tank]
		if x.value = target.PH.Value + 0.25*up; x.quantity == dosing.QuantityEC {
			x.value = target.EC.Value * (1 + 0.04*(1+up)) // nothing is dosed to lower it
		}
		if fills.uniform(0, 1) < 0.2 {
			x.kind, x.share = choreFill, fills.uniform(0.15, 0.6)
		}
		switch {
		case x.kind == chorePause && x.slip:
			x.lasts += time.Hour
		case x.kind == choreClean && target.Ratio != nil:
			x.kind = chorePause // whoever cleans it must say more of its water than is known here
		case x.kind == choreCalibrate:
			var own bool
			if x.probe, own = s.probeOf(x.tank, x.quantity); !own {
				x.kind = chorePause
			}
		}
		all = append(all, x)
	}
	return all
}

// probeOf is a tank's own probe of a quantity, if it has one.
func (s *Scene) probeOf(id dosing.TankID, q dosing.Quantity) (probe dosing.InputID, ok bool) {
	i := slices.IndexFunc(s.Settings.Safety.Inputs, func(in safety.Input) bool { return in.Tank == id && in.Quantity == q && in.NotFitted == "" })
	return dosing.InputID(max(i, 0)), i >= 0
}

// words are the chore for a person.
func (x *chore) words(s *Scene) string {
	what := ""
	switch x.kind {
	case choreSetpoint:
		what = fmt.Sprintf("%s to %.3g", x.quantity, x.value)
	case chorePause:
		what = fmt.Sprintf("for %s", x.lasts)
	case choreRefill:
		what = "of " + s.Settings.Pumps()[x.pump].Name
	case choreCalibrate:
		what = "of " + s.Settings.Safety.Inputs[x.probe].Name
	case choreFill:
		what = fmt.Sprintf("of %.0f %%", 100*x.share)
	case choreClean:
		what = fmt.Sprintf("and %.0f %% fresh water", 100*x.share)
	}
	slip := ""
	if x.slip && x.kind != choreSetpoint {
		slip = ", with a slip"
	}
	return fmt.Sprintf("%s %s in %s %s%s", x.at, choreNames[x.kind], s.Settings.Safety.Tanks[x.tank].Name, what, slip)
}

// helper does a night's chores, one after the other.
type helper struct {
	chores   []chore
	settings *controller.Settings
	night    *sim.Night
	farm     *sim.Farm
	begin    time.Duration // of the night
	open     bool
	step     int           // of the chore that is open
	due      time.Duration // of the night: its next step
	bottles  []calibration.Standard
	done     map[string]int
}

// second does what is due. A tank that is not armed, or that something has stopped, is
// left alone; what was begun is ended in any case.
func (h *helper) second(now dosing.Instant) {
	if len(h.chores) == 0 {
		return
	}
	x, at := &h.chores[0], now.Up-h.begin
	if !h.open {
		if at < x.at {
			return
		}
		if is := h.night.Core.Remembered(now).Tanks[x.tank]; is.Mode != safety.ModeArmed || len(is.Latches) > 0 || is.Unconfirmed || is.Maintenance || is.Cleaning || is.Paused {
			h.chores = h.chores[1:]
			return
		}
		h.open, h.step, h.due = true, 0, at
	}
	if at < h.due {
		return
	}
	after := h.do(now, x)
	h.due = at + after
	if after == 0 {
		h.done[choreNames[x.kind]]++
		h.open, h.chores = false, h.chores[1:]
	}
}

// do takes the chore's next step and says after how long the one after it is due; 0 = it
// is done.
func (h *helper) do(now dosing.Instant, x *chore) time.Duration {
	h.step++
	switch x.kind {
	case choreSetpoint:
		h.ask(controller.Request{Kind: controller.RequestSetpoint, Tank: x.tank, Quantity: x.quantity, Value: x.value})
		return 0
	case chorePause:
		if h.step == 1 {
			h.ask(controller.Request{Kind: controller.RequestPause, Tank: x.tank})
			return x.lasts
		}
		h.back(now, x.tank)
		return 0
	case choreRefill:
		return h.refill(x)
	case choreCalibrate:
		return h.calibrate(now, x)
	case choreFill:
		return h.fill(now, x)
	}
	return h.clean(now, x)
}

// fill dumps a part during a pause, tells which water is in, and approves a fill.
func (h *helper) fill(now dosing.Instant, x *chore) time.Duration {
	valve := slices.ContainsFunc(h.settings.Pumps(), func(p dosing.Pump) bool { return p.Role == dosing.RoleWater && p.ServesTank(x.tank) })
	switch {
	case h.step == 1:
		h.ask(controller.Request{Kind: controller.RequestPause, Tank: x.tank})
		return time.Minute
	case h.step == 2:
		if valve {
			h.farm.Drain(x.tank, x.share)
		} else {
			h.farm.Replace(x.tank, x.share)
		}
		return x.lasts
	case h.step == 3:
		confirm := controller.Request{Kind: controller.RequestConfirmWater, Tank: x.tank, Water: filled.WaterSame, Note: "nutrient solution, no disinfectant, rinsed"}
		if !valve {
			confirm.Water, confirm.Replaced = filled.WaterSource, x.share
		}
		h.ask(confirm)
		h.back(now, x.tank)
		return 10 * time.Minute
	}
	if !h.ask(controller.Request{Kind: controller.RequestFill, Tank: x.tank}).Accepted {
		h.done["fill refused"]++
	}
	return 0
}

// refill fills a container and enters it. Who slips writes millilitres for litres, then
// names another pump, and enters the right one last.
func (h *helper) refill(x *chore) time.Duration {
	holds := func(p dosing.PumpID) dosing.Volume { return max(h.settings.Pumps()[p].Container, dosing.Litre) }
	enter := func(p dosing.PumpID, v dosing.Volume) {
		h.ask(controller.Request{Kind: controller.RequestRefill, Tank: x.tank, Pump: p, Volume: v, Batch: "of the night"})
	}
	switch {
	case h.step == 1:
		h.farm.Refill(x.pump)
		return time.Minute
	case h.step == 2 && x.slip:
		enter(x.pump, 1000*holds(x.pump))
		return 20 * time.Second
	case h.step == 3 && x.slip:
		enter(x.other, holds(x.other))
		return time.Minute
	}
	enter(x.pump, holds(x.pump))
	return 0
}

// calibrate takes a probe through its standards. Who slips has the first two bottles
// swapped until leat says so.
func (h *helper) calibrate(now dosing.Instant, x *chore) time.Duration {
	const settles, again, most = 90 * time.Second, 10 * time.Second, 60
	in := &h.settings.Safety.Inputs[x.probe]
	say := func(step string, standard string) controller.Answer {
		return h.ask(controller.Request{Kind: controller.RequestCalibrate, Tank: x.tank,
			Calibrating: controller.Calibrating{Probe: in.Name, Step: step, Standard: standard, Celsius: 25}})
	}
	dip := func(s calibration.Standard) {
		if value, err := s.At(25); err == nil {
			h.farm.IntoStandard(x.probe, value)
		}
	}
	end := func() time.Duration {
		h.farm.IntoTank(x.probe)
		h.bottles = nil
		return 2 * time.Minute
	}
	all := calibration.Standards(in.Quantity)
	switch {
	case h.step == 1:
		if !say(controller.CalibrateBegin.String(), "").Accepted {
			return 0
		}
		h.bottles = []calibration.Standard{all[0]}
		if in.Quantity == dosing.QuantityPH {
			h.bottles = append(h.bottles, all[2])
		}
		if dip(h.bottles[0]); x.slip {
			dip(all[len(all)-1])
		}
		return settles
	case len(h.bottles) > 0 && h.step < most:
		a := say(controller.CalibrateRead.String(), h.bottles[0].Name)
		switch {
		case a.Again:
			return again
		case !a.Accepted && x.slip:
			x.slip = false
			dip(h.bottles[0])
			return settles
		case !a.Accepted:
			say(controller.CalibrateCancel.String(), "")
			return end()
		}
		if h.bottles = h.bottles[1:]; len(h.bottles) > 0 {
			dip(h.bottles[0])
			return settles
		}
		if !say(controller.CalibrateAccept.String(), "").Accepted {
			say(controller.CalibrateCancel.String(), "")
		}
		return end()
	case len(h.bottles) > 0:
		say(controller.CalibrateCancel.String(), "")
		return end()
	}
	h.back(now, x.tank)
	return 0
}

// clean empties, rinses and fills the tank. Who slips arms it before.
func (h *helper) clean(now dosing.Instant, x *chore) time.Duration {
	switch {
	case h.step == 1:
		h.ask(controller.Request{Kind: controller.RequestCleaning, Tank: x.tank})
		return x.lasts / 2
	case h.step == 2:
		if x.slip {
			h.ask(controller.Request{Kind: controller.RequestArm, Tank: x.tank})
		}
		h.farm.Replace(x.tank, x.share)
		return x.lasts / 2
	}
	h.back(now, x.tank)
	return 0
}

// back ends what keeps the tank from being dosed since the chore began.
func (h *helper) back(now dosing.Instant, id dosing.TankID) {
	is := h.night.Core.Remembered(now).Tanks[id]
	if is.Unconfirmed || is.Cleaning {
		h.ask(controller.Request{Kind: controller.RequestConfirmWater, Tank: id, Note: "nutrient solution, no disinfectant, rinsed"})
	}
	if is.Mode == safety.ModeStopped && len(is.Latches) == 0 {
		h.ask(controller.Request{Kind: controller.RequestClear, Tank: id, Note: "looked"})
	}
	if is.Paused || is.Maintenance {
		h.ask(controller.Request{Kind: controller.RequestResume, Tank: id})
	}
	if is := h.night.Core.Remembered(now).Tanks[id]; is.Mode != safety.ModeStopped {
		h.ask(controller.Request{Kind: controller.RequestArm, Tank: id})
	}
}

// ask asks, and says yes when asked again.
func (h *helper) ask(r controller.Request) controller.Answer {
	r.By, r.From, r.Role = "rehearsal", "page", controller.RoleEngineer
	a := h.night.Ask(r)
	if !a.Accepted && a.Confirm != "" {
		r.Confirm = a.Confirm
		a = h.night.Ask(r)
	}
	return a
}
