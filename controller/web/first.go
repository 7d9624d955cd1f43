package web

import (
	"fmt"
	"net/url"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// lack is one thing that is missing before a tank is armed, with the page that mends it.
type lack struct {
	Text, Href string
	Must       bool // while it lacks the core doses nothing
	Each       []lackOf
}

// lackOf is one of several things that lack the same.
type lackOf struct{ Name, Href string }

// lacksOf is what a tank lacks before it is armed, what bars dosing first.
func lacksOf(d *pageData) (lacks []lack) {
	t := d.Tank
	page := "/tank/" + url.PathEscape(t.Name)
	for i := range t.Holds {
		if h := &t.Holds[i]; h.Cause != safety.CauseObserving && !h.Routine() {
			lacks = append(lacks, lack{h.Text, "/alarm/" + url.PathEscape(t.Name) + "/" + h.Cause.String(), true, nil})
		}
	}
	if !d.LinkUp {
		lacks = append(lacks, lack{"The broker is disconnected.", page, true, nil})
	}
	for i := range d.Nodes {
		if n := &d.Nodes[i]; !n.Seen {
			lacks = append(lacks, lack{fmt.Sprintf("The pump node %s was not heard yet.", n.Name), "/stocks", true, nil})
		}
	}
	for i := range t.Inputs {
		in := &t.Inputs[i]
		probe := in.Quantity == dosing.QuantityPH || in.Quantity == dosing.QuantityEC
		switch {
		case in.NotFitted != "":
		case probe && !in.Present:
			lacks = append(lacks, lack{fmt.Sprintf("%s has no reading yet.", in.Name), page + "/probes", true, nil})
		case probe && in.Calibration == nil:
			lacks = append(lacks, lack{fmt.Sprintf("No calibration of %s is on record.", in.Name), page + "/probes", false, nil})
		}
	}
	return append(lacks, d.lacksOfPumps(t)...)
}

// lacksOfPumps is what the pumps lack that serve a tank.
func (d *pageData) lacksOfPumps(t *controller.TankView) (lacks []lack) {
	unmeasured := lack{Text: "What these pumps give was never measured:"}
	unfilled := lack{Text: "No refill of these is on record, so nobody is warned before they are empty:"}
	for i := range d.Pumps {
		p := &d.Pumps[i]
		for _, served := range servedBy(d, p) {
			if served.Name != t.Name {
				continue
			}
			if p.Measured == 0 {
				unmeasured.Each = append(unmeasured.Each, lackOf{p.Name, "/pump/" + url.PathEscape(p.Name)})
			}
			if p.Left < 0 && p.Role != dosing.RoleWater {
				unfilled.Each = append(unfilled.Each, lackOf{p.Name, "/refill#" + url.PathEscape(p.Name)})
			}
		}
	}
	for _, l := range []lack{unmeasured, unfilled} {
		if len(l.Each) > 0 {
			lacks = append(lacks, l)
		}
	}
	return lacks
}
