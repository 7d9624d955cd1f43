package config

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
	"leat/safety/sizing"
)

// Defaults of a tank that states only its volume. The demand is the upper end of
// the nights on which the program is rehearsed; a farm that knows better says so.
const (
	defaultDeadTime   = 60 * time.Second
	defaultLag        = 120 * time.Second
	defaultAlkalinity = 3.0  // meq/L
	defaultRise       = 0.1  // meq/L/h
	defaultFall       = 0.03 // meq/L/h
	defaultUptake     = 0.03 // mS/cm/h
	defaultWater      = 0.02 // of the volume per hour
	surestBuffer      = 0.2  // sd of ln(capacity) however well it was measured: pumps and water vary by that
	defaultPhosphate  = 0.5  // mmol/L: little, so that the buffer capacity is not overrated
	defaultCarbonate  = 0.1  // mmol/L
	defaultColdest    = 8
	defaultWarmest    = 34
	// expectedCelsius is the temperature for which titration curves are drawn.
	expectedCelsius = 21
)

// vessels builds the tanks with their water, setpoints and zones.
type vessels struct {
	*frame
	calendars calendars
}

func (b *vessels) tanks() {
	if len(b.layout.Tanks) == 0 {
		b.fault("tank", "", "is missing", "describe at least one tank: [[tank]] with name and volume")
	}
	if len(b.layout.Tanks) > mostTanks {
		b.fault("tank", "", fmt.Sprintf("stands %d times", len(b.layout.Tanks)), fmt.Sprintf("a station serves at most %d; give the others a [[station]] of their own", mostTanks))
		b.layout.Tanks = b.layout.Tanks[:mostTanks]
	}
	seen := map[string]string{}
	for i := range b.layout.Tanks {
		t := &b.layout.Tanks[i]
		path := "tank." + strconv.Itoa(i)
		b.unique(seen, path, t.Name, "tank")
		if _, twice := b.tankIDs[t.Name]; !twice {
			b.tankIDs[t.Name] = dosing.TankID(i)
		}
		water, zones := b.water(path, t), b.zones(path, t)
		b.slowWater(path, t, &water, zones)
		b.gate().Tanks = append(b.gate().Tanks, safety.Tank{
			Tank:           water,
			MinTemperature: dosing.Celsius(t.MinTemperature.or(defaultColdest)),
			MaxTemperature: dosing.Celsius(t.MaxTemperature.or(defaultWarmest)),
			TopUpBand:      topUpBand(t),
		})
		if !(t.MinTemperature.or(defaultColdest) < t.MaxTemperature.or(defaultWarmest)) {
			b.fault(join(path, "min_temperature"), "", "is not below max_temperature", `for example min_temperature = "12 °C", max_temperature = "28 °C"`)
		}
		b.settings().Tanks = append(b.settings().Tanks, controller.TankSettings{PH: b.phSetpoint(path, t), EC: b.ecSetpoint(path, t), Zones: zones,
			GasExchange: b.gasExchange(path, t.GasExchange, controller.UsualTankExchange), Line: b.watchedLine(path, t, zones), PlantArea: t.PlantArea.or(0)})
		b.calendars.schedule(path, t, &b.settings().Tanks[i])
		b.file.quickStated = append(b.file.quickStated, t.QuickShare.stated)
		b.file.gasStated = append(b.file.gasStated, gasStated(t))
		b.file.plants = append(b.file.plants, plant{demand: b.demandOf(t)})
	}
}

