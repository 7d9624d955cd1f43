package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem"
)

// liquids builds what stands in the containers.
type liquids struct{ *frame }

// contents works out what the pump's liquid holds and does.
func (b *liquids) contents(path string, in *pumpTable, pump *dosing.Pump) liquid {
	switch in.Role {
	case "acid":
		pump.Role, pump.Group = dosing.RoleAcid, dosing.GroupAcid
	case "base":
		pump.Role, pump.Group = dosing.RoleBase, dosing.GroupBase
	case "stock":
		pump.Role = dosing.RoleStock
	case "water":
		return b.water(path, in, pump)
	default:
		if in.Role != "" {
			b.fault(join(path, "role"), quoted(in.Role), "is no role", "write acid, base, stock or water")
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

func (b *liquids) reagent(path string, in *pumpTable, pump *dosing.Pump) liquid {
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
func (b *liquids) unlisted(path string, in *pumpTable, sign float64) liquid {
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
func (b *liquids) stock(path string, in *pumpTable, pump *dosing.Pump) liquid {
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
	for _, name := range sortedKeys(in.Salts) {
		b.salt(join(join(path, "salts"), name), name, in.Salts[name], &l)
	}
	if l.ions.Ca > 0 && (l.ions.SO4 > 0 || l.ions.P > 0 || l.ions.Si > 0) {
		b.fault(join(path, "salts"), "", "puts calcium beside sulfate, phosphate or silicate: gypsum, calcium phosphate or silicate falls out", "keep calcium in a container of its own")
	}
	l.acid = acidity(l.ions) / 1000
	pump.MacroIon = l.ions != chem.Totals{}
	if pump.Reagent == "" {
		var names []string
		for _, portion := range l.made {
			names = append(names, portion.Name)
		}
		pump.Reagent = strings.Join(names, ", ")
	}
	return l
}

// salt adds one salt of a stock, or says why it cannot be there.
func (b *liquids) salt(key, name string, stated measured[saltKind], l *liquid) {
	s, known := blend.SaltNamed(name)
	mass := stated.value
	if !known {
		hint := "the table of salts stands in dosing/blend/data/salts.csv; else state ec_gain without salts"
		if guess := blend.Meant(name, sortedKeys(salts)); guess != "" {
			hint = fmt.Sprintf("did you mean %q?", guess)
		}
		b.fault(key, quoted(stated.text), "is not a salt of the table", hint)
		l.known = false
		return
	}
	switch {
	case !(mass > 0 && mass < 2000):
		b.fault(key, quoted(stated.text), "is no mass in a litre", `state for example "90 g/L"`)
		return
	case s.Solubility > 0 && mass > s.Solubility:
		b.fault(key, quoted(stated.text), fmt.Sprintf("is more than dissolves: %s g in a litre of water at 20 °C", figure(s.Solubility)), "make the stock weaker")
		return
	case s.Solubility > 0 && mass > 0.8*s.Solubility:
		b.warn(key, fmt.Sprintf("%s g/L is close to what dissolves at 20 °C (%s g/L): it falls out in a cold room", figure(mass), figure(s.Solubility)))
	}
	mmol := mass / s.MolarMass * 1000
	l.ions = l.ions.Add(s.Ions, mmol)
	l.traceEC += float64(s.EC*mmol) / 1000
	l.made = append(l.made, blend.Portion{Name: s.Name, Salt: s, Grams: mass, Group: s.Group, Each: s.Content()})
}

// group is the stated group, checked against the salts, or the one that follows
// from them.
func (b *liquids) group(path string, in *pumpTable, pump *dosing.Pump, l liquid) {
	found := pump.Group
	if pump.Role == dosing.RoleStock {
		var ok bool
		if found, ok = b.groupOfSalts(path, in); !ok {
			return
		}
	}
	if in.Compatibility == "" {
		pump.Group = found
		if pump.Role == dosing.RoleStock && in.Salts == nil && b.stocks() > 1 {
			b.fault(join(path, "compatibility"), "", "is missing: without salts nobody knows what this stock must not meet", "state compatibility: neutral, calcium, sulfate-phosphate, silicate or chelate")
		}
		return
	}
	stated, ok := dosing.ParseGroup(in.Compatibility)
	if !ok {
		b.fault(join(path, "compatibility"), quoted(in.Compatibility), "is no class of compatibility", "write neutral, calcium, sulfate-phosphate, silicate, acid, base or chelate")
		return
	}
	if found != dosing.GroupNeutral && stated != found {
		b.fault(join(path, "compatibility"), quoted(in.Compatibility), fmt.Sprintf("does not fit what is in it, which belongs to %q", found), "leave compatibility out, or correct the salts")
		return
	}
	pump.Group = stated
}

// groupOfSalts is the group that follows from the salts of a stock. Salts of two groups
// that must not meet cannot stand in one container.
func (b *liquids) groupOfSalts(path string, in *pumpTable) (found dosing.Group, ok bool) {
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

func (b *liquids) stocks() (n int) {
	for i := range b.layout.Pumps {
		if b.layout.Pumps[i].Role == "stock" {
			n++
		}
	}
	return n
}

// chelate bounds the recommended pH to where iron stays dissolved.
func (b *liquids) chelate(path string, in *pumpTable, pump *dosing.Pump) {
	if in.Chelate == "" {
		return
	}
	chelate, ok := chem.ChelateNamed(in.Chelate)
	if !ok || chelate.Name != in.Chelate {
		b.fault(join(path, "chelate"), quoted(in.Chelate), "is no chelate of the table", "write EDTA, DTPA or EDDHA")
		return
	}
	b.ironUnderUV(pump, in.Chelate)
	for id := range b.settings().Tanks {
		s := &b.settings().Tanks[id].PH
		if pump.ServesTank(dosing.TankID(id)) && s.AdvisedMax > chelate.HighPH {
			b.warn("tank."+strconv.Itoa(id)+".ph_setpoint", fmt.Sprintf("iron %s falls out above pH %s: the recommended pH ends there", in.Chelate, figure(chelate.HighPH)))
			s.AdvisedMax = math.Max(chelate.HighPH, s.AdvisedMin)
		}
	}
}
