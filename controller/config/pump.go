package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem"
	"leat/safety"
)

// mostPumps is what a pump's number has room for.
const mostPumps = 255

func (b *builder) pumps() {
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
		liquid := b.contents(path, in, &pump)
		b.rate(path, in, &pump)
		node := b.node(path, in, wired)
		pump.Node = b.gate().Nodes[node].Name
		pump.Ions, pump.AcidPerML = liquid.ions, liquid.acid
		b.gate().Pumps = append(b.gate().Pumps, pump)
		b.gate().PumpNode = append(b.gate().PumpNode, node)
		b.file.liquids = append(b.file.liquids, liquid)
		b.file.channels = append(b.file.channels, in.Channel)
		b.replace(join(path, "order_topic"), "order/"+in.Name, in.OrderTopic)
		b.replace(join(path, "report_topic"), "report/"+in.Name, in.Report)
		b.chelate(path, in, &pump)
	}
	b.lineVolume()
	b.roles()
}

func (b *builder) serves(path string, in *pumpTable) dosing.TankSet {
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

// contents works out what the pump's liquid holds and does.
func (b *builder) contents(path string, in *pumpTable, pump *dosing.Pump) liquid {
	switch in.Role {
	case "acid":
		pump.Role, pump.Group = dosing.RoleAcid, dosing.GroupAcid
	case "base":
		pump.Role, pump.Group = dosing.RoleBase, dosing.GroupBase
	case "stock":
		pump.Role = dosing.RoleStock
	default:
		if in.Role != "" {
			b.fault(join(path, "role"), quoted(in.Role), "is no role", "write acid, base or stock")
		}
		return liquid{}
	}
	var l liquid
	if pump.Role == dosing.RoleStock {
		l = b.stock(path, in, pump)
	} else {
		l = b.reagent(path, in, pump)
	}
	b.group(path, in, pump, l)
	return l
}

func (b *builder) reagent(path string, in *pumpTable, pump *dosing.Pump) liquid {
	for _, stray := range []struct {
		key    string
		stated bool
	}{{"salts", in.Salts != nil}, {"share", in.Share.stated}, {"chelate", in.Chelate != ""}} {
		if stray.stated {
			b.fault(join(path, stray.key), "", "is only for stocks", "leave it out, or set role = \"stock\"")
		}
	}
	if !in.Strength.stated {
		b.fault(join(path, "strength"), "", "is missing", `state it from the label, for example "38 %"`)
		return liquid{}
	}
	name := strings.ToLower(strings.TrimSpace(in.Reagent))
	if name == "" && in.Strength.unit == "%" {
		b.fault(join(path, "reagent"), "", "is missing", "a mass percent says nothing without it; one of "+listed(sortedKeys(reagents))+", or a strength in meq/mL")
		return liquid{}
	}
	r, known := reagents[name]
	sign := 1.0
	if pump.Role == dosing.RoleBase {
		sign = -1
	}
	if !known {
		if in.Strength.unit == "%" || in.Strength.unit == "mol/L" {
			hint := "known are " + listed(sortedKeys(reagents)) + "; for another state what it neutralises, as strength in meq/mL"
			if guess := blend.Meant(name, sortedKeys(reagents)); guess != "" {
				hint = fmt.Sprintf("did you mean %q?", guess)
			}
			b.fault(join(path, "reagent"), quoted(in.Reagent), "is not a reagent of the table", hint)
			return liquid{}
		}
		if !(in.Strength.value > 0 && in.Strength.value <= 40) {
			b.fault(join(path, "strength"), quoted(in.Strength.text), "is no strength of an acid or base", "a concentrated acid has 7 to 36 meq/mL")
		}
		if pump.Reagent == "" {
			pump.Reagent = pump.Role.String()
		}
		return b.unlisted(path, in, sign)
	}
	if r.Role != pump.Role {
		b.fault(join(path, "reagent"), quoted(in.Reagent), fmt.Sprintf("is %s, not %s", article(r.Role), article(pump.Role)), "correct role or reagent; swapped, every correction would make things worse")
		return liquid{}
	}
	l, key, text, hint := liquidOf(r, in.Strength, in.Density, in.Dilution.Dilution)
	if text != "" {
		value := map[string]string{"strength": in.Strength.text, "density": in.Density.text, "dilution": in.Dilution.String()}[key]
		b.fault(join(path, key), quoted(value), text, hint)
	}
	return l
}

// unlisted is an acid or base that is not in the table.
func (b *builder) unlisted(path string, in *pumpTable, sign float64) liquid {
	b.warn(path, "reagent not in the table: what it adds to nutrients and EC is not known")
	left, fault := in.Dilution.Of(nil, in.Strength.value)
	if fault != nil {
		b.fault(join(path, "dilution"), quoted(fault.What), fault.Problem, fault.Hint)
		return liquid{}
	}
	return liquid{acid: sign * left, parts: in.Strength.value / left}
}

func article(r dosing.Role) string {
	if r == dosing.RoleAcid {
		return "an acid"
	}
	return "a " + r.String()
}

// stock adds up its salts and judges what cannot stand in one container.
func (b *builder) stock(path string, in *pumpTable, pump *dosing.Pump) liquid {
	for _, stray := range []struct {
		key    string
		stated bool
	}{{"strength", in.Strength.stated}, {"density", in.Density.stated}, {"dilution", in.Dilution.Stated()}} {
		if stray.stated {
			b.fault(join(path, stray.key), "", "is only for acid and base", "state salts or ec_gain of a stock")
		}
	}
	var l liquid
	if in.Salts == nil {
		pump.MacroIon = true // not known: its absence must count
		if pump.Reagent == "" {
			pump.Reagent = in.Name
		}
		return l
	}
	if len(in.Salts) == 0 {
		b.fault(join(path, "salts"), "", "is empty", `state { "potassium nitrate" = "80 g/L" }`)
		return l
	}
	l.known = true
	var words []string
	for _, name := range sortedKeys(in.Salts) {
		s, known := blend.SaltNamed(name)
		mass := in.Salts[name].value
		key := join(join(path, "salts"), name)
		if !known {
			guess := blend.Meant(name, sortedKeys(salts))
			hint := "the table of salts stands in dosing/blend/data/salts.csv; else state ec_gain without salts"
			if guess != "" {
				hint = fmt.Sprintf("did you mean %q?", guess)
			}
			b.fault(key, quoted(in.Salts[name].text), "is not a salt of the table", hint)
			l.known = false
			continue
		}
		if !(mass > 0 && mass < 2000) {
			b.fault(key, quoted(in.Salts[name].text), "is no mass in a litre", `state for example "90 g/L"`)
			continue
		}
		if s.Solubility > 0 && mass > s.Solubility {
			b.fault(key, quoted(in.Salts[name].text), fmt.Sprintf("is more than dissolves: %s g in a litre of water at 20 °C", figure(s.Solubility)), "make the stock weaker")
			continue
		}
		if s.Solubility > 0 && mass > 0.8*s.Solubility {
			b.warn(key, fmt.Sprintf("%s g/L is close to what dissolves at 20 °C (%s g/L): it falls out in a cold room", figure(mass), figure(s.Solubility)))
		}
		mmol := mass / s.MolarMass * 1000
		l.ions = l.ions.Add(s.Ions, mmol)
		l.traceEC += float64(s.EC*mmol) / 1000
		l.made = append(l.made, blend.Portion{Name: s.Name, Salt: s, Grams: mass, Group: s.Group, Each: s.Content()})
		words = append(words, s.Name)
	}
	if l.ions.Ca > 0 && (l.ions.SO4 > 0 || l.ions.P > 0 || l.ions.Si > 0) {
		b.fault(join(path, "salts"), "", "puts calcium beside sulfate, phosphate or silicate: gypsum, calcium phosphate or silicate falls out", "keep calcium in a container of its own")
	}
	l.acid = acidity(l.ions) / 1000
	pump.MacroIon = l.ions != chem.Totals{}
	if pump.Reagent == "" {
		pump.Reagent = strings.Join(words, ", ")
	}
	return l
}

// group is the stated group, checked against the salts, or the one that follows
// from them.
func (b *builder) group(path string, in *pumpTable, pump *dosing.Pump, l liquid) {
	found := pump.Group
	if pump.Role == dosing.RoleStock {
		var ok bool
		if found, ok = b.groupOfSalts(path, in); !ok {
			return
		}
	}
	if in.Group == "" {
		pump.Group = found
		if pump.Role == dosing.RoleStock && in.Salts == nil && b.stocks() > 1 {
			b.fault(join(path, "group"), "", "is missing: without salts nobody knows what this stock must not meet", "state group: neutral, calcium, sulfate-phosphate, silicate or chelate")
		}
		return
	}
	stated, ok := dosing.ParseGroup(in.Group)
	if !ok {
		b.fault(join(path, "group"), quoted(in.Group), "is no group", "write neutral, calcium, sulfate-phosphate, silicate, acid, base or chelate")
		return
	}
	if found != dosing.GroupNeutral && stated != found {
		b.fault(join(path, "group"), quoted(in.Group), fmt.Sprintf("does not fit what is in it, which belongs to %q", found), "leave group out, or correct the salts")
		return
	}
	pump.Group = stated
}

// groupOfSalts is the group that follows from the salts of a stock. Salts of two groups
// that must not meet cannot stand in one container.
func (b *builder) groupOfSalts(path string, in *pumpTable) (found dosing.Group, ok bool) {
	found, of := dosing.GroupNeutral, ""
	for _, name := range sortedKeys(in.Salts) {
		s, known := blend.SaltNamed(name)
		switch {
		case !known || s.Group == dosing.GroupNeutral || s.Group == found:
		case found == dosing.GroupNeutral || found == dosing.GroupChelate && found.MayMeet(s.Group):
			found, of = s.Group, name
		case s.Group == dosing.GroupChelate && s.Group.MayMeet(found):
		case found == dosing.GroupCalcium || s.Group == dosing.GroupCalcium:
			return found, false // refused already by what falls out
		default:
			b.fault(join(path, "salts"), quoted(name), fmt.Sprintf("belongs to %q and %q to %q: they must not stand in one container", s.Group, of, found), "make two stocks of them, each with a pump of its own")
			return found, false
		}
	}
	return found, true
}

func (b *builder) stocks() (n int) {
	for i := range b.layout.Pumps {
		if b.layout.Pumps[i].Role == "stock" {
			n++
		}
	}
	return n
}

// shortestRun is the run below which a dose is more start and stop than flow.
const shortestRun = 0.3 // s

func (b *builder) rate(path string, in *pumpTable, pump *dosing.Pump) {
	if in.Rate.stated && !(in.Rate.value >= 1e-3 && in.Rate.value <= 1000) {
		b.fault(join(path, "rate"), quoted(in.Rate.text), "is out of range", "0.06 mL/min to 60 L/min")
		return
	}
	// Rounded up: a rate taken too small would run the pump too long and pass the
	// cap; taken too large by less than 1 µL/s it doses a trace too little.
	pump.PerSecond = dosing.Volume(math.Ceil(in.Rate.value*float64(dosing.Millilitre) - 1e-6))
	pump.Smallest = volume(in.Smallest)
	if !in.Smallest.stated {
		pump.Smallest = dosing.FromMillilitres(in.Rate.value * shortestRun)
	}
	if in.Smallest.stated && pump.Smallest <= 0 {
		b.fault(join(path, "smallest_dose"), quoted(in.Smallest.text), "is not above zero", "state the smallest dose it repeats well")
	}
	if in.Rate.stated && pump.Smallest > 0 && pump.Smallest.RunTime(pump.PerSecond).Milliseconds() < 20 {
		b.fault(join(path, "smallest_dose"), quoted(in.Smallest.text), "is less than the pump delivers in 20 ms", "no relay and no tube repeats that; state what you measured")
	}
}

func (b *builder) node(path string, in *pumpTable, wired map[string]string) safety.NodeID {
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

// chelates bound the pH at which iron stays dissolved (common practice).
var chelates = map[string]float64{"EDTA": 6.3, "DTPA": 7, "EDDHA": 9}

func (b *builder) chelate(path string, in *pumpTable, pump *dosing.Pump) {
	if in.Chelate == "" {
		return
	}
	highest, ok := chelates[in.Chelate]
	if !ok {
		b.fault(join(path, "chelate"), quoted(in.Chelate), "is no chelate of the table", "write EDTA, DTPA or EDDHA")
		return
	}
	for id := range b.settings().Tanks {
		s := &b.settings().Tanks[id].PH
		if pump.ServesTank(dosing.TankID(id)) && s.AdviseHigh > highest {
			b.warn("tank."+strconv.Itoa(id)+".ph_setpoint", fmt.Sprintf("iron %s falls out above pH %s: the recommended pH ends there", in.Chelate, figure(highest)))
			s.AdviseHigh = math.Max(highest, s.AdviseLow)
		}
	}
}

func (b *builder) lineVolume() {
	in := b.layout.Station.LineVolume
	shared := false
	for i := range b.gate().Pumps {
		for id := range b.layout.Tanks {
			p := &b.gate().Pumps[i]
			shared = shared || p.ServesTank(dosing.TankID(id)) && b.servesOthers(p, dosing.TankID(id))
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
func (b *builder) roles() {
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

// shares gives each stock its share of the blend. The shares of the stocks of a
// tank sum to one; a sum within one per cent of it is a rounding and is evened
// out, another sum is an error of the recipe.
func (b *builder) shares() {
	stated, stocks := 0, 0
	for i := range b.gate().Pumps {
		if b.sharedByHand(i) {
			stocks++
			if b.layout.Pumps[i].Share.stated {
				stated++
			}
		}
	}
	if stated != 0 && stated != stocks {
		for i := range b.gate().Pumps {
			if b.sharedByHand(i) && !b.layout.Pumps[i].Share.stated {
				b.fault(join("pump."+strconv.Itoa(i), "share"), "", "is missing while other stocks state theirs", "state the share of each stock, or of none for equal shares")
			}
		}
		return
	}
	raw := make([]float64, len(b.gate().Pumps))
	for i := range raw {
		if !b.sharedByHand(i) {
			continue
		}
		raw[i] = 1
		if stated > 0 {
			raw[i] = b.layout.Pumps[i].Share.value
			if !(raw[i] > 0 && raw[i] <= 1) {
				b.fault(join("pump."+strconv.Itoa(i), "share"), quoted(b.layout.Pumps[i].Share.text), "is no share", "more than 0 % and at most 100 %")
			}
		}
	}
	for id := range b.layout.Tanks {
		if b.settings().Tanks[id].Ratio != nil {
			continue
		}
		b.tankShares(dosing.TankID(id), raw, stated > 0)
	}
}

func (b *builder) tankShares(id dosing.TankID, raw []float64, stated bool) {
	sum, first := 0.0, -1
	for i := range raw {
		if raw[i] > 0 && b.gate().Pumps[i].ServesTank(id) {
			sum += raw[i]
			if first < 0 {
				first = i
			}
		}
	}
	if first < 0 {
		return
	}
	if stated && !(sum >= 0.99 && sum <= 1.01) {
		b.fault("tank."+strconv.Itoa(int(id)), "", fmt.Sprintf("has stocks whose shares sum to %s %%", figure(sum*100)), "shares of the stocks that serve a tank sum to 100 %")
		return
	}
	for i := range raw {
		if !(raw[i] > 0) || !b.gate().Pumps[i].ServesTank(id) {
			continue
		}
		share := raw[i] / sum
		if before := b.gate().Pumps[i].Share; before > 0 && math.Abs(before-share) > 0.01 {
			b.fault(join("pump."+strconv.Itoa(i), "share"), "", fmt.Sprintf("would be %s %% in one of its tanks and %s %% in another", figure(before*100), figure(share*100)),
				"state shares that sum to 100 % in each tank, or give the tanks the same stocks")
			return
		}
		b.gate().Pumps[i].Share = share
	}
}