// water is the tank's plant without what the stocks decide.
func (b *vessels) water(path string, t *tankTable) dosing.Tank {
	volume, floods := t.Volume.value, 0.0
	for i := range t.Zones {
		if t.Zones[i].Kind == "flood" {
			floods += t.Zones[i].Holds.value
		}
	}
	if t.Volume.stated && !(volume >= 1 && volume <= 1e6) {
		b.fault(join(path, "volume"), quoted(t.Volume.text), "is out of range", "a tank holds 1 L to 1000 m3")
	}
	if t.Volume.stated && !t.MinVolume.stated && !(floods < 0.8*volume) {
		b.fault(join(path, "min_volume"), "", fmt.Sprintf("is not stated and the floods take %s L of %s L", figure(floods), figure(volume)), "state the smallest volume at which a dose is still permitted")
	}
	out := dosing.Tank{
		Name:         t.Name,
		Volume:       dosing.Litres(volume),
		MinVolume:    dosing.Litres(t.MinVolume.or(0.9 * (volume - floods))),
		MaxVolume:    dosing.Litres(t.MaxVolume.or(1.1 * volume)),
		DeadTime:     t.DeadTime.or(defaultDeadTime),
		TimeConstant: t.TimeConstant.or(defaultLag),
		TopUp:        dosing.Water{Alkalinity: b.alkalinity(t)},
	}
	out.TopUp.EC = dosing.Conductivity(t.TopUp.EC.or(b.sourceEC(t, 0.1*out.TopUp.Alkalinity)))
	if t.Volume.stated && t.MinVolume.stated && !(out.MinVolume > 0 && out.MinVolume <= out.Volume) {
		b.fault(join(path, "min_volume"), quoted(t.MinVolume.text), "is not above zero and at most the volume", "state the smallest volume at which a dose is still permitted")
	}
	if t.Volume.stated && t.MaxVolume.stated && !(out.MaxVolume >= out.Volume) {
		b.fault(join(path, "max_volume"), quoted(t.MaxVolume.text), "is below the volume", "state the level at which no more water may come in")
	}
	if out.DeadTime < time.Second || out.DeadTime > time.Hour {
		b.fault(join(path, "dead_time"), quoted(t.DeadTime.text), "is out of range", "1s to 1h, from a dose to the first response")
	}
	if out.TimeConstant < time.Second || out.TimeConstant > 6*time.Hour {
		b.fault(join(path, "time_constant"), quoted(t.TimeConstant.text), "is out of range", "1s to 6h, from the first response to 63 % of it")
	}
	if !t.DeadTime.stated || !t.TimeConstant.stated {
		b.warn(path, fmt.Sprintf("mixing not measured: dead time %v and lag %v are taken; measure them: give one dose and watch how pH or EC answers", out.DeadTime, out.TimeConstant))
	}
	if !t.Recipe.Stated && !t.TopUp.Alkalinity.stated {
		b.warn(path, fmt.Sprintf("no source water is stated: an alkalinity of %s meq/L (a usual tap) and EC %s mS/cm are taken for what tops it up; state top_up.alkalinity and top_up.ec", figure(float64(out.TopUp.Alkalinity)), figure(float64(out.TopUp.EC))))
	}
	if out.TopUp.Alkalinity > 10 {
		b.fault(join(path, "top_up.alkalinity"), quoted(t.TopUp.Alkalinity.text), "is more than any tap water has", "state it from an analysis, in meq/L or mg/L CaCO3")
	}
	return out
}

func (b *vessels) demandOf(t *tankTable) sizing.Demand {
	water, alkalinity := t.Demand.Water.or(defaultWater), b.alkalinity(t)
	return sizing.Demand{
		Acid: t.Demand.Rise.or(defaultRise) + float64(water*alkalinity),
		Base: t.Demand.Fall.or(defaultFall),
		EC:   t.Demand.Uptake.or(defaultUptake),

		Water: water,
	}
}

