package sim

import (
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

// faults are the rows that happen at the farm or on its link. Rows of the daemon,
// its disk, its clock and its people belong to whoever runs those; they are in the
// table only where the demo names them.
var faults = append(lineFaults, farmFaults...)

var farmFaults = []Fault{
	// The five of the demo.
	{Name: "circulation-off", Row: 25, Text: "the circulation pump stops: probes see old water, doses do not mix",
		begin: onTank(func(t *trouble) { t.speed = -1 }), end: onTank(func(t *trouble) { t.speed = 0 })},
	{Name: "probe-flat", Row: 16, Text: "the pH probe goes on sending its last value",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.frozen = true }),
		end:   onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.frozen = false })},
	{Name: "acid-empty", Row: 3, Text: "the acid container runs dry; its pump turns on nothing",
		begin: onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.left, p.rest = 0, 0 })},
	{Name: "node-reboot", Row: 42, Text: "the pump node restarts in the middle of a dose", second: rebootInDose},
	{Name: "broker-restart", Row: 38, Text: "the broker restarts", Outside: true},

	// Pumps and what they draw.
	{Name: "pump-stuck-on", Row: 1, Text: "a welded relay: the acid pump runs on",
		begin: onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.stuckOn = true }),
		end:   onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.stuckOn = false })},
	{Name: "pump-dead", Row: 2, Text: "the acid pump does not start",
		begin: onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.dead = true }),
		end:   onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.dead = false })},
	{Name: "stock-empty", Row: 3, Text: "a stock container runs dry",
		begin: onPump(dosing.RoleStock, func(_ *Farm, p *pump) { p.left, p.rest = 0, 0 })},
	{Name: "air-lock", Row: 4, Text: "air in the acid line: the next orders deliver half or nothing",
		begin: onPump(dosing.RoleAcid, func(f *Farm, p *pump) { p.trouble.airLock = 2 + int(f.chance.uint64()%5) })},
	{Name: "tube-worn", Row: 5, Text: "the tube of the acid pump wears: a fifth less by and by",
		second: drifting(dosing.RoleAcid, -0.2, 10*time.Hour)},
	{Name: "over-delivery", Row: 6, Text: "the acid pump delivers three tenths too much",
		begin: onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.gain = 0.3 }),
		end:   onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.gain = 0 })},
	{Name: "siphon", Row: 7, Text: "acid siphons through the stopped pump, 1 mL/min",
		begin: onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.siphon = 1 }),
		end:   onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.siphon = 0 })},
	{Name: "stock-weak", Row: 8, Text: "a stock is refilled with a weaker one", begin: onPump(dosing.RoleStock, strength(0.4))},
	{Name: "stock-strong", Row: 9, Text: "a stock is refilled five times too strong", begin: onPump(dosing.RoleStock, strength(5))},
	{Name: "acid-undiluted", Row: 100, Text: "the acid is refilled undiluted, six times too strong", begin: onPump(dosing.RoleAcid, strength(6))},
	{Name: "acid-base-swapped", Row: 10, Text: "acid and base stand in each other's place", begin: swapAcidAndBase},
	{Name: "stock-in-acid-line", Row: 11, Text: "stock stands where the acid should", begin: stockInAcidLine},
	{Name: "line-burst", Row: 79, Text: "the acid line bursts: the dose runs into the drip tray", second: lineBurst},
	{Name: "injection-clogged", Row: 80, Text: "the injection point is clogged: a tenth gets through",
		begin: onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.gain = -0.9 }),
		end:   onPump(dosing.RoleAcid, func(_ *Farm, p *pump) { p.trouble.gain = 0 })},
	{Name: "siphon-back", Row: 81, Text: "tank water siphons back into a stock",
		begin: onPump(dosing.RoleStock, func(_ *Farm, p *pump) { p.trouble.backflow = 5 }),
		end:   onPump(dosing.RoleStock, func(_ *Farm, p *pump) { p.trouble.backflow = 0 })},
	{Name: "stock-cold", Row: 84, Text: "a stock crystallises in the cold", begin: onPump(dosing.RoleStock, strength(0.6))},
	{Name: "stock-biofilm", Row: 85, Text: "growth in a stock line: a tenth less by and by",
		second: drifting(dosing.RoleStock, -0.1, 10*time.Hour)},
	{Name: "stock-made-wrong", Row: 86, Text: "a stock was made up four tenths too strong", begin: onPump(dosing.RoleStock, strength(1.4))},

	// Probes.
	{Name: "ph-dry", Row: 14, Text: "the pH probe is dry: it drifts to 7 and scatters",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.noise = 4 }), second: driftTo7,
		end: onProbe(dosing.QuantityPH, func(t *probeTrouble) { *t = probeTrouble{} })},
	{Name: "ph-coated", Row: 15, Text: "the pH probe is coated and follows in minutes",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.lag = 300 }),
		end:   onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.lag = 0 })},
	{Name: "ph-glass-broken", Row: 16, Text: "the pH glass is broken: about 7.0 whatever the water",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.isFixed, t.fixed = true, 7 }),
		end:   onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.isFixed = false })},
	{Name: "ph-drift", Row: 17, Text: "the pH reference is poisoned: 0.05 lower each hour", begin: driftingProbe(dosing.QuantityPH, -0.05)},
	{Name: "ground-loop", Row: 18, Text: "pH reads 0.4 high while a pump runs",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.withPump = 0.4 }),
		end:   onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.withPump = 0 })},
	{Name: "ec-bubble", Row: 19, Text: "a bubble in the EC cell: three tenths too low",
		begin: onProbe(dosing.QuantityEC, func(t *probeTrouble) { t.factor = -0.3 }),
		end:   onProbe(dosing.QuantityEC, func(t *probeTrouble) { t.factor = 0 })},
	{Name: "ec-compensated-twice", Row: 109, Text: "the EC probe corrects to 25 °C what was declared as raw, or once more",
		begin: onProbe(dosing.QuantityEC, func(t *probeTrouble) { t.perKelvin = -0.02 }),
		end:   onProbe(dosing.QuantityEC, func(t *probeTrouble) { t.perKelvin = 0 })},
	{Name: "ph-input-open", Row: 111, Text: "the pH input is unplugged at the node: 7.00 and 7.01 by turns, and the thermometer says -1023 °C now and then",
		second: inputOpen, end: both(onProbe(dosing.QuantityPH, func(t *probeTrouble) { *t = probeTrouble{} }), onProbe(dosing.QuantityTemperature, func(t *probeTrouble) { *t = probeTrouble{} }))},
	{Name: "ph-dead-wanders", Row: 112, Text: "the pH electrode is dead and wanders between 5 and 7 in steps of 0.19",
		second: deadWanders, end: onProbe(dosing.QuantityPH, func(t *probeTrouble) { *t = probeTrouble{} })},
	{Name: "temperature-failed", Row: 20, Text: "the temperature probe reads 85 °C",
		begin: onProbe(dosing.QuantityTemperature, func(t *probeTrouble) { t.isFixed, t.fixed = true, 85 }),
		end:   onProbe(dosing.QuantityTemperature, func(t *probeTrouble) { t.isFixed = false })},
	{Name: "ph-unplugged", Row: 21, Text: "the pH probe is unplugged and reads 14",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.isFixed, t.fixed, t.noise = true, 14, -1 }),
		end:   onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.isFixed, t.noise = false, 0 })},
	{Name: "ph-silent", Row: 21, Text: "the pH probe sends nothing",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.silent = true }),
		end:   onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.silent = false })},
	{Name: "ph-not-a-number", Row: 56, Text: "the pH probe sends NaN",
		begin: onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.text = "NaN" }),
		end:   onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.text = "" })},
	{Name: "ec-in-microsiemens", Row: 62, Text: "the EC probe sends µS/cm for mS/cm",
		begin: onProbe(dosing.QuantityEC, func(t *probeTrouble) { t.factor = 999 }),
		end:   onProbe(dosing.QuantityEC, func(t *probeTrouble) { t.factor = 0 })},
	{Name: "level-failed-high", Row: 23, Text: "the level gauge is stuck at full",
		begin: stuckLevel(1), end: onProbe(dosing.QuantityLevel, func(t *probeTrouble) { t.isFixed = false })},
	{Name: "level-failed-low", Row: 24, Text: "the level gauge reads nearly nothing",
		begin: stuckLevel(0.05), end: onProbe(dosing.QuantityLevel, func(t *probeTrouble) { t.isFixed = false })},
	{Name: "wild-sample", Row: 92, Text: "one sample of one input is wild, whichever it is", begin: wildSample},
	{Name: "sample-cell-closed", Row: 89, Text: "the probes' cell is closed: fresh readings of old water",
		begin: onTank(func(t *trouble) { t.heldCell = true }), end: onTank(func(t *trouble) { t.heldCell = false })},
	{Name: "probe-in-plume", Row: 88, Text: "the probes stand in the plume: a fifth of each dose reaches them at once",
		begin: onTank(func(t *trouble) { t.shortCut = 0.2 }), end: onTank(func(t *trouble) { t.shortCut = 0 })},

	// Water and plants.
	{Name: "circulation-half", Row: 26, Text: "the circulation is half blocked: everything takes three times as long",
		begin: onTank(func(t *trouble) { t.speed = -2.0 / 3 }), end: onTank(func(t *trouble) { t.speed = 0 })},
	{Name: "mixing-fast", Row: 102, Text: "the water mixes three times as fast as commissioned",
		begin: onTank(func(t *trouble) { t.speed = 2 }), end: onTank(func(t *trouble) { t.speed = 0 })},
	{Name: "power-strip", Row: 72, Text: "one power strip fails: the circulation stands and the pH probe repeats its last value",
		begin: both(onTank(func(t *trouble) { t.speed = -1 }), onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.frozen = true })),
		end:   both(onTank(func(t *trouble) { t.speed = 0 }), onProbe(dosing.QuantityPH, func(t *probeTrouble) { t.frozen = false }))},
	{Name: "phosphate-run-down", Row: 110, Text: "the phosphate has run down to 0.05 mmol/L, and the buffer with it", begin: phosphateRunsDown},
	{Name: "valve-leak", Row: 27, Text: "a valve leaks: 1 % of the water is replaced each hour",
		begin: onTank(func(t *trouble) { t.dilution = 0.01 }), end: onTank(func(t *trouble) { t.dilution = 0 })},
	{Name: "top-up-stuck-open", Row: 28, Text: "the top-up valve does not close",
		begin: onTank(func(t *trouble) { t.valveOpen = true }), end: onTank(func(t *trouble) { t.valveOpen = false })},
	{Name: "top-up-stuck-shut", Row: 82, Text: "the top-up valve does not open",
		begin: onTank(func(t *trouble) { t.valveShut = true }), end: onTank(func(t *trouble) { t.valveShut = false })},
	{Name: "top-up-hard", Row: 29, Text: "the top-up water has changed: alkalinity 5 meq/L",
		begin: source(TapWater(HardTopUp.Alkalinity, HardTopUp.EC)), end: onTank(func(t *trouble) { t.sourceSet = false })},
	{Name: "top-up-salty", Row: 83, Text: "the top-up water has gone bad: three times the salt",
		begin: source(TapWater(SaltyTopUp.Alkalinity, SaltyTopUp.EC)), end: onTank(func(t *trouble) { t.sourceSet = false })},
	{Name: "plant-shock", Row: 30, Text: "plants or biology drive pH up: 0.5 meq/L of base an hour",
		begin: onTank(func(t *trouble) { t.fluxMore = 0.5 }), end: onTank(func(t *trouble) { t.fluxMore = 0 })},
	{Name: "acid-by-hand", Row: 67, Text: "somebody pours acid in by hand", begin: acidByHand},
	{Name: "water-change", Row: 68, Text: "four fifths of the water are changed", second: waterChange},
	{Name: "stop-pressed", Row: 71, Text: "the hard-wired stop is pressed",
		begin: func(f *Farm, _ *injection) { f.PressStop(true) }, end: func(f *Farm, _ *injection) { f.PressStop(false) }},
	{Name: "disinfectant", Row: 73, Text: "hypochlorite in the tank: pH and redox rise", begin: disinfectant},
	{Name: "heater-stuck", Row: 77, Text: "the heater is stuck on: 2 °C more each hour",
		begin: onTank(func(t *trouble) { t.heating = 2 }), end: onTank(func(t *trouble) { t.heating = 0 })},
	{Name: "tank-leaks", Row: 78, Text: "the tank loses 2 L a minute onto the floor",
		begin: both(onTank(func(t *trouble) { t.leak = 2 }), tray(true)), end: both(onTank(func(t *trouble) { t.leak = 0 }), tray(false))},
	{Name: "precipitate", Row: 87, Text: "calcium phosphate falls out in the tank",
		begin: onTank(func(t *trouble) { t.scale = 0.1 }), end: onTank(func(t *trouble) { t.scale = 0 })},
	{Name: "outlet-stuck-shut", Text: "the outlet valve into the tank does not open",
		begin: onTank(func(t *trouble) { t.outletShut = true }), end: onTank(func(t *trouble) { t.outletShut = false })},

	// Nodes and the link.
	{Name: "orders-duplicated", Row: 31, Text: "every message to the nodes arrives five times",
		begin: onLink(func(t *linkTrouble) { t.copies = 4 }), end: onLink(func(t *linkTrouble) { t.copies = 0 })},
	{Name: "order-lost", Row: 34, Text: "the next order is lost", begin: onLink(func(t *linkTrouble) { t.lose = 1 })},
	{Name: "reports-lost", Row: 35, Text: "the nodes' reports are lost; heartbeats name no last order",
		begin: onNode(func(t *nodeTrouble) { t.noReports = true }), end: onNode(func(t *nodeTrouble) { t.noReports = false })},
	{Name: "report-thousandth", Row: 93, Text: "the node counts litres for millilitres: it reports a thousandth of what it gave",
		begin: onNode(func(t *nodeTrouble) { t.counts = -0.999 }), end: onNode(func(t *nodeTrouble) { t.counts = 0 })},
	{Name: "report-nothing", Row: 93, Text: "the node reports that it gave nothing, in no time",
		begin: onNode(func(t *nodeTrouble) { t.sayNought = true }), end: onNode(func(t *nodeTrouble) { t.sayNought = false })},
	{Name: "report-fivefold", Row: 93, Text: "the node reports five times what it gave",
		begin: onNode(func(t *nodeTrouble) { t.counts = 4 }), end: onNode(func(t *nodeTrouble) { t.counts = 0 })},
	{Name: "reports-late", Row: 94, Text: "the node's reports come 40 s late, and its heartbeats say nothing of them until then",
		begin: onNode(func(t *nodeTrouble) { t.late = 40 * time.Second }), end: onNode(func(t *nodeTrouble) { t.late = 0 })},
	{Name: "reports-twice", Row: 94, Text: "the node reports everything twice",
		begin: onNode(func(t *nodeTrouble) { t.copies = 1 }), end: onNode(func(t *nodeTrouble) { t.copies = 0 })},
	{Name: "report-forged-stop", Row: 94, Text: "somebody says in the node's name, a second into each dose, that it was stopped at nothing",
		begin: onNode(func(t *nodeTrouble) { t.forgeStop = true }), end: onNode(func(t *nodeTrouble) { t.forgeStop = false })},
	{Name: "report-forged-second", Row: 94, Text: "somebody says in the node's name, ten seconds after each dose, that it was stopped at nothing",
		begin: onNode(func(t *nodeTrouble) { t.forgeSecond = true }), end: onNode(func(t *nodeTrouble) { t.forgeSecond = false })},
	{Name: "epoch-poisoned", Row: 97, Text: "somebody sends a lease of epoch 4,000,000,000 to the nodes", begin: forgeLease(4_000_000_000)},
	{Name: "epoch-stepped", Row: 97, Text: "somebody sends a lease to the nodes whose epoch is 50 above the daemon's", begin: func(f *Farm, i *injection) {
		if n := f.nodeOf(i); n != nil {
			forgeLease(n.epoch+50)(f, i)
		}
	}},
	{Name: "node-limit-lowered", Row: 96, Text: "the node is set to shorter runs than the configuration makes", begin: lowerLimit},
	{Name: "network-cut", Row: 39, Text: "the network to the farm is cut, both ways",
		begin: onLink(func(t *linkTrouble) { t.cut = true }), end: onLink(func(t *linkTrouble) { t.cut = false })},
	{Name: "network-one-way", Row: 40, Text: "readings arrive, but nothing reaches the nodes",
		begin: onLink(func(t *linkTrouble) { t.deaf = true }), end: onLink(func(t *linkTrouble) { t.deaf = false })},
	{Name: "network-slow", Row: 41, Text: "every message takes half a minute",
		begin: onLink(func(t *linkTrouble) { t.delay = 30 * time.Second }), end: onLink(func(t *linkTrouble) { t.delay = 0 })},
	{Name: "node-reboots", Row: 43, Text: "the pump node restarts every two minutes", second: rebootLoop},
	{Name: "node-offline", Row: 39, Text: "the pump node is dead",
		begin: onNode(func(t *nodeTrouble) { t.down = true }), end: onNode(func(t *nodeTrouble) { t.down = false })},
	{Name: "node-clock-jump", Row: 44, Text: "the node's clock jumps an hour",
		begin: onNode(func(t *nodeTrouble) { t.tickJump += time.Hour })},
	{Name: "node-clock-fast", Row: 44, Text: "the node's clock runs a tenth too fast",
		begin: onNode(func(t *nodeTrouble) { t.tickDrift = 0.1 }), end: onNode(func(t *nodeTrouble) { t.tickDrift = 0 })},
	{Name: "power-cut", Row: 69, Text: "power fails for a moment: every node restarts", begin: func(f *Farm, _ *injection) {
		for n := range f.nodes {
			f.Reboot(n)
		}
	}},
}

