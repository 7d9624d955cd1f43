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

// dosed is when a tank was dosed, and which of its doses nobody knows the fate of.
type dosed struct {
	lastRole  [dosing.RoleCount]when
	lastGroup [dosing.GroupCount]when
	lastDose  when
	uncertain []uncertainDose
	thirds    thrice // uncertain doses
}

// book takes what becomes of each dose.
type book struct {
	*state
	accounts *accounts
	senses   *senses
}

// Opened takes a dose whose intent has been made. From here on it counts in full
// and is wholly in transit, until it is closed.
func (bk *book) Opened(d dosing.Dose) {
	if !bk.counts(d) {
		return
	}
	bk.told = true
	bk.totals.Count(d)
	bk.given(d, d.Up)
	bk.pumps[d.Pump].use.add(d.Volume)
	bk.tanks[d.Tank].expect(d.Volume, &bk.settings.Pumps[d.Pump])
	bk.accounts.enter(d)
	if !d.Open {
		return
	}
	bk.open = append(bk.open, d)
	bk.tanks[d.Tank].outlet.ordered = d.Up
	bk.tanks[d.Tank].valve(bk.settings, d.Pump, true, d.Volume, d.Up)
	bk.senses.loaded(d.Tank, true, d.Up)
	if r := bk.tanks[d.Tank].responses; r != nil {
		r.Dosed(d)
	}
}

// ByHand takes what a person poured in. It counts like a dose that is closed, but only
// against doses: it raises no cap as use of the pump does.
func (bk *book) ByHand(d dosing.Dose) {
	d.Open, d.Hand = false, true
	if !bk.counts(d) {
		return
	}
	bk.told = true
	bk.totals.Count(d)
	bk.given(d, d.Up)
	bk.pumps[d.Pump].use.spend(d.Volume)
	bk.accounts.enter(d)
	t := &bk.tanks[d.Tank]
	t.unexplained.until = max(t.unexplained.until, d.Up+t.plant.MixingTime())
	if r := bk.tanks[d.Tank].responses; r != nil {
		r.Dosed(d)
	}
}

// Voided gives back the hour and the day that an entry by hand counted in. What it has
// on its way and the waits that follow it stay: nobody knows by a word what is in the
// water.
func (bk *book) Voided(pump dosing.PumpID, key uint64) {
	if int(pump) < len(bk.pumps) {
		bk.told = true
		bk.totals.Void(pump, key)
	}
}

func (bk *book) counts(d dosing.Dose) bool {
	return int(d.Tank) < len(bk.tanks) && int(d.Pump) < len(bk.pumps) && d.Volume > 0 &&
		int(bk.pumps[d.Pump].node) < len(bk.nodes)
}

// given notes when a reagent went into a tank, for the waits that follow it.
func (bk *book) given(d dosing.Dose, up time.Duration) {
	t := &bk.tanks[d.Tank]
	pump := &bk.settings.Pumps[d.Pump]
	if t.lastDose.set(up); pump.Role == dosing.RoleWater {
		return // it is no concentrate that others must keep away from
	}
	if opposite, ok := pump.Role.Opposite(); ok {
		if o, own := t.lastRole[opposite], t.lastRole[pump.Role]; o.ever && o.up < up && !(own.ever && own.up >= o.up) {
			t.turns.turn(up)
		}
	}
	t.lastRole[min(pump.Role, dosing.RoleCount-1)].set(up)
	t.lastGroup[min(pump.Group, dosing.GroupCount-1)].set(up)
}

// Doubted says that no word came of the open dose of this pump, or its node
// restarted: it stays open and counts in full, and the tank waits for it.
func (bk *book) Doubted(now dosing.Instant, id dosing.TankID, pump dosing.PumpID) {
	bk.told = true
	for _, d := range bk.open {
		if d.Tank == id && d.Pump == pump {
			bk.doubt(now, d)
		}
	}
}

