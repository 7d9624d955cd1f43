package campaign

import (
	"fmt"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
	"leat/safety/sizing"
)

// Whole stations: not only the night is drawn but tanks, stocks, acid and water, and the
// liquids are diluted and the pumps slowed as leat check would advise.

// salts are what the stocks of a drawn station are made of, mmol/L of the solution; the
// phosphate is the night's. A station with fewer stocks has several in one.
var salts = []struct {
	group dosing.Group
	holds chem.Totals
}{
	{dosing.GroupCalcium, chem.Totals{Ca: 2, NO3: 4}},
	{dosing.GroupSulfate, chem.Totals{Mg: 0.8, SO4: 0.8}},
	{dosing.GroupNeutral, chem.Totals{K: 1.6, NO3: 1.6}},
	{dosing.GroupSulfate, chem.Totals{K: 1, SO4: 0.5}},
	{dosing.GroupNeutral, chem.Totals{NH4: 0.3, NO3: 0.3}},
	{dosing.GroupCalcium, chem.Totals{Mg: 0.2, NO3: 0.4}},
	{dosing.GroupSulfate, chem.Totals{K: 0.2, SO4: 0.1}},
	{dosing.GroupNeutral, chem.Totals{K: 0.1, Cl: 0.1}},
}

const (
	mostTanks     = 3
	nightsOfAFarm = 6   // seeds in a row
	mostAdvice    = 60  // times that a station follows the advice before it is drawn again
	littleLess    = 0.9 // beyond what the advice names, as a careful grower takes it
)

// station is a drawn station on its way to a scene.
type station struct {
	set      *Set
	tanks    []*parameters
	waters   []chem.Totals // of each tank at its setpoints
	buffers  []float64
	pumps    []dosing.Pump
	liquids  []chem.Totals
	settings *controller.Settings
	sizes    sizing.Station
}

// stationScene draws the station and the night of a seed.
func (s *Set) stationScene(seed uint64) (*Scene, error) {
	farm := seed / nightsOfAFarm
	from, own := sourcesOf(farm), source(farm, "station")
	for redrawn := range mostRedraws {
		d := &station{set: s}
		for range own.whole(1, mostTanks) {
			d.tanks = append(d.tanks, s.draw(from))
		}
		stocks, phosphoric := own.whole(2, len(salts)), own.whole(0, 1) == 1
		scene, refused, err := d.build(seed, stocks, phosphoric)
		if err != nil {
			return nil, fmt.Errorf("set %s, seed %d: %w", s.Name, seed, err)
		}
		if refused == "" && (len(s.kept) > 0 || s.stocks > 0) {
			scene, err = d.partOf(seed, stocks, phosphoric)
		}
		if refused == "" && err == nil {
			scene.Redrawn = redrawn
		}
		if refused == "" {
			return scene, err
		}
	}
	return nil, fmt.Errorf("set %s, seed %d: %d stations in a row were refused", s.Name, seed, mostRedraws)
}

// partOf is the station with fewer tanks and stocks.
func (d *station) partOf(seed uint64, stocks int, phosphoric bool) (*Scene, error) {
	few := &station{set: d.set, tanks: d.tanks}
	if len(d.set.kept) > 0 {
		few.tanks = nil
		for _, number := range d.set.kept {
			if number > len(d.tanks) {
				return nil, fmt.Errorf("%w: there is no tank %d", errCut, number)
			}
			few.tanks = append(few.tanks, d.tanks[number-1])
		}
	}
	if d.set.stocks > 0 {
		stocks = min(stocks, d.set.stocks)
	}
	scene, refused, err := few.build(seed, stocks, phosphoric)
	if err == nil && refused != "" {
		err = fmt.Errorf("%w: %s", errCut, refused)
	}
	return scene, err
}