func onTank(change func(*trouble)) func(*Farm, *injection) {
	return func(_ *Farm, i *injection) { change(&i.tank.trouble) }
}

func onProbe(q dosing.Quantity, change func(*probeTrouble)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) { f.eachProbe(i, q, func(p *probe) { change(&p.trouble) }) }
}

func onPump(role dosing.Role, change func(*Farm, *pump)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		if p := f.pumpOf(i, role); p != nil {
			change(f, p)
		}
	}
}

func onNode(change func(*nodeTrouble)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		if n := f.nodeOf(i); n != nil {
			change(&n.trouble)
		}
	}
}

func onLink(change func(*linkTrouble)) func(*Farm, *injection) {
	return func(f *Farm, _ *injection) { change(&f.link.trouble) }
}

func both(a, b func(*Farm, *injection)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) { a(f, i); b(f, i) }
}

func tray(wet bool) func(*Farm, *injection) { return func(f *Farm, _ *injection) { f.wet = wet } }

func strength(factor float64) func(*Farm, *pump) {
	return func(_ *Farm, p *pump) { p.liquid = chem.Totals{}.Add(p.liquid, factor) }
}

// ChangedWater is the top-up of a source that has changed: meq/L and mS/cm.
type ChangedWater struct{ Alkalinity, EC float64 }

