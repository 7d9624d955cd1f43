package safety

import (
	"time"

	"leat/dosing"
)

// state is what the watch keeps of a station. Every part of the watch sees it.
type state struct {
	settings *Settings
	totals   *dosing.Totals
	last     time.Duration // uptime of the last evaluation
	told     bool          // something that any row may read, since then
	heard    time.Duration // when anything last arrived

	inputs  []inputState
	tanks   []tankState
	pumps   []pumpState
	nodes   []nodeState
	open    []dosing.Dose // doses that are neither settled nor given up
	latches []Trip        // since the last NewLatches
}

// tankState is what the watch keeps of one tank: a part for each thing that is told of it.
type tankState struct {
	id     dosing.TankID
	plant  *Tank
	curve  dosing.Titration
	unsafe string // why its settings are not safe; empty = safe

	entered  // by people
	learned  // by the loops and by titrations
	sensed   // by its inputs
	unproved // of what doses did
	flows    // of its water
	dosed    // when, and what is uncertain

	cells
	trips []Trip
}

// pumpState is what the watch keeps of one pump.
type pumpState struct {
	unsafe    string
	node      NodeID
	stocks    []dosing.InputID // level of its container
	drain     drain
	drainRead time.Duration // when that level was last read
	use       use
	caps      Caps // absolute, as the settings and the node's class have it
	cells
}

// when is a moment that may never have been.
type when struct {
	up   time.Duration
	ever bool
}

func (w *when) set(up time.Duration) {
	if !w.ever || up > w.up {
		w.up, w.ever = up, true
	}
}

// within says that it was less than wait ago.
func (w when) within(wait, up time.Duration) bool { return w.ever && up-w.up < wait }

// persists says that a condition which rests on a quantity of a tank is no single
// sample's: every input of it that is heard has spoken so often since it began.
func (st *state) persists(c *dosing.Timer, t *tankState, q dosing.Quantity, on bool, up time.Duration) bool {
	newest := time.Duration(0)
	for _, id := range t.inputs[q] {
		newest = max(newest, st.inputs[id].arrived[lastsCount-1])
	}
	if !on || !c.Running {
		*c = dosing.Timer{Since: newest, Running: on}
	}
	for _, id := range t.inputs[q] {
		if i := &st.inputs[id]; i.arrived[0] < c.Since && up-i.arrived[lastsCount-1] <= i.limit {
			return false
		}
	}
	return on && up-c.Since >= lastsFor
}

// Trips are the active and latched trips of a tank, most severe first. The slice
// is the watch's own and holds until the next Evaluate.
func (st *state) Trips(id dosing.TankID) []Trip {
	if int(id) >= len(st.tanks) {
		return nil
	}
	return st.tanks[id].trips
}

// Blocks is the most severe trip that stops this pump from dosing into this tank,
// a dose under way included. Caps are left out: they limit the next dose and must
// not cut short the one that filled them.
func (st *state) Blocks(id dosing.TankID, p dosing.PumpID) (Trip, bool) {
	if int(id) >= len(st.tanks) || int(p) >= len(st.pumps) {
		return Trip{Cause: CauseConfigurationUnsafe, Detail: "no such tank or pump"}, true
	}
	role := st.settings.Pumps[p].Role
	for i := range st.tanks[id].trips {
		trip := &st.tanks[id].trips[i]
		if trip.Cause != CauseHourlyCap && trip.Cause != CauseDailyCap && trip.stops(p, role) {
			return *trip, true
		}
	}
	return Trip{}, false
}

// Volume is the volume of water in circulation: the level while it is known and moves
// with the water, else the least volume at which anything is dosed, since there a dose
// does most.
func (st *state) Volume(id dosing.TankID) dosing.Litres {
	if int(id) >= len(st.tanks) {
		return 0
	}
	t := &st.tanks[id]
	level := &t.group[dosing.QuantityLevel]
	if level.standing != standFit || t.water.gauge.still > 0 {
		return min(t.plant.MinVolume, t.plant.Volume)
	}
	return min(dosing.Litres(level.value), t.plant.MaxVolume)
}