// setpointSpan checks that the five values of a setpoint stand in order.
func (b *vessels) setpointSpan(path string, s controller.SetpointSettings, lowest, highest float64) {
	switch {
	case !(s.Min >= lowest && s.Max <= highest && s.Min < s.Max):
		b.fault(join(path, "min"), "", fmt.Sprintf("and max, %s and %s, are no bounds", figure(s.Min), figure(s.Max)),
			fmt.Sprintf("min below max, both between %s and %s", figure(lowest), figure(highest)))
	case !(s.Min <= s.AdvisedMin && s.AdvisedMin < s.AdvisedMax && s.AdvisedMax <= s.Max):
		b.fault(join(path, "advised_min"), "", fmt.Sprintf("and advised_max, %s and %s, are not in order within the bounds %s to %s", figure(s.AdvisedMin), figure(s.AdvisedMax), figure(s.Min), figure(s.Max)),
			"min ≤ advised_min < advised_max ≤ max")
	case !(s.Value >= s.Min && s.Value <= s.Max):
		b.fault(join(path, "value"), strconv.Quote(figure(s.Value)), fmt.Sprintf("is outside the bounds %s to %s", figure(s.Min), figure(s.Max)), "state a value inside, or other bounds")
	case !(s.Confirm > 0):
		b.fault(join(path, "confirm_step"), "", "is not above zero", "state the largest step that needs no second confirmation")
	case !(s.RampPerHour > 0):
		b.fault(join(path, "ramp"), "", "is not above zero", "state how fast the setpoint may move")
	}
}

func (b *vessels) phSetpoint(path string, t *tankTable) controller.SetpointSettings {
	in := &t.PH
	s := controller.SetpointSettings{Value: in.Value.or(5.8), Min: in.Min.or(5.0), Max: in.Max.or(7.0), Confirm: in.Confirm.or(0.3),
		RampPerHour: in.Ramp.or(0.3), RampDownward: true}
	// Recommended bounds that are not stated give way to narrower absolute ones.
	s.AdvisedMin = in.AdvisedMin.or(math.Max(s.Min, 5.5))
	s.AdvisedMax = in.AdvisedMax.or(math.Min(s.Max, 6.3))
	b.setpointSpan(join(path, "ph_setpoint"), s, 4.5, 8)
	return s
}

func (b *vessels) ecSetpoint(path string, t *tankTable) controller.SetpointSettings {
	in := &t.EC
	s := controller.SetpointSettings{Value: in.Value.or(1.6), Min: in.Min.or(0.3), Max: in.Max.or(4), Confirm: in.Confirm.or(0.4),
		RampPerHour: in.Ramp.or(0.3)}
	s.AdvisedMin = in.AdvisedMin.or(math.Max(s.Min, 0.8))
	s.AdvisedMax = in.AdvisedMax.or(math.Min(s.Max, 2.8))
	b.setpointSpan(join(path, "ec_setpoint"), s, 0.1, 6)
	return s
}

func (b *vessels) zones(path string, t *tankTable) []controller.Zone {
	kinds := map[string]controller.ZoneKind{"flood": controller.ZoneFlood, "film": controller.ZoneFilm, "raft": controller.ZoneRaft}
	seen := map[string]string{}
	var zones []controller.Zone
	for i := range t.Zones {
		z := &t.Zones[i]
		at := join(join(path, "zone"), strconv.Itoa(i))
		b.unique(seen, at, z.Name, "zone of this tank")
		kind, ok := kinds[z.Kind]
		if !ok && z.Kind != "" {
			b.fault(join(at, "kind"), quoted(z.Kind), "is no kind of zone", "write flood, film or raft")
		}
		if z.Holds.stated && !(z.Holds.value > 0 && z.Holds.value <= 1e5) {
			b.fault(join(at, "holds"), quoted(z.Holds.text), "is out of range", "state the water it holds in use")
		}
		zones = append(zones, controller.Zone{Name: z.Name, Kind: kind, Litres: dosing.Litres(z.Holds.value), Exchange: b.exchange(at, z, kind), GasExchange: b.gasExchange(at, z.GasExchange, kind.UsualGasExchange())})
	}
	return zones
}

// solutions computes, for each tank, the solution that its blend makes at its
// setpoints, from it the buffer capacity, and what a mL of each liquid does to EC.
func (b *mixes) solutions() {
	for i := range b.gate().Tanks {
		if !b.solution(dosing.TankID(i)) {
			return
		}
	}
	for p := range b.gate().Pumps {
		b.gain(p)
	}
	for i := range b.file.plants {
		b.file.plants[i].blendEC = b.blendEC(dosing.TankID(i))
	}
}