// HardTopUp and SaltyTopUp are what the faults of those names let in.
var (
	HardTopUp  = ChangedWater{5, 0.5}
	SaltyTopUp = ChangedWater{2, 2.1}
)

func source(w chem.Totals) func(*Farm, *injection) {
	return onTank(func(t *trouble) { t.source, t.sourceSet = w, true })
}

// drifting changes a pump's rate evenly to the full amount within a time.
func drifting(role dosing.Role, amount float64, within time.Duration) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		if p := f.pumpOf(i, role); p != nil {
			p.trouble.gain = amount * min(float64(f.now-i.At)/float64(within), 1)
		}
	}
}

func driftingProbe(q dosing.Quantity, perHour float64) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		f.eachProbe(i, q, func(p *probe) { p.trouble.perHour, p.trouble.since = perHour, f.now })
	}
}

func stuckLevel(share float64) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		f.eachProbe(i, dosing.QuantityLevel, func(p *probe) {
			p.trouble.isFixed, p.trouble.fixed = true, share*i.tank.plant.Litres
		})
	}
}

// wildSample makes one input of the tank or of the station send once what is not so:
// a switch the contrary, anything else what its wire may carry.
func wildSample(f *Farm, i *injection) {
	var all []*probe
	for _, p := range f.probes {
		if p.set.Tank == i.tank.id || p.set.Tank == dosing.AllTanks {
			all = append(all, p)
		}
	}
	if len(all) == 0 {
		return
	}
	p := all[f.chance.uint64()%uint64(len(all))]
	most := map[dosing.Quantity]float64{dosing.QuantityPH: 14, dosing.QuantityEC: 12, dosing.QuantityTemperature: 110,
		dosing.QuantityLevel: 2 * i.tank.plant.Litres, dosing.QuantityRedox: 2000, dosing.QuantityStockLevel: 200}[p.set.Quantity]
	p.trouble.isWild, p.trouble.wild = true, f.chance.uniform(0, most)
	if p.set.Quantity.Switch() {
		p.trouble.wild = 1 - f.truthOf(p)
	}
}

