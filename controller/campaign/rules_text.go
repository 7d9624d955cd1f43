package campaign

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"leat/controller/sim"
	"leat/dosing"
)

// WriteRules prints the invariants, and every fault with what names it and what it
// needs to show.
func WriteRules(out io.Writer) error {
	p := &printer{w: out}
	p.line("Rules: what must hold in every night, whatever happens in it")
	for i := range rules {
		r := &rules[i]
		p.line("%3d  %s. %s", r.Number, r.Name, r.Text)
		if r.check == nil {
			p.line("     checked by: %s", r.By)
		}
	}
	p.line("")
	p.line("Faults, by the rows of their table: leat rehearse -faults NAME plays one that has a name")
	known := sim.Faults()
	for i := range rows {
		p.row(&rows[i], known)
	}
	p.line("")
	p.line("Faults of no row")
	for i := range known {
		if known[i].Row == 0 {
			p.fault(&known[i])
		}
	}
	return p.err
}

// row prints a line of the table: what happens, how it is played, and what leat does.
func (p *printer) row(r *row, known []sim.Fault) {
	if i := slices.IndexFunc(known, func(f sim.Fault) bool { return slices.Contains(r.played, f.Name) }); i >= 0 {
		p.fault(&known[i])
	} else {
		p.line("%3d  %s", r.number, r.text)
	}
	for _, test := range r.played {
		if strings.Contains(test, ".") {
			p.line("     tested by %s", test)
		}
	}
	for _, n := range r.named {
		p.line("     named by %s", n)
	}
	if r.why != "" {
		p.line("     calls nobody: %s", r.why)
	}
}

func (p *printer) fault(f *sim.Fault) {
	row := ""
	if f.Row > 0 {
		row = fmt.Sprint(f.Row)
	}
	p.line("%3s  %s: %s", row, f.Name, f.Text)
	if f.Outside {
		p.line("     played by leat demo -fault %s", f.Name)
		return
	}
	g := signs[f.Name]
	if f.Row == 0 {
		for _, c := range g.causes {
			p.line("     named by %s", c)
		}
	}
	if needs := g.wants(); len(needs) > 0 {
		p.line("     shows only with %s", strings.Join(needs, "; "))
	}
}

// wants says in words what a fault needs to show.
func (g *sign) wants() []string {
	var all, sensors []string
	for _, q := range g.needs {
		sensors = append(sensors, q.String())
	}
	if len(sensors) > 0 {
		all = append(all, "an input of "+strings.Join(sensors, " or "))
	}
	if g.takes > 0 {
		all = append(all, fmt.Sprintf("%.4g minutes of it", g.takes.Minutes()))
	}
	if g.sensed {
		all = append(all, "nodes that sense the current of their pumps (else by what it has done to the water)")
	}
	if g.within > 0 {
		all = append(all, fmt.Sprintf("%.0f days at most", g.within.Hours()/24))
	}
	unit := "pH"
	if g.role == dosing.RoleStock {
		unit = "mS/cm"
	}
	switch {
	case g.worth >= onePool/10:
		all = append(all, fmt.Sprintf("doses of %s worth %.3g %s while it lasts", g.role, g.worth, unit))
	case g.worth > 0:
		all = append(all, fmt.Sprintf("a dose of %s while it lasts", g.role))
	}
	if g.only != nil {
		all = append(all, g.only.words)
	}
	return all
}
