package campaign

import (
	"fmt"
	"io"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
	"leat/safety/ledger"
	"leat/safety/sizing"
)

// Scene is one night before it is played: the station as the daemon is told and
// the farm as it truly is.
type Scene struct {
	Seed     uint64
	Hours    time.Duration
	Settings *controller.Settings
	Topics   *payload.Topics
	Wires    []sim.Wire
	Feeds    []sim.Feed
	Options  sim.Options     // Seed and Rest included
	Faults   []sim.Injection // times are of the night
	slips    []slip
	quarrels []quarrel
	chores   []chore
	probes   probes

	record *ledger.Memory // what the daemon finds; nil = nothing
	wall   time.Time      // at the start; zero = evening
	steps  []wallStep     // of the wall clock

	water   func() sim.Water // computed elsewhere, anew for each run; nil = simulated
	plant   string           // a program that computes the water; empty = simulated
	stderr  io.Writer
	Redrawn int // nights that leat check would have refused
}

// wallStep is a step of the daemon's wall clock.
type wallStep struct{ at, by time.Duration }

// probes is what a drawn night's probes do beside scatter.
type probes struct{ wander, perKelvin, told float64 }

// The pumps of a drawn night.
const (
	acidPump dosing.PumpID = iota
	basePump
	calciumPump
	sulfatePump
	drawnPumps
)

const (
	drawnPH        = 5.8
	drawnPumpOff   = 0.15  // largest error of a pump's rate
	reagentPerML   = 0.5   // meq of acid or base in a mL
	stockTimes     = 200.0 // how much stronger a stock is than its part of the solution
	outdoorCO2     = 400e-6
	mostRedraws    = 1000
	leastContainer = 20 * dosing.Litre
	referenceTemp  = 21 // °C of the titration curve, as the core draws it
)

// nominal is what a drawn night's daemon is told of the weak acids in its water:
// always the same, since the true ones are not known.
var nominal = dosing.Tank{Phosphate: 0.9, Carbonate: 0.3, Ammonium: 0.2}

// Scene draws the night of a seed. Nights whose sizes leat check would refuse are
// drawn again.
func (s *Set) Scene(seed uint64) (*Scene, error) {
	if s.whole {
		return s.stationScene(seed)
	}
	from := sourcesOf(seed)
	for redrawn := range mostRedraws {
		p := s.draw(from)
		scene, refused, err := s.build(seed, p)
		if err != nil {
			return nil, fmt.Errorf("set %s, seed %d: %w", s.Name, seed, err)
		}
		if refused == "" {
			scene.Redrawn = redrawn
			return scene, nil
		}
	}
	return nil, fmt.Errorf("set %s, seed %d: %d nights in a row were refused", s.Name, seed, mostRedraws)
}

// build makes the settings of a drawn night, or says why they are refused.
func (s *Set) build(seed uint64, p *parameters) (scene *Scene, refused string, err error) {
	w, ok, err := solutionOf(p)
	if err != nil || !ok {
		return nil, "no such solution", err
	}
	curve, err := chem.NewCurve(nominal.Expected(), referenceTemp)
	if err != nil {
		return nil, "", err
	}
	settings := &controller.Settings{Version: fmt.Sprintf("%s-%d", s.Name, seed), ControlPeriod: 10 * time.Second}
	g := &settings.Safety
	g.Station, g.Nodes = "row", []safety.Node{{Name: "node", FullContract: true}}
	g.Pumps, g.PumpNode = drawnPumpsOf(p, &w), make([]safety.NodeID, drawnPumps)
	tank := nominal
	tank.Name = "tank"
	tell(&tank, p)
	tank.BufferScale = p.wrong * w.buffer / curve.Buffer(drawnPH)
	g.Tanks = []safety.Tank{{Tank: tank, MinTemperature: 8, MaxTemperature: 34}}
	g.StartSettling = tank.MixingTime()
	settings.Tanks = []controller.TankSettings{drawnTarget(p)}
	station := &sizing.Station{Settings: g, ControlPeriod: settings.ControlPeriod, Plants: []sizing.Plant{{Curve: curve, Buffer: p.wrong * w.buffer,
		BlendEC: 0.5 * (w.ecPerML[calciumPump] + w.ecPerML[sulfatePump]), PH: drawnPH, EC: p.ec - 0.1*p.alkalinity, Demand: s.demand()}}}
	for i := range g.Pumps {
		g.Caps = append(g.Caps, station.Defaults(i, station.OnTime(&g.Pumps[i])))
		// A container that runs dry is a fault, and a pond can drink a small one in a night.
		g.Pumps[i].Container = max(leastContainer, 2*g.Caps[i].PerDay)
	}
	if refused = station.Refusal(); refused != "" {
		return nil, refused, nil
	}
	scene = &Scene{Seed: seed, Hours: span(s.hours * 3600), Settings: settings}
	if err := scene.wire(p); err != nil {
		return nil, "", err
	}
	scene.Options = sim.Options{Seed: seed, StartPH: p.startPH, StartECShare: p.startEC, StartHour: p.hour, PumpError: drawnPumpOff,
		Plants: []sim.Plant{s.plantOf(p)}, Liquids: w.liquids[:]}
	scene.restFor(g.StartSettling)
	return scene, "", nil
}