// driftTo7 takes a drying probe to 7 within some ten minutes.
func driftTo7(f *Farm, i *injection) {
	f.eachProbe(i, dosing.QuantityPH, func(p *probe) {
		p.trouble.offset += float64((7 - p.shown - p.trouble.offset) * 0.005)
	})
}

// inputOpen is a pH input with nothing on it, whose node reads 7.00 and 7.01 by turns, and
// a thermometer that sends its word for broken once in ten minutes.
func inputOpen(f *Farm, i *injection) {
	f.eachProbe(i, dosing.QuantityPH, func(p *probe) {
		p.trouble.isFixed, p.trouble.noise = true, -1
		p.trouble.fixed = 7 + 0.01*float64(f.now/time.Minute%2)
	})
	f.eachProbe(i, dosing.QuantityTemperature, func(p *probe) {
		if p.trouble.text = ""; f.now%(10*time.Minute) < p.period {
			p.trouble.text = "-1023"
		}
	})
}

// deadWanders is an electrode that nothing in the water moves: every ten minutes a step.
func deadWanders(f *Farm, i *injection) {
	f.eachProbe(i, dosing.QuantityPH, func(p *probe) {
		t := &p.trouble
		if !t.isFixed {
			t.isFixed, t.fixed, i.due = true, p.shown, f.now
		}
		if f.now < i.due {
			return
		}
		i.due = f.now + 10*time.Minute
		step := 0.19
		if f.chance.uint64()%2 == 0 {
			step = -step
		}
		if t.fixed+step < 5 || t.fixed+step > 7 {
			step = -step
		}
		t.fixed += step
	})
}

