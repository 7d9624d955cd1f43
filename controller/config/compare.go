package config

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"leat/dosing"
)

// Compare says what a re-read file would change in a running daemon, in words for
// the log, and what of it needs a restart. With one refusal nothing is taken: a
// daemon that runs half of a file runs none that anybody wrote.
//
// Wiring (broker, topics, nodes, which pump hangs where), the row and its tanks
// are fixed for a run, because orders under way and the ledger refer to them.
// Limits, strengths, setpoints, demand and plausible ranges are taken.
func Compare(old, fresh *File) (changes, refusals []string) {
	c := &comparison{}
	c.fixed("the broker", old.Broker, fresh.Broker)
	c.fixed("the ledger servers", old.Cluster, fresh.Cluster)
	c.fixed("the page's address", old.Web, fresh.Web)
	c.fixed("the address of the metrics", old.Metrics, fresh.Metrics)
	c.fixed("who is told of an alarm", old.Notify, fresh.Notify)
	c.fixed("the state folder", old.State, fresh.State)
	c.fixed("the time zone", old.Zone.String(), fresh.Zone.String())
	c.fixed("the topics", old.Topics, fresh.Topics)
	c.fixed("the inputs and their topics", old.wiredInputs(), fresh.wiredInputs())
	var longer []string
	a, b := &old.Settings.Safety, &fresh.Settings.Safety
	c.fixed("the station's name", a.Station, b.Station)
	c.fixed("the nodes", a.Nodes, b.Nodes)
	c.fixed("the channels of the pumps", old.channels, fresh.channels)
	if len(a.Pumps) != len(b.Pumps) || len(a.Tanks) != len(b.Tanks) {
		c.refusals = append(c.refusals, "pumps or tanks were added or taken away")
	} else {
		c.pumps(old, fresh)
		longer = nodesToSet(old, fresh)
		c.tanks(old, fresh)
	}
	c.changed("log level", old.Log, fresh.Log)
	c.changed("arm again after a restart", old.Settings.ReArm, fresh.Settings.ReArm)
	c.changed("period of decisions", old.Settings.ControlPeriod, fresh.Settings.ControlPeriod)
	c.changed("warning before a container is empty", old.Settings.StockWarn, fresh.Settings.StockWarn)
	c.changed("line volume", a.LineVolume, b.LineVolume)
	c.changed("wait after a start", a.StartSettling, b.StartSettling)
	for i := range c.refusals {
		c.refusals[i] += " changed: restart the daemon to take it"
	}
	return c.changes, append(c.refusals, longer...)
}

// nodesToSet says which nodes must be set to longer runs before a file is taken. A node
// was last set to what the file at the start needed, unless the fresh one states it.
func nodesToSet(old, fresh *File) (all []string) {
	a, b := &old.Settings.Safety, &fresh.Settings.Safety
	for i := range a.Caps {
		was, is := a.Caps[i].OnTime, b.Caps[i].OnTime
		if longest := b.Caps[i].PerDose.RunTime(b.Pumps[i].PerSecond); longest > was && fresh.nodeMax[i] == 0 {
			all = append(all, fmt.Sprintf("an order of pump %q may run for %s, and its node was set to %s: set node %q to %s for it, state node_max_on_time = %q, and load the file again",
				b.Pumps[i].Name, longest, was, b.Pumps[i].Node, is, is))
		}
	}
	return all
}

type comparison struct{ changes, refusals []string }

func (c *comparison) fixed(what string, old, fresh any) {
	if !reflect.DeepEqual(old, fresh) {
		c.refusals = append(c.refusals, what)
	}
}

func (c *comparison) changed(what string, old, fresh any) {
	if !reflect.DeepEqual(old, fresh) {
		c.changes = append(c.changes, fmt.Sprintf("%s: %s → %s", what, said(old), said(fresh)))
	}
}

// each compares two structs field by field and names those that differ.
func (c *comparison) each(what string, old, fresh any) {
	a, b := reflect.ValueOf(old), reflect.ValueOf(fresh)
	for i := range a.NumField() {
		if name := a.Type().Field(i).Name; !reflect.DeepEqual(a.Field(i).Interface(), b.Field(i).Interface()) {
			c.changes = append(c.changes, fmt.Sprintf("%s: %s %s → %s", what, words(name), said(a.Field(i).Interface()), said(b.Field(i).Interface())))
		}
	}
}

// said prints a value with the digits that a person compares.
func said(v any) string {
	if f, ok := v.(float64); ok {
		return strconv.FormatFloat(f, 'g', 6, 64)
	}
	return fmt.Sprint(v)
}