// tell is what the daemon is told of a drawn tank, its buffer apart.
func tell(tank *dosing.Tank, p *parameters) {
	tank.Volume = dosing.Litres(p.litres)
	tank.MinVolume, tank.MaxVolume = dosing.Litres(0.9*p.litres*(1-p.floodShare)), dosing.Litres(1.1*p.litres)
	tank.DeadTime, tank.TimeConstant, tank.BufferSpread = p.toldDeadTime, p.toldLag, p.toldSpread
	tank.TopUp = dosing.Water{Alkalinity: p.alkalinity, EC: dosing.Conductivity(0.1 * p.alkalinity)}
	tank.PHNoise, tank.ECNoise = p.noise, p.ecNoise
	tank.Slow, tank.Exchange = p.toldSlow, p.toldApart
}

// drawnTarget is a drawn tank's setpoints and zones.
func drawnTarget(p *parameters) controller.TankSettings {
	return controller.TankSettings{Zones: p.zones(), Line: p.line(),
		PH: controller.SetpointSettings{Value: drawnPH, Min: 5, Max: 7, AdvisedMin: 5.5, AdvisedMax: 6.3, Confirm: 0.3, RampPerHour: 0.3, RampDownward: true},
		EC: controller.SetpointSettings{Value: p.ec, Min: 0.3, Max: 4, AdvisedMin: 0.8, AdvisedMax: 2.8, Confirm: 0.4, RampPerHour: 0.3},
	}
}

// buffer is the first tank's buffer capacity as commissioned, at its setpoint.
func (s *Scene) buffer() float64 { return s.bufferOf(0) }

func (s *Scene) bufferOf(id dosing.TankID) float64 {
	t := &s.Settings.Safety.Tanks[id]
	curve, err := chem.NewCurve(t.Expected(), referenceTemp)
	if err != nil {
		return 0 // the daemon will refuse the same tank
	}
	return curve.Buffer(s.Settings.Tanks[id].PH.Value) * t.BufferScale
}

// restFor leaves the daemon its start-up wait before the night begins, and a
// decision more: t = 0 is the moment at which a running daemon is armed.
func (s *Scene) restFor(settling time.Duration) {
	s.Options.Rest = (settling + 20*time.Second).Truncate(10 * time.Second)
	for i := range s.Options.Plants {
		plant := &s.Options.Plants[i]
		for k := range plant.FloodAt {
			plant.FloodAt[k] += s.Options.Rest
		}
		for k := range plant.RoomSteps {
			plant.RoomSteps[k].At += s.Options.Rest
		}
	}
}

// demand is the worst of the set, as a grower would state it for sizing. Two
// hundredths of the water an hour is the default of the configuration.
func (s *Set) demand() sizing.Demand {
	return sizing.Demand{Acid: s.flux[1] + 0.02*s.alkalinity[1], Base: max(-s.flux[0], 0.03), EC: s.uptake[1]}
}

func (s *Set) plantOf(p *parameters) sim.Plant {
	plant := sim.Plant{
		Litres: p.litres, StartShare: 1, DeadTime: p.deadTime, TimeConstant: p.lag,
		Evaporation: p.evaporation, Uptake: p.uptake, BaseFlux: p.flux, Dark: 1, LightFrom: p.lightFrom, LightUntil: p.lightUntil, InDark: p.inDark,
		Carbonate: p.carbonate, CO2Exchange: p.exchange, RoomCO2: outdoorCO2, RoomSteps: p.room,
		Celsius: p.celsius, CelsiusSwing: p.swing, Shift: p.shift, AmmoniumFirst: s.ammonium,
		TopUp: sim.TapWater(p.alkalinity, 0.1*p.alkalinity), TopUpStep: 0.02, TopUpFlow: 0.04,
		FloodAt: p.floods,
	}
	for _, z := range p.zones() {
		plant.ZoneExchange = append(plant.ZoneExchange, p.gas[z.Kind]*z.GasExchange)
		turnover := p.apart
		if z.Kind == controller.ZoneFilm {
			turnover = z.Exchange
		}
		plant.ZoneTurnover = append(plant.ZoneTurnover, turnover)
	}
	if len(p.floods) > 0 {
		fill := (p.floodFor / 4).Round(time.Second)
		plant.FloodFill, plant.FloodDrain, plant.FloodStand, plant.FloodKept = fill, fill, p.floodFor-2*fill, 0.01
		plant.FloodUntold = p.floodUntold
	}
	return plant
}