// phosphateRunsDown takes the phosphate but a little and leaves nitrate for its charge, so
// that pH stays nearly where it is.
func phosphateRunsDown(_ *Farm, i *injection) {
	const left = 0.05
	for _, t := range i.tank.waters() {
		one, two := t.now.Species[chem.H2PO4], t.now.Species[chem.HPO4]
		charge := 1 + two/max(one+two, 1e-9)
		parts := []*parcel{&t.bulk}
		for k := range t.zones {
			parts = append(parts, &t.zones[k].water)
		}
		for _, p := range parts {
			lost := max(p.ions.P-left*p.litres, 0)
			gone := chem.Totals{P: lost, NO3: -charge * lost}
			p.ions = p.ions.Add(gone, -1)
			t.book.drained.ions = t.book.drained.ions.Add(gone, 1)
		}
	}
}

// rebootInDose waits for a dose, lets it run to a random point and cuts the power;
// if none comes within a quarter of an hour, it does so without.
func rebootInDose(f *Farm, i *injection) {
	if i.count > 0 {
		return
	}
	if i.due == 0 {
		for k, n := range f.nodes {
			if r := n.running; r != nil && n.up(f.now) {
				i.node = f.nodes[k]
				i.due = f.now + time.Duration(f.chance.uniform(0, float64(r.length)*0.8)).Truncate(time.Second)
			}
		}
		if i.due == 0 && f.now < i.At+15*time.Minute {
			return
		}
	}
	if f.now >= i.due {
		i.count++
		f.rebootNode(f.nodeOf(i))
	}
}

