package sim

import (
	"math"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
)

// Plant is what the water, the plants and the room of one tank do. The daemon
// never sees it. A litre counts as a kilogram of water, which is 0.3 % off.
type Plant struct {
	Litres     float64 // in circulation at the working level, film and rafts included
	StartShare float64 // of Litres at the start

	DeadTime     time.Duration // θ: injection to first response
	TimeConstant time.Duration // τ: mixing lag after it

	Evaporation float64    // share of Litres per hour in the light; what is dissolved stays
	Uptake      float64    // of nutrients in the light, as mS/cm per hour
	BaseFlux    float64    // what the plants add in the light, meq/L per hour; negative is acid
	Dark        float64    // share of these three that goes on in the dark
	InDark      *DarkHours // what they are in the dark, in place of that share; nil = the share
	// Appetite is the proportions in which plants take the ions of a solution that holds
	// Usual, mmol/L; both zero = those of the blend, whatever the water holds. Where water
	// brings calcium the stocks hold none, and plants still take it.
	Appetite, Usual chem.Totals
	// AmmoniumFirst lets ammonium stand in for a part of the nitrate while there is
	// some: roots then give off acid, two equivalents for each mole.
	AmmoniumFirst bool
	LightFrom     float64 // hour of the day
	LightUntil    float64

	Carbonate   float64 // total inorganic carbon at the start, mmol/L
	CO2Exchange float64 // of the tank's own water with the room, per hour
	// ZoneExchange is the same of each zone's water, in the order of the settings;
	// missing = 0.
	ZoneExchange []float64
	RoomCO2      float64 // atm
	RoomSteps    []RoomStep

	// Shift is how far this water's constants lie from the model's, in log10 K.
	Shift map[chem.Species]float64

	Celsius, CelsiusSwing float64 // mean, and swing to either side over the day

	TopUp     chem.Totals // the water that replaces what is lost, mmol/L
	TopUpStep float64     // share of Litres that is missing when the valve opens
	TopUpFlow float64     // share of Litres per minute while it is open; 0 = no top-up

	FloodFirst, FloodEvery time.Duration   // after the start, and from one to the next; 0 = never
	FloodAt                []time.Duration // after the start, in place of the two above
	FloodFill, FloodStand  time.Duration
	FloodDrain             time.Duration
	FloodKept              float64 // share of a flood's nutrients that the bench keeps
	FloodUntold            bool    // the switch goes back when the bench begins to drain

	// ZoneTurnover is how long the water of each zone stays in it, in the order of the
	// settings; a zone left out has that of the settings.
	ZoneTurnover []time.Duration
}

// DarkHours is what plants do in the dark where it is no share of what they do in the light:
// roots that give off base by day may give off acid by night.
type DarkHours struct{ Evaporation, Uptake, BaseFlux float64 }

// RoomStep is another CO2 in the room's air from a time on.
type RoomStep struct {
	At  time.Duration
	CO2 float64 // atm
}

// roomCO2 is the room's CO2 at a time.
func (p *Plant) roomCO2(now time.Duration) float64 {
	co2 := p.RoomCO2
	for i := range p.RoomSteps {
		if now >= p.RoomSteps[i].At {
			co2 = p.RoomSteps[i].CO2
		}
	}
	return co2
}

// DrawPlant is what a farm of this seed draws for a tank, for whoever changes a few
// things of it.
func DrawPlant(s *controller.Settings, id dosing.TankID, seed uint64) Plant {
	return plantOf(s, id, seed, 1)
}

// plantOf draws the plant of a tank: near what was commissioned, never exactly it.
func plantOf(s *controller.Settings, id dosing.TankID, seed uint64, pace float64) Plant {
	set, wanted := &s.Safety.Tanks[id], &s.Tanks[id]
	r := newStream(seed, "plant "+set.Name)
	near := func(d time.Duration) time.Duration {
		return time.Duration(float64(d) * r.uniform(0.9, 1.1)).Round(time.Millisecond)
	}
	minutes := func(low, high float64) time.Duration {
		return time.Duration(r.uniform(low, high) * 60 * float64(time.Second)).Round(time.Second)
	}
	return Plant{
		Litres:       float64(set.Volume),
		StartShare:   r.uniform(0.985, 0.995),
		DeadTime:     near(set.DeadTime),
		TimeConstant: near(set.TimeConstant),
		Evaporation:  float64(pace * r.uniform(0.012, 0.018)),
		Uptake:       float64(pace * r.uniform(0.010, 0.025)),
		BaseFlux:     float64(pace * r.uniform(0.02, 0.08)),
		Dark:         0.4,
		LightFrom:    6,
		LightUntil:   22,
		Carbonate:    carbonateOf(set, r),
		CO2Exchange:  halfToTwice(wanted.GasExchange, r),
		ZoneExchange: zoneExchange(wanted.Zones, seed, set.Name),
		RoomCO2:      r.uniform(450e-6, 800e-6),
		Celsius:      r.uniform(20.5, 22),
		CelsiusSwing: r.uniform(0.5, 1.2),
		TopUp:        TapWater(float64(set.TopUp.Alkalinity), float64(set.TopUp.EC)),
		TopUpStep:    0.02,
		TopUpFlow:    r.uniform(0.008, 0.012),
		FloodFirst:   minutes(40, 65),
		FloodEvery:   minutes(150, 200),
		FloodFill:    minutes(2, 3),
		FloodStand:   minutes(4, 8),
		FloodDrain:   minutes(3, 5),
		FloodKept:    r.uniform(0.005, 0.02),
		ZoneTurnover: zoneTurnover(wanted.Zones, seed, set.Name),
	}
}