// solution is the water of a drawn night at its setpoints and what its liquids do.
type solution struct {
	buffer  float64 // true, at pH 5.8, open to outdoor air; meq/L per pH
	liquids [drawnPumps]chem.Totals
	ecPerML [drawnPumps]float64 // mS/cm of 1 mL in 1 L
}

// solutionOf finds how much of the recipe makes the setpoint's EC with the drawn
// phosphate in it, on top-up water whose alkalinity was met with acid. It is not ok
// where water and phosphate alone have more than that EC, or water more than the
// start's: such a night cannot be.
func solutionOf(p *parameters) (w solution, ok bool, err error) {
	calcium := chem.Totals{Ca: 2, K: 1.3, NH4: 0.3, NO3: 5.6}
	sulfate := chem.Totals{Mg: 0.8, K: 1.7, SO4: 1, NO3: 1.3}
	phosphate := chem.Totals{P: p.phosphate, K: p.phosphate}
	base := sim.TapWater(p.alkalinity, 0.1*p.alkalinity)
	base.DIC, base.NO3 = 0, base.NO3+p.alkalinity
	var solver chem.Solver
	var r chem.Result
	open := chem.Conditions{TempC: 25, Open: true, CO2Atm: outdoorCO2, FixedPH: drawnPH}
	solve := func(t chem.Totals) error { return solver.Solve(&t, open, &r) }
	if err := solve(base); err != nil {
		return w, false, err
	}
	if r.EC25 > p.startEC*p.ec-0.05 {
		return w, false, nil // the top-up water alone has more than the start's EC
	}
	base = base.Add(phosphate, 1)
	low, high := 0.02, 8.0
	for range 30 {
		middle := (low + high) / 2
		if err := solve(base.Add(calcium, middle).Add(sulfate, middle)); err != nil {
			return w, false, err
		}
		if r.EC25 < p.ec {
			low = middle
		} else {
			high = middle
		}
	}
	at := base.Add(calcium, low).Add(sulfate, low)
	if err := solve(at); err != nil {
		return w, false, err
	}
	if r.EC25 < p.ec-0.01 || r.EC25 > p.ec+0.01 {
		return w, false, nil
	}
	w.buffer = r.Buffer
	w.liquids = [drawnPumps]chem.Totals{
		{NO3: 1000 * reagentPerML}, {K: 1000 * reagentPerML},
		chem.Totals{}.Add(calcium, stockTimes*low), chem.Totals{}.Add(sulfate, stockTimes*low).Add(phosphate, stockTimes),
	}
	before := r.EC25
	for i := range w.liquids {
		const ml = 0.5
		if err := solve(at.Add(w.liquids[i], ml/1000)); err != nil {
			return w, false, err
		}
		w.ecPerML[i] = max((r.EC25-before)/ml, 1e-4)
	}
	return w, true, nil
}

// phosphateCharge is the mean negative charge of a phosphate at pH 5.8: one, and
// 3.8 % of the second proton's (pKa 7.21).
const phosphateCharge = 1.038

// drawnPumpsOf sizes the pumps: a dose worth 0.10 pH or 0.10 mS/cm runs as long as
// was drawn, and a smallest dose is worth what was drawn, both at the true buffer
// capacity.
func drawnPumpsOf(p *parameters, w *solution) []dosing.Pump {
	pumps := []dosing.Pump{
		{Name: "acid", Role: dosing.RoleAcid, Reagent: "nitric acid", Group: dosing.GroupAcid, AcidPerML: reagentPerML},
		{Name: "base", Role: dosing.RoleBase, Reagent: "potassium hydroxide", Group: dosing.GroupBase, AcidPerML: -reagentPerML},
		{Name: "calcium", Role: dosing.RoleStock, Reagent: "calcium stock", Group: dosing.GroupCalcium, Share: 0.5, MacroIon: true},
		{Name: "sulfate", Role: dosing.RoleStock, Reagent: "sulfate stock", Group: dosing.GroupSulfate, Share: 0.5, MacroIon: true},
	}
	for i := range pumps {
		q := &pumps[i]
		q.Node, q.ECPerML = "node", w.ecPerML[i]
		quick := p.litres * (1 - p.toldSlow)            // what a dose works in at once, as the grower knows it
		tenth := 0.10 * w.buffer * quick / reagentPerML // mL
		smallest := p.worth / 0.10 * tenth
		if q.Role == dosing.RoleStock {
			q.AcidPerML = (phosphateCharge*w.liquids[i].P - w.liquids[i].StrongCharge()) / 1000
			tenth = 0.10 * quick / q.ECPerML
			smallest = p.stockWorth[i-int(calciumPump)] / 0.10 * tenth
		}
		q.PerSecond = max(dosing.FromMillilitres(tenth/p.run[i]), 1)
		q.MinDose = max(dosing.FromMillilitres(smallest), 1)
	}
	return pumps
}