func rebootLoop(f *Farm, i *injection) {
	if f.now >= i.due {
		i.due = f.now + 2*time.Minute
		f.rebootNode(f.nodeOf(i))
	}
}

func (f *Farm) rebootNode(n *node) {
	if n != nil {
		f.Reboot(int(n.id))
	}
}

// forgeLease sends every node a lease of an epoch that is not the daemon's.
func forgeLease(epoch uint32) func(*Farm, *injection) {
	return func(f *Farm, _ *injection) {
		for _, n := range f.nodes {
			n.renew(f, epoch, 1)
		}
	}
}

// lowerLimit sets the node of the acid pump to a tenth of the longest run that is
// configured.
func lowerLimit(f *Farm, i *injection) {
	if p := f.pumpOf(i, dosing.RoleAcid); p != nil {
		f.LimitRun(p.id, f.settings.Safety.Caps[p.id].OnTime/10)
	}
}

func swapAcidAndBase(f *Farm, i *injection) {
	acid := f.pumpOf(i, dosing.RoleAcid)
	for _, base := range f.pumps {
		if acid != nil && base.set.Role == dosing.RoleBase && base.set.ServesTank(i.tank.id) {
			acid.liquid, base.liquid = base.liquid, acid.liquid
			return
		}
	}
}

func stockInAcidLine(f *Farm, i *injection) {
	acid := f.pumpOf(i, dosing.RoleAcid)
	for _, stock := range f.pumps {
		if acid != nil && stock.set.Role == dosing.RoleStock && stock.set.ServesTank(i.tank.id) {
			acid.liquid = stock.liquid
			return
		}
	}
}

