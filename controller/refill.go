package controller

import (
	"fmt"

	"leat/dosing"
	"leat/safety/ledger"
)

// Bounds of what a container may be said to hold: a slip of litres and millilitres is
// refused. One whose size is stated may be filled a little above its mark.
const (
	containerMost  = 2000 * dosing.Litre
	containerAbove = 1.1
)

// askRefill notes what a container holds after it was filled. What the old liquid did is
// no evidence of the new one; what was learned of the tanks stands.
func (sk *stocks) askRefill(now dosing.Instant, r *Request) {
	if int(r.Pump) >= len(sk.settings.Safety.Pumps) || r.Volume <= 0 {
		sk.refuse(r, "say which pump's container was filled, and how many litres it holds now")
		return
	}
	pump := &sk.settings.Safety.Pumps[r.Pump]
	most := containerMost
	if pump.Container > 0 {
		most = dosing.FromMillilitres(pump.Container.Millilitres() * containerAbove)
	}
	if r.Volume > most {
		sk.refuse(r, fmt.Sprintf("%s is more than the container of %s holds, %s; look at the number and its unit, litres", volumeText(r.Volume), pump.Name, volumeText(most)))
		return
	}
	counts := &sk.counts[r.Pump]
	counts.refill = ledger.Refill{Volume: r.Volume, Ever: counts.before + sk.totals.Ever(r.Pump), At: now.Wall, Batch: r.Batch}
	sk.watch.Refilled(r.Pump)
	sk.change(ledger.Change{Kind: ledger.ChangeRefill, At: now, Pump: pump.Name, Volume: r.Volume, Text: r.Batch, Note: r.Note, By: r.By, From: r.From})
	sk.accept(r, fmt.Sprintf("%s · %s holds %s from now on; how it works is judged anew", pump.Name, pump.Liquid(), volumeText(r.Volume)))
}

// left is what a container holds by the ledger and the newest refill: what was added by
// hand came from wherever a person took it. Negative = no refill was entered.
func (sk *stocks) left(id dosing.PumpID) dosing.Volume {
	counts := &sk.counts[id]
	if counts.refill.At.IsZero() {
		return -1
	}
	return max(counts.refill.Volume-(counts.before+sk.totals.Ever(id)-counts.refill.Ever), 0)
}

// askMark writes down what a person wants to find again at this time.
func (c *Core) askMark(now dosing.Instant, r *Request) {
	if r.Note == "" {
		c.refuse(r, "say in the note what is to be marked")
		return
	}
	c.change(ledger.Change{Kind: ledger.ChangeMark, At: now, Tank: c.tankName(r.Tank), Note: r.Note, By: r.By, From: r.From})
	c.accept(r, "marked: "+r.Note)
}