// wire lays the inputs: what a plain farm has, sent as plain numbers.
func (s *Scene) wire(p *parameters) error {
	g := &s.Settings.Safety
	s.wireTank(0, p)
	s.wireStop()
	s.probes = probes{wander: p.wander, perKelvin: p.perKelvin, told: p.toldPerKelvin}
	var err error
	if s.Topics, err = payload.NewTopics("", g.Station, []string{g.Tanks[0].Name}, nil); err != nil {
		return err
	}
	s.feed()
	return nil
}

const switchPeriod = 10 * time.Second

func (s *Scene) wireStop() {
	g := &s.Settings.Safety
	g.Inputs = append(g.Inputs, safety.Input{Name: "stop", Tank: dosing.AllTanks, Quantity: dosing.QuantityStop, Period: switchPeriod, Step: 1, Max: 1})
}

// wireTank lays the inputs of one tank.
func (s *Scene) wireTank(id dosing.TankID, p *parameters) {
	g := &s.Settings.Safety
	fast, slow := 5*time.Second, switchPeriod
	add := func(name string, q dosing.Quantity, period time.Duration, noise, step, low, high float64) {
		g.Inputs = append(g.Inputs, safety.Input{Name: name, Tank: id, Quantity: q, Period: period, Noise: noise, Step: step, Min: low, Max: high})
	}
	litre := p.litres / 2000 // the gauge resolves a fortieth of a top-up step
	add("ph", dosing.QuantityPH, fast, p.noise, 0.01, 3.5, 9.5)
	add("ec", dosing.QuantityEC, fast, p.ecNoise, 0.01, 0.05, 10)
	add("temperature", dosing.QuantityTemperature, slow, 0.05, 0.1, 2, 45)
	add("level", dosing.QuantityLevel, fast, litre/2, litre, 0, 2.2*p.litres)
	add("circulation", dosing.QuantityCirculation, slow, 0, 1, 0, 1)
	add("leak", dosing.QuantityLeak, slow, 0, 1, 0, 1)
	add("top_up", dosing.QuantityTopUp, slow, 0, 1, 0, 1)
	if len(p.floods) > 0 {
		add("flood", dosing.QuantityFlood, slow, 0, 1, 0, 1)
	} else {
		g.Inputs = append(g.Inputs, safety.Input{Name: "flood", Tank: id, Quantity: dosing.QuantityFlood, NotFitted: "no flood zone"})
	}
	for _, q := range p.fits {
		s.fit(id, p, q)
	}
	for _, q := range []dosing.Quantity{dosing.QuantityOutlet, dosing.QuantitySampleFlow, dosing.QuantityRedox} {
		if p.has(q) {
			continue
		}
		g.Inputs = append(g.Inputs, safety.Input{Name: q.String(), Tank: id, Quantity: q, NotFitted: "not part of a drawn night"})
	}
}

// feed gives each input its topic.
func (s *Scene) feed() {
	g := &s.Settings.Safety
	s.Wires = make([]sim.Wire, len(g.Inputs))
	for i := range g.Inputs {
		in := &g.Inputs[i]
		if in.NotFitted != "" {
			continue
		}
		compensation := dosing.Compensation{Method: dosing.MethodNone}
		if in.Quantity == dosing.QuantityPH {
			compensation.Method = dosing.MethodNernst
		}
		topic := s.Topics.Reading(in.Tank, in.Name)
		s.Wires[i] = sim.Wire{Topic: topic, Compensation: compensation, Raw: true}
		switch {
		case in.Quantity == dosing.QuantityPH:
			s.Wires[i].Wander = s.probes.wander
		case in.Quantity == dosing.QuantityEC && s.probes.perKelvin > 0:
			s.Wires[i].PerKelvin = s.probes.perKelvin
			compensation = dosing.Compensation{Method: dosing.MethodMeasured, PerKelvin: s.probes.told}
		}
		in.Compensation = compensation
		f := sim.Feed{Topic: topic}
		f.Input, f.Tank, f.Quantity, f.Compensation = dosing.InputID(i), in.Tank, in.Quantity, compensation
		f.Format = sim.PlainFormat(in.Quantity)
		s.Feeds = append(s.Feeds, f)
	}
}