func (bk *book) doubt(now dosing.Instant, d dosing.Dose) {
	t := &bk.tanks[d.Tank]
	for _, u := range t.uncertain {
		if u.key == d.Key && u.pump == d.Pump {
			return
		}
	}
	t.uncertain = append(t.uncertain, uncertainDose{key: d.Key, pump: d.Pump, since: now.Up, volume: d.Volume})
	if t.thirds.add(now.Up) {
		bk.latch(now, &t.cells, CauseDoseUncertain, d.Tank, 0, "the third uncertain dose in 24 h")
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
func (bk *book) Closed(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, key uint64, fate Fate, volume dosing.Volume) {
	if int(id) >= len(bk.tanks) || int(pump) >= len(bk.pumps) {
		return
	}
	t := &bk.tanks[id]
	d, found := bk.remove(id, pump, key)
	if !found {
		return
	}
	bk.told = true
	t.valve(bk.settings, pump, false, max(volume, 0), now.Up)
	bk.senses.loaded(id, false, now.Up)
	n := &bk.nodes[bk.pumps[pump].node]
	if more := volume - d.Volume; more > 0 {
		t.expect(more, &bk.settings.Pumps[pump])
	}
	if fate == FateUnknown {
		t.endOrder(bk.state, now.Up)
		n.expect(now.Up + bk.longestRun(bk.pumps[pump].node) + nodeOfflineAfter)
		bk.doubt(now, d)
		bk.giveUp(now, t, d, max(volume, d.Volume))
		return
	}
	volume = max(volume, 0)
	if fate == FateRefused {
		volume = max(volume, d.Volume)
	}
	n.closed.set(now.Up)
	n.expect(now.Up + nodeOfflineAfter)
	bk.totals.Settle(pump, key, volume, now.Up)
	bk.accounts.correct(id, pump, d.Volume, volume)
	bk.pumps[pump].use.add(volume - d.Volume)
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
		bk.given(d, now.Up)
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
func (bk *book) Raised(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, key uint64, volume, before dosing.Volume) {
	if int(id) >= len(bk.tanks) || int(pump) >= len(bk.pumps) || volume <= before {
		return
	}
	bk.told = true
	bk.tanks[id].expect(volume-before, &bk.settings.Pumps[pump])
	bk.totals.Settle(pump, key, volume, now.Up)
	bk.pumps[pump].use.add(volume - before)
	a := &bk.tanks[id].unexplained // what was delivered late explains what it moves
	a.until = max(a.until, now.Up+bk.tanks[id].plant.MixingTime())
	if class, more, ok := bk.accounts.amount(&bk.tanks[id], &bk.settings.Pumps[pump], volume-before); ok {
		bk.tanks[id].accounts[class].give(&bk.tanks[id], more, now.Up)
	}
}

// Spent counts a volume against a pump's caps that nobody can say more of.
func (bk *book) Spent(now dosing.Instant, pump dosing.PumpID, volume dosing.Volume) {
	if int(pump) < len(bk.pumps) && volume > 0 {
		bk.told = true
		bk.totals.Spend(pump, volume, now.Up)
	}
}

// Contradicted says that the node of a pump contradicted itself, the order or its
// heartbeat: nothing more of that pump until a person has looked.
func (bk *book) Contradicted(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, how string) {
	bk.stopPump(now, CauseReportContradicts, id, pump, how)
}

// RefusedForGood says that the node of a pump refuses what no repeat can cure.
func (bk *book) RefusedForGood(now dosing.Instant, id dosing.TankID, pump dosing.PumpID, words string) {
	bk.stopPump(now, CauseNodeRefuses, id, pump, words)
}

func (bk *book) stopPump(now dosing.Instant, cause Cause, id dosing.TankID, pump dosing.PumpID, detail string) {
	if int(id) < len(bk.tanks) && int(pump) < len(bk.pumps) {
		bk.told = true
		bk.latch(now, &bk.pumps[pump].cells, cause, id, pump, detail)
	}
}

// giveUp settles an uncertain dose at volume. Its release law runs from the first
// doubt: by then it had been delivered or never will be.
func (bk *book) giveUp(now dosing.Instant, t *tankState, d dosing.Dose, volume dosing.Volume) {
	for i := range t.uncertain {
		if u := &t.uncertain[i]; u.key == d.Key && u.pump == d.Pump {
			u.closed = true
			bk.totals.SettleDoubted(d.Pump, d.Key, volume, u.since, now.Up)
			return
		}
	}
}

// remove takes a dose out of the open ones.
func (bk *book) remove(id dosing.TankID, pump dosing.PumpID, key uint64) (dosing.Dose, bool) {
	for i, d := range bk.open {
		if d.Tank == id && d.Pump == pump && d.Key == key {
			bk.open = append(bk.open[:i], bk.open[i+1:]...)
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