func (b *mixes) solution(id dosing.TankID) bool {
	t := &b.gate().Tanks[id].Tank
	path := "tank." + strconv.Itoa(int(id))
	setpoints := b.settings().Tanks[id]
	blend, known := b.blendOf(id)
	// Top-up water in a tank in use: its alkalinity has been met with acid, its
	// hardness is still there.
	water := chem.Totals{Ca: t.TopUp.Alkalinity / 2, NO3: t.TopUp.Alkalinity}
	expected, computed, err := fitEC(water, blend, setpoints.EC.Value, setpoints.PH.Value)
	if err != nil {
		b.fault(path, "", "has a solution that cannot be computed: "+err.Error(), "check stocks, setpoints and top-up")
		return false
	}
	if !known || !computed {
		expected = dosing.Tank{Phosphate: defaultPhosphate, Carbonate: defaultCarbonate}.Expected()
	}
	if !b.weakAcids(path, id, known, expected) {
		return false
	}
	expected.P, expected.NH4, expected.DIC = t.Phosphate, t.Ammonium, t.Carbonate
	// The very curve that loop and gate will draw, so that check and daemon agree.
	curve, err := chem.NewCurve(t.Expected(), expectedCelsius)
	if err != nil {
		b.fault(join(path, "solution"), "", "has no titration curve: "+err.Error(), "state phosphate, carbonate and ammonium in mmol/L")
		return false
	}
	p := &b.file.plants[id]
	p.curve, p.expected = curve, expected
	t.BufferScale = 1
	computedBuffer := curve.Buffer(setpoints.PH.Value)
	if !b.buffer(path, id, computedBuffer) {
		return false
	}
	p.buffer = float64(computedBuffer * t.BufferScale)
	if !(p.buffer > 0) || math.IsInf(p.buffer, 0) {
		b.fault(join(path, "solution"), "", "has no buffer capacity", "state phosphate and carbonate in mmol/L")
		return false
	}
	return true
}

// weakAcids takes what buffers in a solution: as stated, else as computed.
func (b *mixes) weakAcids(path string, id dosing.TankID, known bool, expected chem.Totals) bool {
	in, t := &b.layout.Tanks[id], &b.gate().Tanks[id].Tank
	t.Phosphate, t.Ammonium, t.Carbonate = expected.P, expected.NH4, defaultCarbonate
	if s := &in.Solution; s.Phosphate.stated || s.Ammonium.stated || s.Carbonate.stated {
		t.Phosphate, t.Ammonium, t.Carbonate = s.Phosphate.or(t.Phosphate), s.Ammonium.or(t.Ammonium), s.Carbonate.or(t.Carbonate)
		for _, weak := range []float64{t.Phosphate, t.Ammonium, t.Carbonate} {
			if !(weak <= 50) {
				b.fault(join(path, "solution"), "", "is stronger than any nutrient solution", "state mmol/L of the solution in the tank, not of a stock")
				return false
			}
		}
	} else if !known {
		b.warn(path, fmt.Sprintf("composition not known (a stock without salts): %s mmol/L phosphate and %s mmol/L carbonate are taken for the buffer capacity", figure(t.Phosphate), figure(t.Carbonate)))
	}
	return true
}

// buffer takes a measured buffer capacity, beside the one computed from the solution.
func (b *mixes) buffer(path string, id dosing.TankID, computedBuffer float64) bool {
	in, t := &b.layout.Tanks[id], &b.gate().Tanks[id].Tank
	if in.Buffer.stated {
		t.BufferScale = in.Buffer.value / computedBuffer
		if !(t.BufferScale >= 0.2 && t.BufferScale <= 5) {
			b.fault(join(path, "buffer"), quoted(in.Buffer.text), fmt.Sprintf("is %s times the %s meq/L per pH computed from the solution", figure(t.BufferScale), figure(computedBuffer)),
				"measure it again, or correct [tank.solution]")
			return false
		}
	}
	if in.BufferDoubt.stated {
		at := join(path, "buffer_uncertainty")
		switch {
		case !in.Buffer.stated:
			b.fault(at, quoted(in.BufferDoubt.text), "belongs to a measured buffer capacity, and none is stated", "add buffer, or leave this out")
			return false
		case !(in.BufferDoubt.value >= 0.05 && in.BufferDoubt.value <= 0.5):
			b.fault(at, quoted(in.BufferDoubt.text), "is out of range", "5 % to 50 %; leave it out where the buffer capacity was not measured")
			return false
		}
		t.BufferSpread = max(in.BufferDoubt.value, surestBuffer)
	}
	return true
}

