package safety

import (
	"time"

	"leat/dosing"
)

// uncertainDose is a dose whose fate nobody knows. It counts in full and its tank
// waits; key 0 stands for a dose that was given up without a doubt told before.
type uncertainDose struct {
	key    uint64
	pump   dosing.PumpID
	since  time.Duration
	volume dosing.Volume
	closed bool // settled in full
}

// Opened takes a dose whose intent has been made. From here on it counts in full
// and is wholly in transit, until it is closed.
func (w *Watch) Opened(d dosing.Dose) {
	if !w.counts(d) {
		return
	}
	w.told = true
	w.totals.Count(d)
	w.given(d, d.Up)
	w.pumps[d.Pump].use.add(d.Volume)
	w.tanks[d.Tank].expect(d.Volume, &w.settings.Pumps[d.Pump])
	w.enter(d)
	if !d.Open {
		return
	}
	w.open = append(w.open, d)
	w.tanks[d.Tank].outlet.ordered = d.Up
	w.loaded(d.Tank, true, d.Up)
	if r := w.tanks[d.Tank].responses; r != nil {
		r.Dosed(d)
	}
}

// ByHand takes what a person poured in. It counts like a dose that is closed, but only
// against doses: it raises no cap as use of the pump does.
func (w *Watch) ByHand(d dosing.Dose) {
	d.Open, d.Hand = false, true
	if !w.counts(d) {
		return
	}
	w.told = true
	w.totals.Count(d)
	w.given(d, d.Up)
	w.pumps[d.Pump].use.spend(d.Volume)
	w.enter(d)
	t := &w.tanks[d.Tank]
	t.unexplained.until = max(t.unexplained.until, d.Up+t.plant.MixingTime())
	if r := w.tanks[d.Tank].responses; r != nil {
		r.Dosed(d)
	}
}

// Voided gives back the hour and the day that an entry by hand counted in. What it has
// on its way and the waits that follow it stay: nobody knows by a word what is in the
// water.
func (w *Watch) Voided(pump dosing.PumpID, key uint64) {
	if int(pump) < len(w.pumps) {
		w.told = true
		w.totals.Void(pump, key)
	}
}

func (w *Watch) counts(d dosing.Dose) bool {
	return int(d.Tank) < len(w.tanks) && int(d.Pump) < len(w.pumps) && d.Volume > 0 &&
		int(w.pumps[d.Pump].node) < len(w.nodes)
}

// given notes when a reagent went into a tank, for the waits that follow it.
func (w *Watch) given(d dosing.Dose, up time.Duration) {
	t := &w.tanks[d.Tank]
	pump := &w.settings.Pumps[d.Pump]
	if opposite, ok := pump.Role.Opposite(); ok {
		if o, own := t.lastRole[opposite], t.lastRole[pump.Role]; o.ever && o.up < up && !(own.ever && own.up >= o.up) {
			t.turns.turn(up)
		}
	}
	t.lastRole[min(pump.Role, dosing.RoleCount-1)].set(up)
	t.lastGroup[min(pump.Group, dosing.GroupCount-1)].set(up)
	t.lastDose.set(up)
}

// seed looks through the doses of earlier runs that the totals were given at the
// start, so that waits and shares hold across a restart.
func (w *Watch) seed(now dosing.Instant) {
	w.seeded = true
	for i := range w.tanks {
		w.totals.EachInTransit(w.tanks[i].id, now.Up, 25*time.Hour, 0, func(d *dosing.Dose, _ float64) {
			if int(d.Pump) < len(w.pumps) {
				w.given(*d, d.Up)
			}
		})
	}
}

// Doubted says that no word came of the open dose of this pump, or its node
// restarted: it stays open and counts in full, and the tank waits for it.
func (w *Watch) Doubted(now dosing.Instant, id dosing.TankID, pump dosing.PumpID) {
	w.told = true
	for _, d := range w.open {
		if d.Tank == id && d.Pump == pump {
			w.doubt(now, d)
		}
	}
}

func (w *Watch) doubt(now dosing.Instant, d dosing.Dose) {
	t := &w.tanks[d.Tank]
	for _, u := range t.uncertain {
		if u.key == d.Key && u.pump == d.Pump {
			return
		}
	}
	t.uncertain = append(t.uncertain, uncertainDose{key: d.Key, pump: d.Pump, since: now.Up, volume: d.Volume})
	if t.thirds.add(now.Up) {
		w.latch(now, &t.cells, CauseDoseUncertain, d.Tank, 0, "the third uncertain dose in 24 h")
	}
}

// Fate is what is known of a dose that is settled. The zero fate is that nobody knows.
type Fate uint8

// The fates.
const (
	FateUnknown Fate = iota
	FateKnown        // delivered as counted, or withdrawn
	FateRefused      // refused for good: it counts, but the water has nothing to answer
)