// words splits a field name for people: PerHour reads "per hour", ECPerML "EC per mL".
func words(name string) string {
	var b strings.Builder
	runes := []rune(name)
	for i, r := range runes {
		upper := unicode.IsUpper(r)
		begins := upper && i+1 < len(runes) && unicode.IsLower(runes[i+1]) // a word of small letters
		if i > 0 && upper && (begins || !unicode.IsUpper(runes[i-1])) {
			b.WriteByte(' ')
		}
		if begins {
			r = unicode.ToLower(r)
		}
		b.WriteRune(r)
	}
	return strings.ReplaceAll(b.String(), "ML", "mL")
}

func (c *comparison) pumps(old, fresh *File) {
	a, b := &old.Settings.Safety, &fresh.Settings.Safety
	for i := range a.Pumps {
		x, y := a.Pumps[i], b.Pumps[i]
		if x.Name != y.Name || x.Role != y.Role || x.Serves != y.Serves || a.PumpNode[i] != b.PumpNode[i] {
			c.refusals = append(c.refusals, fmt.Sprintf("name, role, tanks or node of pump %q", x.Name))
			continue
		}
		c.each(fmt.Sprintf("pump %q", x.Name), x, y)
		c.changed(fmt.Sprintf("pump %q: longest run that its node allows", x.Name), old.nodeMax[i], fresh.nodeMax[i])
		c.each(fmt.Sprintf("caps of pump %q", x.Name), a.Caps[i], b.Caps[i])
	}
}

func (c *comparison) tanks(old, fresh *File) {
	a, b := &old.Settings.Safety, &fresh.Settings.Safety
	for i := range a.Tanks {
		name := a.Tanks[i].Name
		if name != b.Tanks[i].Name {
			c.refusals = append(c.refusals, fmt.Sprintf("the name of tank %q", name))
			continue
		}
		c.each(fmt.Sprintf("tank %q", name), a.Tanks[i].Tank, b.Tanks[i].Tank)
		c.changed(fmt.Sprintf("tank %q: min temperature for a dose", name), a.Tanks[i].MinTemperature, b.Tanks[i].MinTemperature)
		c.changed(fmt.Sprintf("tank %q: max temperature for a dose", name), a.Tanks[i].MaxTemperature, b.Tanks[i].MaxTemperature)
		c.each(fmt.Sprintf("tank %q: top-up", name), a.Tanks[i].TopUpBand, b.Tanks[i].TopUpBand)
		c.changed(fmt.Sprintf("tank %q: caps halved", name), a.Tanks[i].HalvedCaps, b.Tanks[i].HalvedCaps)
		c.each(fmt.Sprintf("tank %q: pH setpoint", name), old.Settings.Tanks[i].PH, fresh.Settings.Tanks[i].PH)
		c.each(fmt.Sprintf("tank %q: EC setpoint", name), old.Settings.Tanks[i].EC, fresh.Settings.Tanks[i].EC)
		if !reflect.DeepEqual(old.Settings.Tanks[i].Ratio, fresh.Settings.Tanks[i].Ratio) {
			c.changes = append(c.changes, fmt.Sprintf("tank %q: recipe, source water or stocks", name))
		}
		if !reflect.DeepEqual(old.Settings.Tanks[i].Schedule, fresh.Settings.Tanks[i].Schedule) {
			c.changes = append(c.changes, fmt.Sprintf("tank %q: stages or holidays", name))
		}
		c.changed(fmt.Sprintf("tank %q: gas exchange", name), old.Settings.Tanks[i].GasExchange, fresh.Settings.Tanks[i].GasExchange)
		if !reflect.DeepEqual(old.Settings.Tanks[i].Line, fresh.Settings.Tanks[i].Line) {
			c.changes = append(c.changes, fmt.Sprintf("tank %q: what is watched of oxygen, zones, filter and lamp", name))
		}
		if !slices.Equal(old.Settings.Tanks[i].RunsZones(), fresh.Settings.Tanks[i].RunsZones()) {
			c.refusals = append(c.refusals, fmt.Sprintf("which zones of tank %q leat runs, and their names", name))
			continue
		}
		c.changed(fmt.Sprintf("tank %q: zones", name), old.Settings.Tanks[i].Zones, fresh.Settings.Tanks[i].Zones)
	}
	for i := range min(len(a.Inputs), len(b.Inputs)) {
		c.each(fmt.Sprintf("input %q", a.Inputs[i].Name), a.Inputs[i], b.Inputs[i])
	}
}

// wiredInput is what of an input is fixed for a run.
type wiredInput struct {
	name     string
	tank     dosing.TankID
	quantity dosing.Quantity
	fitted   bool
	pump     dosing.PumpID
	topic    InputTopic
}

func (f *File) wiredInputs() []wiredInput {
	var all []wiredInput
	next := 0
	for i, in := range f.Settings.Safety.Inputs {
		w := wiredInput{name: in.Name, tank: in.Tank, quantity: in.Quantity, fitted: in.NotFitted == "", pump: in.Pump}
		if next < len(f.InputTopics) && f.InputTopics[next].Input == dosing.InputID(i) {
			w.topic = f.InputTopics[next]
			next++
		}
		all = append(all, w)
	}
	return all
}
