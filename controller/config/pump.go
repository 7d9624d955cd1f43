package config

import (
	"fmt"
	"math"
	"strconv"

	"leat/dosing"
	"leat/safety"
)

// mostPumps is what a pump's number has room for.
const mostPumps = 255

// row builds the pumps with what they hold and their caps.
type row struct {
	*frame
	liquids liquids
	inputs  *inputs
}

func (b *row) pumps() {
	if len(b.layout.Pumps) == 0 {
		b.fault("pump", "", "is missing", "describe at least one pump: [[pump]] with name, role and rate")
	}
	if len(b.layout.Pumps) > mostPumps {
		b.layout.Pumps = b.layout.Pumps[:mostPumps]
	}
	seen, wired := map[string]string{}, map[string]string{}
	for i := range b.layout.Pumps {
		in := &b.layout.Pumps[i]
		path := "pump." + strconv.Itoa(i)
		b.unique(seen, path, in.Name, "pump")
		pump := dosing.Pump{Name: in.Name, Reagent: in.Reagent, Strength: in.Strength.text, Container: volume(in.Container)}
		pump.Serves = b.serves(path, in)
		liquid := b.liquids.contents(path, in, &pump)
		b.rate(path, in, &pump)
		node := b.node(path, in, wired)
		pump.Node = b.gate().Nodes[node].Name
		pump.Ions, pump.AcidPerML, pump.Parts = liquid.ions, liquid.acid, liquid.parts
		if liquid.known && len(liquid.made) > 0 {
			pump.Salts = map[string]float64{}
			for _, portion := range liquid.made {
				pump.Salts[portion.Name] += portion.Grams
			}
		}
		b.gate().Pumps = append(b.gate().Pumps, pump)
		b.gate().PumpNode = append(b.gate().PumpNode, node)
		b.file.liquids = append(b.file.liquids, liquid)
		b.file.channels = append(b.file.channels, in.Channel)
		b.replace(join(path, "order_topic"), "order/"+in.Name, in.OrderTopic)
		b.replace(join(path, "report_topic"), "report/"+in.Name, in.Report)
		b.liquids.chelate(path, in, &pump)
	}
	b.lineVolume()
	b.roles()
	b.valves()
}

func (b *row) serves(path string, in *pumpTable) dosing.TankSet {
	var set dosing.TankSet
	for i, name := range in.Tanks {
		id, ok := b.tankIDs[name]
		if !ok {
			names := sortedKeys(b.tankIDs)
			hint := "tanks are " + listed(names)
			if guess := nearest(name, names); guess != "" {
				hint = fmt.Sprintf("did you mean %q?", guess)
			}
			b.fault(join(join(path, "tanks"), strconv.Itoa(i)), quoted(name), "is no tank of this file", hint)
			continue
		}
		set = set.With(id)
	}
	if in.Tanks != nil && len(in.Tanks) == 0 {
		b.fault(join(path, "tanks"), "", "is empty", "name the tanks it doses into, or leave it out for all")
	}
	return set
}

// shortestRun is the run below which a dose is more start and stop than flow.
const shortestRun = 0.3 // s

func (b *row) rate(path string, in *pumpTable, pump *dosing.Pump) {
	if in.Rate.stated && !(in.Rate.value >= 1e-3 && in.Rate.value <= 1000+1e-9) {
		b.fault(join(path, "rate"), quoted(in.Rate.text), "is out of range", "0.06 mL/min to 60 L/min")
		return
	}
	// Rounded up: a rate taken too small would run the pump too long and pass the
	// cap; taken too large by less than 1 µL/s it doses a trace too little.
	pump.PerSecond = dosing.Volume(math.Ceil(in.Rate.value*float64(dosing.Millilitre) - 1e-6))
	pump.MinDose = volume(in.MinDose)
	if !in.MinDose.stated {
		pump.MinDose = dosing.FromMillilitres(in.Rate.value * shortestRun)
	}
	if in.MinDose.stated && pump.MinDose <= 0 {
		b.fault(join(path, "min_dose"), quoted(in.MinDose.text), "is not above zero", "state the smallest dose it repeats well")
	}
	if in.Rate.stated && pump.MinDose > 0 && pump.MinDose.RunTime(pump.PerSecond).Milliseconds() < 20 {
		b.fault(join(path, "min_dose"), quoted(in.MinDose.text), "is less than the pump delivers in 20 ms", "no relay and no tube repeats that; state what you measured")
	}
}

func (b *row) node(path string, in *pumpTable, wired map[string]string) safety.NodeID {
	node := safety.NodeID(0)
	if in.Node != "" {
		found := false
		var names []string
		for i, n := range b.gate().Nodes {
			names = append(names, n.Name)
			if n.Name == in.Node {
				node, found = safety.NodeID(i), true
			}
		}
		if !found {
			hint := "nodes are " + listed(names)
			if guess := nearest(in.Node, names); guess != "" {
				hint = fmt.Sprintf("did you mean %q?", guess)
			}
			b.fault(join(path, "node"), quoted(in.Node), "is no node of this file", hint)
		}
	} else if len(b.gate().Nodes) > 1 {
		b.fault(join(path, "node"), "", "is missing", "state which node drives it")
	}
	if in.Channel != "" {
		key := in.Channel + "\x00" + strconv.Itoa(int(node))
		if other, twice := wired[key]; twice {
			b.fault(join(path, "channel"), quoted(in.Channel), fmt.Sprintf("of node %q is also that of pump %q", b.gate().Nodes[node].Name, other), "one output drives one pump")
		}
		wired[key] = in.Name
	}
	return node
}

func (b *row) lineVolume() {
	in := b.layout.Station.LineVolume
	shared := false
	for i := range b.gate().Pumps {
		for id := range b.layout.Tanks {
			p := &b.gate().Pumps[i]
			shared = shared || p.ServesTank(dosing.TankID(id)) && b.inputs.servesOthers(p, dosing.TankID(id))
		}
	}
	switch {
	case in.stated:
		b.gate().LineVolume = volume(in)
	case shared:
		b.gate().LineVolume = 100 * dosing.Millilitre
		b.warn("station", "line_volume not stated: 0.1 L is taken between manifold and outlets")
	}
}

// roles says which tanks can be held only from one side, or not at all.
func (b *row) roles() {
	for id := range b.layout.Tanks {
		var has [dosing.RoleCount]bool
		for i := range b.gate().Pumps {
			if p := &b.gate().Pumps[i]; p.ServesTank(dosing.TankID(id)) {
				has[p.Role] = true
			}
		}
		path := "tank." + strconv.Itoa(id)
		switch {
		case !has[dosing.RoleAcid] && !has[dosing.RoleBase] && !has[dosing.RoleStock] && len(b.gate().Pumps) > 0:
			b.warn(path, "no pump serves it: it is watched only")
			continue
		case !has[dosing.RoleAcid]:
			b.warn(path, "no acid pump: a pH above the setpoint is only reported")
		case !has[dosing.RoleBase]:
			b.warn(path, "no base pump: a pH below the setpoint is only reported")
		}
		if !has[dosing.RoleStock] {
			b.warn(path, "no stock pump: a low EC is only reported")
		}
	}
}