// liquidsOf makes acid, base and so many stocks for water with this phosphate.
func (d *station) liquidsOf(stocks int, phosphoric bool) {
	p := d.tanks[0]
	acid := dosing.Pump{Name: "acid", Role: dosing.RoleAcid, Reagent: "nitric acid", Group: dosing.GroupAcid}
	d.liquids = []chem.Totals{{NO3: 1000 * reagentPerML}, {K: 1000 * reagentPerML}}
	if phosphoric {
		acid.Reagent, d.liquids[0] = "phosphoric acid", chem.Totals{P: 1000 * reagentPerML}
	}
	d.pumps = []dosing.Pump{acid, {Name: "base", Role: dosing.RoleBase, Reagent: "potassium hydroxide", Group: dosing.GroupBase}}
	of := func(g dosing.Group) int {
		for i := 2; i < len(d.pumps); i++ {
			if d.pumps[i].Group == g || g == dosing.GroupNeutral {
				return i
			}
		}
		return 2
	}
	for i := range salts {
		holds := salts[i].holds
		if i == 1 {
			holds = holds.Add(chem.Totals{P: p.phosphate, K: p.phosphate}, 1)
		}
		if i < stocks {
			d.pumps = append(d.pumps, dosing.Pump{Name: fmt.Sprintf("stock%d", i+1), Role: dosing.RoleStock, Reagent: "stock", Group: salts[i].group, MacroIon: true, Share: 1 / float64(stocks)})
			d.liquids = append(d.liquids, chem.Totals{}.Add(holds, stockTimes))
			continue
		}
		k := of(salts[i].group)
		d.liquids[k] = d.liquids[k].Add(holds, stockTimes)
	}
}

// dissolve finds each tank's water at its setpoints, or says that there is none.
func (d *station) dissolve() (ok bool, err error) {
	blend := chem.Totals{}
	for i := range d.pumps {
		if d.pumps[i].Role == dosing.RoleStock {
			blend = blend.Add(d.liquids[i], d.pumps[i].Share)
		}
	}
	for _, p := range d.tanks {
		p.alkalinity = d.tanks[0].alkalinity // one water for all
		base := sim.TapWater(p.alkalinity, 0.1*p.alkalinity)
		base.DIC, base.NO3 = 0, base.NO3+p.alkalinity
		var r chem.Result
		var solver chem.Solver
		solve := func(t chem.Totals) error {
			return solver.Solve(&t, chem.Conditions{TempC: 25, Open: true, CO2Atm: outdoorCO2, FixedPH: drawnPH}, &r)
		}
		low, high := 0.0, 0.1 // litres of blend in a litre
		for range 30 {
			middle := (low + high) / 2
			if err := solve(base.Add(blend, middle)); err != nil {
				return false, err
			}
			if r.EC25 < p.ec {
				low = middle
			} else {
				high = middle
			}
		}
		at := base.Add(blend, low)
		if err := solve(at); err != nil || low == 0 || r.EC25 < p.ec-0.01 || r.EC25 > p.ec+0.01 {
			return false, err
		}
		d.waters, d.buffers = append(d.waters, at), append(d.buffers, r.Buffer)
	}
	return true, nil
}

// strengths tells the pumps what a millilitre of their liquids does in the first tank.
func (d *station) strengths() error {
	var r chem.Result
	var solver chem.Solver
	at := func(t chem.Totals) (float64, error) {
		err := solver.Solve(&t, chem.Conditions{TempC: 25, Open: true, CO2Atm: outdoorCO2, FixedPH: drawnPH}, &r)
		return r.EC25, err
	}
	before, err := at(d.waters[0])
	if err != nil {
		return err
	}
	const ml = 0.1
	for i := range d.pumps {
		p, liquid := &d.pumps[i], d.liquids[i]
		after, err := at(d.waters[0].Add(liquid, ml/1000))
		if err != nil {
			return err
		}
		p.Node, p.ECPerML = "node", max((after-before)/ml, 1e-6)
		p.AcidPerML = (phosphateCharge*liquid.P - liquid.StrongCharge()) / 1000
	}
	return nil
}

// build lays the station, or says why it is refused for good.
func (d *station) build(seed uint64, stocks int, phosphoric bool) (scene *Scene, refused string, err error) {
	d.liquidsOf(stocks, phosphoric)
	if ok, err := d.dissolve(); err != nil || !ok {
		return nil, "no such solution", err
	}
	if err := d.strengths(); err != nil {
		return nil, "", err
	}
	if err := d.settle(seed); err != nil {
		return nil, "", err
	}
	if refused = d.advised(); refused != "" {
		return nil, refused, nil
	}
	scene = &Scene{Seed: seed, Hours: span(d.set.hours * 3600), Settings: d.settings}
	var names []string
	scene.Options = sim.Options{Seed: seed, StartHour: 6, PumpError: drawnPumpOff, Liquids: d.liquids}
	for id, p := range d.tanks {
		scene.wireTank(dosing.TankID(id), p)
		names = append(names, d.settings.Safety.Tanks[id].Name)
		scene.Options.Plants = append(scene.Options.Plants, d.set.plantOf(p))
	}
	start := source(seed, "start") // the farm is that of six nights, where they begin is each one's own
	scene.Options.StartPH, scene.Options.StartECShare = start.uniform(5.4, 6.6), start.uniform(0.6, 1)
	scene.wireStop()
	if scene.Topics, err = payload.NewTopics("", d.settings.Safety.Station, names, nil); err != nil {
		return nil, "", err
	}
	scene.feed()
	scene.restFor(d.settings.Safety.StartSettling)
	return scene, "", nil
}

