package config

import (
	"fmt"
	"math"
	"strconv"

	"leat/dosing"
	"leat/safety"
)

// topUpBand is the level between which a valve keeps the tank; zero where none is stated.
func topUpBand(t *tankTable) safety.TopUpBand {
	return safety.TopUpBand{Low: dosing.Litres(t.TopUp.Low.value), High: dosing.Litres(t.TopUp.High.value), Overflow: dosing.Litres(t.TopUp.Overflow.value)}
}

// water is a valve that lets source water in. What that water holds is stated with the tank.
func (b *liquids) water(path string, in *pumpTable, pump *dosing.Pump) liquid {
	pump.Role, pump.Group = dosing.RoleWater, dosing.GroupNeutral
	for _, stray := range []struct {
		key    string
		stated bool
	}{{"salts", in.Salts != nil}, {"strength", in.Strength.stated}, {"density", in.Density.stated}, {"dilution", in.Dilution.Stated()},
		{"ec_gain", in.ECGain.stated}, {"share", in.Share.stated}, {"chelate", in.Chelate != ""}, {"compatibility", in.Compatibility != ""}} {
		if stray.stated {
			b.fault(join(path, stray.key), "", "is not of source water", "state top_up.alkalinity and top_up.ec of its tank, or the analysis as recipe.water")
		}
	}
	if pump.Reagent == "" {
		pump.Reagent = "source water"
	}
	return liquid{}
}

// valves checks that each valve has one tank, whose levels are stated and in order, and each band a valve.
func (b *row) valves() {
	filled := map[dosing.TankID]string{}
	for i := range b.gate().Pumps {
		p, path := &b.gate().Pumps[i], "pump."+strconv.Itoa(i)
		if p.Role != dosing.RoleWater {
			continue
		}
		var served []dosing.TankID
		for id := range b.gate().Tanks {
			if p.ServesTank(dosing.TankID(id)) {
				served = append(served, dosing.TankID(id))
			}
		}
		if len(served) != 1 {
			b.fault(join(path, "tanks"), "", fmt.Sprintf("names %d tanks: a valve fills one", len(served)), "name the one tank that it fills; describe a valve for each")
			continue
		}
		if other, twice := filled[served[0]]; twice {
			b.fault(join(path, "tanks"), "", fmt.Sprintf("names the tank that %q fills", other), "one valve of a tank is commanded")
			continue
		}
		filled[served[0]] = p.Name
		b.band(served[0])
	}
	for id := range b.layout.Tanks {
		in := &b.layout.Tanks[id].TopUp
		if _, ok := filled[dosing.TankID(id)]; !ok && (in.Low.stated || in.High.stated || in.Overflow.stated) {
			b.fault(join("tank."+strconv.Itoa(id), "top_up"), "", "states levels, and no pump of role water fills the tank", `describe the valve: [[pump]] with role = "water", rate and tanks; or leave low, high and overflow out where another device tops up`)
		}
	}
}