// halfToTwice draws evenly in the logarithm around what is stated.
func halfToTwice(stated float64, r *stream) float64 {
	return float64(2 * stated * fading(float64(2*math.Ln2*r.uniform(0, 1))))
}

// zoneExchange draws the gas exchange of each zone, from a stream of its own.
func zoneExchange(zones []controller.Zone, seed uint64, tank string) (all []float64) {
	for i := range zones {
		all = append(all, halfToTwice(zones[i].GasExchange, newStream(seed, "gas "+tank+" "+zones[i].Name)))
	}
	return all
}

// zoneTurnover draws how long each zone keeps its water, as near to what is stated as dead
// time and lag are.
func zoneTurnover(zones []controller.Zone, seed uint64, tank string) (all []time.Duration) {
	for i := range zones {
		r := newStream(seed, "exchange "+tank+" "+zones[i].Name)
		all = append(all, time.Duration(float64(zones[i].Exchange)*r.uniform(0.9, 1.1)).Round(time.Second))
	}
	return all
}

func carbonateOf(set *safety.Tank, r *stream) float64 {
	share := r.uniform(0.7, 1.3)
	if set.Carbonate > 0 {
		return float64(set.Carbonate * share)
	}
	return float64(0.5 * share)
}

// TapWater is water of this alkalinity in meq/L: hydrogen carbonate of calcium and
// magnesium, with as much dissolved CO2 as gives about pH 7.4, and sodium chloride
// for the conductivity that it leaves over.
func TapWater(alkalinity, ec float64) chem.Totals {
	alkalinity = max(alkalinity, 0)
	w := chem.Totals{
		Ca:  float64(0.37 * alkalinity),
		Mg:  float64(0.13 * alkalinity),
		DIC: float64(1.09 * alkalinity),
	}
	// 0.095 mS/cm per meq/L of Ca and Mg hydrogen carbonate, 0.12 per mmol/L of
	// NaCl: limiting conductivities (CRC) less a tenth.
	if salt := (ec - float64(0.095*alkalinity)) / 0.12; salt > 0 {
		w.Na, w.Cl = salt, salt
	}
	return w
}

// still makes a plant in which nothing happens but what is dosed: for tests that
// look at the doses alone.
func (p Plant) still() Plant {
	p.StartShare = 1
	p.Evaporation, p.Uptake, p.BaseFlux, p.CO2Exchange, p.CelsiusSwing, p.TopUpFlow = 0, 0, 0, 0, 0, 0
	p.InDark, p.ZoneExchange, p.FloodFirst, p.FloodEvery, p.FloodAt = nil, nil, 0, 0, nil
	p.Celsius = 25
	return p
}

// liquidOf is what a full container of the pump holds, in mmol per L. Where the
// settings do not state it, the strength is put down to one plain salt, so that
// pH and EC move as the settings say.
func liquidOf(p *dosing.Pump) chem.Totals {
	if p.Ions != (chem.Totals{}) {
		return p.Ions
	}
	strength := 1000 * p.AcidPerML // meq per L of concentrate
	switch p.Role {
	case dosing.RoleAcid:
		return chem.Totals{NO3: max(strength, 0)}
	case dosing.RoleBase:
		return chem.Totals{K: max(-strength, 0)}
	case dosing.RoleStock:
		// Conductivity of 1 mmol/L near 10 meq/L, mS/cm (CRC table): calcium nitrate
		// 0.22, magnesium sulfate 0.17, potassium nitrate 0.13.
		salt := 1000 * p.ECPerML
		switch p.Group {
		case dosing.GroupCalcium:
			return chem.Totals{Ca: salt / 0.22, NO3: 2 * salt / 0.22}
		case dosing.GroupSulfate:
			return chem.Totals{Mg: salt / 0.30, SO4: salt / 0.30, K: salt / 0.30, P: salt / 0.30}
		}
		return chem.Totals{K: salt / 0.13, NO3: salt / 0.13}
	}
	return chem.Totals{}
}

// blendOf is a litre of the stocks in their shares, in mmol; what pumps serve the
// tank count. Without any it is a common nutrient solution.
func blendOf(pumps []*pump, id dosing.TankID) chem.Totals {
	var blend chem.Totals
	for _, p := range pumps {
		if p.set.Role == dosing.RoleStock && p.set.ServesTank(id) && p.set.Share > 0 {
			blend = blend.Add(p.liquid, p.set.Share)
		}
	}
	if blend == (chem.Totals{}) {
		blend = chem.Totals{NO3: 800, K: 450, Ca: 225, Mg: 100, SO4: 125, P: 100}
	}
	return blend
}