// lineBurst wets the tray once something has run out of the line.
func lineBurst(f *Farm, i *injection) {
	if p := f.pumpOf(i, dosing.RoleAcid); p != nil {
		p.trouble.burst = true
		f.wet = f.wet || p.spilled > 0
	}
}

// acidByHand pours as much acid as takes a water of 1 meq/L per pH down by 0.4.
func acidByHand(f *Farm, i *injection) {
	if p := f.pumpOf(i, dosing.RoleAcid); p != nil {
		meq := 0.4 * i.tank.litres()
		f.AddByHand(i.tank.id, p.id, dosing.FromMillilitres(1000*meq/strengthOf(p.liquid)))
	}
}

// waterChange drains four fifths within five minutes and fills up with top-up water
// within the next five.
func waterChange(f *Farm, i *injection) {
	const takes = 5 * time.Minute
	t := i.tank
	if i.amount == 0 {
		i.amount = 0.8 * t.bulk.litres
	}
	part := i.amount / takes.Seconds()
	for _, t := range t.waters() {
		switch {
		case f.now < i.At+takes:
			t.drain(part)
		case f.now < i.At+2*takes:
			fresh := water(t.topUpWater(), part)
			t.book.toppedUp.add(fresh)
			t.bulk.add(fresh)
		}
	}
}

// disinfectant makes the water alkaline as a hypochlorite solution is. Chlorine is
// outside the chemistry; sodium and hydroxide are not.
func disinfectant(_ *Farm, i *injection) {
	for _, t := range i.tank.waters() {
		added := parcel{ions: chem.Totals{Na: 6 * t.bulk.litres}}
		t.book.added.add(added)
		t.bulk.add(added)
	}
	i.tank.trouble.redoxShift = 370
}