// blendOf is what 1 mL of the tank's blend holds, in mmol per mL, and whether that
// is known of every stock in it.
func (b *mixes) blendOf(id dosing.TankID) (blend chem.Totals, known bool) {
	known = true
	for i := range b.gate().Pumps {
		p := &b.gate().Pumps[i]
		if p.Role != dosing.RoleStock || !p.ServesTank(id) {
			continue
		}
		if !b.file.liquids[i].known {
			known = false
		}
		blend = blend.Add(p.Ions, p.Share/1000)
	}
	return blend, known && blend != chem.Totals{}
}

func (b *mixes) blendEC(id dosing.TankID) float64 {
	sum := 0.0
	for i := range b.gate().Pumps {
		if p := &b.gate().Pumps[i]; p.Role == dosing.RoleStock && p.ServesTank(id) {
			sum += float64(p.Share * p.ECPerML)
		}
	}
	return sum
}

// fitEC is the mixture of water and blend that has the wanted EC. It is not
// computed where the blend cannot reach it.
func fitEC(water, blend chem.Totals, wanted, atPH float64) (solution chem.Totals, computed bool, err error) {
	low, high := 0.0, 50.0 // mL of blend in a litre
	for range 40 {
		mid := (low + high) / 2
		ec, err := ecOf(water.Add(blend, mid), atPH)
		if err != nil {
			return chem.Totals{}, false, err
		}
		if ec < wanted {
			low = mid
		} else {
			high = mid
		}
	}
	return water.Add(blend, high), high < 49 && low > 0, nil
}

// gain fills what 1 mL of a pump's liquid does to EC: the largest of its tanks,
// because a gain that is overrated doses too little, which the loop learns.
func (b *mixes) gain(i int) {
	p, l := &b.gate().Pumps[i], &b.file.liquids[i]
	path := "pump." + strconv.Itoa(i)
	if p.Role == dosing.RoleWater {
		return // what it does is seen at the level
	}
	if in := &b.layout.Pumps[i]; in.ECGain.stated {
		p.ECPerML = in.ECGain.value
		if !(p.ECPerML > 0 && p.ECPerML <= 2) && p.Role == dosing.RoleStock {
			b.fault(join(path, "ec_gain"), quoted(in.ECGain.text), "is no gain of a stock", `1 mL of a hundredfold stock in 1 L does about "0.2 mS/cm per mL/L"`)
		}
		return
	}
	if !l.known {
		if p.Role == dosing.RoleStock {
			p.ECPerML = assumedGain
			b.warn(path, fmt.Sprintf("neither salts nor ec_gain stated: the stock is taken for a strong one, %s mS/cm per mL/L; caps are small and the ratio of nutrients is not known", figure(assumedGain)))
		}
		return
	}
	for id := range b.gate().Tanks {
		if !p.ServesTank(dosing.TankID(id)) {
			continue
		}
		gain, err := gainOf(*l, b.file.plants[id].expected, b.settings().Tanks[id].PH.Value)
		if err != nil {
			b.fault(path, "", "has an effect that cannot be computed: "+err.Error(), "check its salts or strength")
			return
		}
		// A stock of boric acid alone adds next to nothing, yet some.
		p.ECPerML = math.Max(p.ECPerML, math.Max(gain, 1e-4))
	}
}

// assumedGain is taken for a stock of which nothing is known: about a litre of
// water with 250 g of salts. Too strong a guess doses too little.
const assumedGain = 0.3