// band checks the levels of a tank that a valve fills.
func (b *row) band(id dosing.TankID) {
	t, in := &b.gate().Tanks[id], &b.layout.Tanks[id].TopUp
	path := join("tank."+strconv.Itoa(int(id)), "top_up")
	for _, level := range []struct {
		key    string
		stated bool
		hint   string
	}{{"low", in.Low.stated, "the level below which the valve begins, such as 97 % of the volume"}, {"high", in.High.stated, "the level at which it ends, such as the volume"},
		{"overflow", in.Overflow.stated, "fill the tank until it runs over, and read its level"}} {
		if !level.stated {
			b.fault(join(path, level.key), "", "is missing, and a valve fills the tank", level.hint)
		}
	}
	if !in.Low.stated || !in.High.stated || !in.Overflow.stated {
		return
	}
	least := dosing.Litres(0.005 * float64(t.Volume))
	switch {
	case !(t.TopUpBand.Low >= t.MinVolume+least):
		b.fault(join(path, "low"), quoted(in.Low.text), fmt.Sprintf("is not above min_volume, %s L: doses would end before top-up begins", figure(float64(t.MinVolume))), "leave at least half a per cent of the volume between them")
	case !(t.TopUpBand.High >= t.TopUpBand.Low+2*least):
		b.fault(join(path, "high"), quoted(in.High.text), "is not above low by a per cent of the volume", "a gauge does not tell less for certain")
	case !(t.TopUpBand.High <= t.MaxVolume-4*least):
		b.fault(join(path, "high"), quoted(in.High.text), fmt.Sprintf("is too close to max_volume, %s L, above which nothing is dosed and a person is called", figure(float64(t.MaxVolume))), "leave two per cent of the volume between them")
	case !(t.TopUpBand.Overflow > t.TopUpBand.High):
		b.fault(join(path, "overflow"), quoted(in.Overflow.text), "is not above high", "fill the tank until it runs over, and read its level")
	}
	b.homecoming(id)
}

// homecoming warns where water that stands in films comes back into a tank that has no room for it.
func (b *row) homecoming(id dosing.TankID) {
	litres := 0.0
	for i := range b.layout.Tanks[id].Zones {
		if z := &b.layout.Tanks[id].Zones[i]; z.Kind == "film" {
			litres += z.Holds.value
		}
	}
	if band := &b.gate().Tanks[id].TopUpBand; litres > float64(band.Overflow-band.High) {
		b.warn(join("tank."+strconv.Itoa(int(id)), "top_up.high"), fmt.Sprintf("when circulation stops, %s L of film run back, and there is room for %s L: end top-up lower, or let the channels keep their water", figure(litres), figure(float64(band.Overflow-band.High))))
	}
}

// refuseValve judges a valve by the room in its tank: what hangs must not run over.
func (b *sizes) refuseValve(s *size, i int, id dosing.TankID) {
	p, t, c := &b.gate().Pumps[i], &b.gate().Tanks[id], &b.gate().Caps[i]
	path := "pump." + strconv.Itoa(i)
	v := s.station.Valve(i, id)
	if !(v.Hang+v.Blind <= v.Room) {
		cures := []string{fmt.Sprintf("end top-up at %q", below(float64(t.TopUpBand.Overflow)-v.Hang-v.Blind)+" L")}
		if room := v.Room - v.Blind; room > 0 {
			// Whole microlitres, because that is what a rate is rounded up to.
			flow := math.Floor(1e6*room/s.hangs[i].Seconds()) / 1e6
			cures = append(cures, fmt.Sprintf("throttle the valve to %q", below(60*flow)+" L/min"))
		}
		if shorter := (v.Room - v.Blind) / p.PerSecond.Litres(); shorter >= lease.Seconds() {
			cures = append(cures, fmt.Sprintf("let on_time_limit and the node's watchdog end a run within %q", below(shorter)+"s"))
		}
		b.fault(join(path, "rate"), quoted(b.layout.Pumps[i].Rate.text),
			fmt.Sprintf("makes tank %q run over: a run of %v that nothing ends lets %s L in, and pulses that a gauge that sticks does not show %s L; from top_up.high to the overflow there is room for %s L",
				t.Name, s.hangs[i], figure(v.Hang), figure(v.Blind), figure(v.Room)), listed(cures))
	}
	if refusal := v.Refusal(); refusal != "" && v.Hang+v.Blind <= v.Room {
		b.fault(path, "", fmt.Sprintf("cannot keep up: its caps, %s L in an hour and %s L in a day, carry %s L/h, and the worst use in [tank.demand] is %s L/h; half as much again is asked for",
			figure(c.PerHour.Litres()), figure(c.PerDay.Litres()), figure(v.PerHour), figure(v.Worst)), "raise hourly_cap or daily_cap, or state the real use as demand.water")
	}
}