// settle makes the settings, all but pumps and caps.
func (d *station) settle(seed uint64) error {
	curve, err := chem.NewCurve(nominal.Expected(), referenceTemp)
	if err != nil {
		return err
	}
	d.settings = &controller.Settings{Version: fmt.Sprintf("%s-%d", d.set.Name, seed), ControlPeriod: 10 * time.Second}
	g := &d.settings.Safety
	g.Station, g.Nodes = "row", []safety.Node{{Name: "node", FullContract: true}}
	g.PumpNode = make([]safety.NodeID, len(d.pumps))
	d.sizes = sizing.Station{Settings: g, ControlPeriod: d.settings.ControlPeriod}
	for id, p := range d.tanks {
		tank := nominal
		tank.Name = fmt.Sprintf("tank%d", id+1)
		tank.BufferScale = p.wrong * d.buffers[id] / curve.Buffer(drawnPH)
		tell(&tank, p)
		g.Tanks = append(g.Tanks, safety.Tank{Tank: tank, MinTemperature: 8, MaxTemperature: 34})
		g.StartSettling = max(g.StartSettling, tank.MixingTime())
		d.settings.Tanks = append(d.settings.Tanks, drawnTarget(p))
		d.sizes.Plants = append(d.sizes.Plants, sizing.Plant{Curve: curve, Buffer: p.wrong * d.buffers[id], PH: drawnPH, EC: p.ec - 0.1*p.alkalinity, Demand: d.set.demand()})
	}
	return nil
}

// advised follows what leat check would advise: slower pumps, weaker liquids, until the
// sizes pass.
func (d *station) advised() (refused string) {
	p, g := d.tanks[0], &d.settings.Safety
	for i := range d.pumps {
		q := &d.pumps[i]
		quick := p.litres * (1 - p.toldSlow)
		tenth := 0.10 * d.buffers[0] * quick / max(-q.AcidPerML, q.AcidPerML, 1e-9)
		smallest := p.worth / 0.10 * tenth
		if q.Role == dosing.RoleStock {
			tenth = 0.10 * quick / q.ECPerML
			smallest = p.stockWorth[i%2] / 0.10 * tenth
		}
		q.PerSecond, q.MinDose = max(dosing.FromMillilitres(tenth/p.run[i%len(p.run)]), 1), max(dosing.FromMillilitres(smallest), 1)
	}
	for range mostAdvice {
		g.Pumps, g.Caps = d.pumps, make([]safety.Caps, 0, len(d.pumps))
		blend := 0.0
		for i := range d.pumps {
			blend += d.pumps[i].Share * d.pumps[i].ECPerML
		}
		for id := range d.sizes.Plants {
			d.sizes.Plants[id].BlendEC = blend
		}
		for i := range d.pumps {
			g.Caps = append(g.Caps, d.sizes.Defaults(i, d.sizes.OnTime(&d.pumps[i])))
			d.pumps[i].Container = max(leastContainer, 2*g.Caps[i].PerDay)
		}
		if refused = d.sizes.Refusal(); refused == "" || !d.follow() {
			return refused
		}
	}
	return refused
}

// follow slows and dilutes what is too much for one of its tanks and says whether there
// was any.
func (d *station) follow() (changed bool) {
	for i := range d.pumps {
		q, worst := &d.pumps[i], sizing.Effect{}
		for id := range d.tanks {
			e := d.sizes.Effect(i, dosing.TankID(id))
			worst = sizing.Effect{HangPH: max(worst.HangPH, e.HangPH), HangEC: max(worst.HangEC, e.HangEC),
				SmallestPH: max(worst.SmallestPH, e.SmallestPH), SmallestEC: max(worst.SmallestEC, e.SmallestEC)}
		}
		if over := worst.Dangerous(); over > 1 {
			q.PerSecond, changed = max(dosing.Volume(littleLess*float64(q.PerSecond)/over), 1), true
		}
		if over := worst.Coarse(); over > 1 {
			weaker := littleLess / over
			d.liquids[i], q.AcidPerML, q.ECPerML, changed = chem.Totals{}.Add(d.liquids[i], weaker), q.AcidPerML*weaker, q.ECPerML*weaker, true
		}
	}
	return changed
}