// Closed settles a dose. One whose fate is known counts with its volume, nothing if
// it was withdrawn; any other counts in full, and where nobody knows its tank waits
// one mixing time from the first doubt and for a good reading.
func (w *Watch) Closed(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, key uint64, fate Fate, volume dosing.Volume) {
	if int(id) >= len(w.tanks) || int(pump) >= len(w.pumps) {
		return
	}
	t := &w.tanks[id]
	d, found := w.remove(id, pump, key)
	if !found {
		return
	}
	w.told = true
	w.loaded(id, false, now.Up)
	n := &w.nodes[w.pumps[pump].node]
	if more := volume - d.Volume; more > 0 {
		t.expect(more, &w.settings.Pumps[pump])
	}
	if fate == FateUnknown {
		t.endOrder(w, now.Up)
		n.expect(now.Up + w.longestRun(w.pumps[pump].node) + nodeOfflineAfter)
		w.doubt(now, d)
		w.giveUp(now, t, d, max(volume, d.Volume))
		return
	}
	volume = max(volume, 0)
	if fate == FateRefused {
		volume = max(volume, d.Volume)
	}
	n.closed.set(now.Up)
	n.expect(now.Up + nodeOfflineAfter)
	w.totals.Settle(pump, key, volume, now.Up)
	w.correct(id, pump, d.Volume, volume)
	w.pumps[pump].use.add(volume - d.Volume)
	for i, u := range t.uncertain {
		if u.key == key && u.pump == pump {
			t.uncertain = append(t.uncertain[:i], t.uncertain[i+1:]...)
			if !t.latched.has(CauseDoseUncertain) {
				t.thirds.drop()
			}
			break
		}
	}
	if volume > 0 {
		w.given(d, now.Up)
	}
	if t.responses != nil {
		d.Open, d.Volume, d.Up = false, volume, now.Up
		if fate == FateRefused {
			d.Volume = 0
		}
		t.responses.Dosed(d)
	}
}

// Raised counts more of a dose that was settled before.
func (w *Watch) Raised(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, key uint64, volume, before dosing.Volume) {
	if int(id) >= len(w.tanks) || int(pump) >= len(w.pumps) || volume <= before {
		return
	}
	w.told = true
	w.tanks[id].expect(volume-before, &w.settings.Pumps[pump])
	w.totals.Settle(pump, key, volume, now.Up)
	w.pumps[pump].use.add(volume - before)
	a := &w.tanks[id].unexplained // what was delivered late explains what it moves
	a.until = max(a.until, now.Up+w.tanks[id].plant.MixingTime())
	if class, more, ok := w.amount(&w.tanks[id], &w.settings.Pumps[pump], volume-before); ok {
		w.tanks[id].accounts[class].give(&w.tanks[id], more, now.Up)
	}
}

// Spent counts a volume against a pump's caps that nobody can say more of.
func (w *Watch) Spent(now dosing.Instant, pump dosing.PumpID, volume dosing.Volume) {
	if int(pump) < len(w.pumps) && volume > 0 {
		w.told = true
		w.totals.Spend(pump, volume, now.Up)
	}
}

// Contradicted says that the node of a pump contradicted itself, the order or its
// heartbeat: nothing more of that pump until a person has looked.
func (w *Watch) Contradicted(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, how string) {
	w.stopPump(now, CauseReportContradicts, id, pump, how)
}

// RefusedForGood says that the node of a pump refuses what no repeat can cure.
func (w *Watch) RefusedForGood(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, words string) {
	w.stopPump(now, CauseNodeRefuses, id, pump, words)
}

func (w *Watch) stopPump(now dosing.Instant, cause Cause, id dosing.TankID, pump dosing.PumpID, detail string) {
	if int(id) < len(w.tanks) && int(pump) < len(w.pumps) {
		w.told = true
		w.latch(now, &w.pumps[pump].cells, cause, id, pump, detail)
	}
}

// giveUp settles an uncertain dose at volume. Its release law runs from the first
// doubt: by then it had been delivered or never will be.
func (w *Watch) giveUp(now dosing.Instant, t *tankState, d dosing.Dose, volume dosing.Volume) {
	for i := range t.uncertain {
		if u := &t.uncertain[i]; u.key == d.Key && u.pump == d.Pump {
			u.closed = true
			w.totals.SettleDoubted(d.Pump, d.Key, volume, u.since, now.Up)
			return
		}
	}
}

// remove takes a dose out of the open ones.
func (w *Watch) remove(id dosing.TankID, pump dosing.PumpID, key uint64) (dosing.Dose, bool) {
	for i, d := range w.open {
		if d.Tank == id && d.Pump == pump && d.Key == key {
			w.open = append(w.open[:i], w.open[i+1:]...)
			return d, true
		}
	}
	return dosing.Dose{}, false
}

// resolve ends the doubt over doses that were settled in full, once one mixing
// time has passed since the doubt and the readings are good.
func (t *tankState) resolve(up time.Duration) {
	fit := t.group[dosing.QuantityPH].standing == standFit
	kept := t.uncertain[:0]
	for _, u := range t.uncertain {
		if u.closed && fit && up-u.since >= t.plant.MixingTime() {
			continue
		}
		kept = append(kept, u)
	}
	t.uncertain = kept
}
