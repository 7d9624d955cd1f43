package controller

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/calibration"
	"leat/safety/ledger"
)

// rateAsConfigured is by how much a measured rate may differ from the file's to be the same:
// a cylinder is read to a hundredth, and a tube settles by as much in a week.
const rateAsConfigured = 0.03

// rateSlip is how many times a rate may be off before it is a slip of seconds or mL.
const rateSlip = 4

// askRate notes what a pump gave into a cylinder. What it is ordered by stays as the
// file says: only the file changes how long a dose runs.
func (sk *stocks) askRate(now dosing.Instant, r *Request) {
	if int(r.Pump) >= len(sk.settings.Safety.Pumps) {
		sk.refuse(r, "say which pump was measured")
		return
	}
	rate, err := calibration.ReadRuns(r.Runs)
	if err != nil {
		sk.refuse(r, err.Error())
		return
	}
	pump := &sk.settings.Safety.Pumps[r.Pump]
	configured := pump.PerSecond.Millilitres()
	off := rate.PerSecond/configured - 1
	if ratio := rate.PerSecond / configured; !(ratio < rateSlip && ratio > 1.0/rateSlip) {
		sk.refuse(r, fmt.Sprintf("%s would give %.3g mL/min, and the file says %.3g: look at seconds and mL; a pump of another size is a change of the file", pump.Name, 60*rate.PerSecond, 60*configured))
		return
	}
	sk.counts[r.Pump].rate = ledger.PumpRate{PerSecond: rate.PerSecond, At: now.Wall}
	sk.change(ledger.Change{Kind: ledger.ChangePumpRate, At: now, Pump: pump.Name, Value: rate.PerSecond, Old: configured, Spread: rate.Spread, Text: r.Runs, Note: r.Note, By: r.By, From: r.From})
	text := fmt.Sprintf("%s gives %.3g mL/min, %s %% beside the file's", pump.Name, 60*rate.PerSecond, dosing.Signed(100*off, 1))
	if rate.Runs > 1 {
		text += fmt.Sprintf("; the runs differ by %.1f %%", 100*rate.Spread)
	}
	if math.Abs(off) <= rateAsConfigured {
		sk.accept(r, text+"; that is as configured")
		return
	}
	sk.accept(r, fmt.Sprintf("%s. Until the file says so its doses are off by that: write rate = \"%.3g mL/min\" under [[pump]] name = %q, run leat check, set what it prints at the node, and load the file again", text, 60*rate.PerSecond, pump.Name))
}

// askNewTube notes that a pump, or its tube, was replaced. What the old one did says nothing
// of the new one, so that its first dose is a small one.
func (sk *stocks) askNewTube(now dosing.Instant, r *Request) {
	if int(r.Pump) >= len(sk.settings.Safety.Pumps) {
		sk.refuse(r, "say which pump has a new tube")
		return
	}
	pump, counts := &sk.settings.Safety.Pumps[r.Pump], &sk.counts[r.Pump]
	ran := sk.tubeRan(r.Pump)
	counts.tube = ledger.Tube{Ever: counts.before + sk.totals.Ever(r.Pump), At: now.Wall}
	sk.watch.Refilled(r.Pump)
	sk.change(ledger.Change{Kind: ledger.ChangeTube, At: now, Pump: pump.Name, Value: ran.Hours(), Note: r.Note, By: r.By, From: r.From})
	sk.accept(r, fmt.Sprintf("%s has a new tube, the old one ran %.3g h; its first dose is a small one. Measure its rate: leat calibrate-pump", pump.Name, ran.Hours()))
}

// tubeRan is how long a pump ran with its present tube, by the ledger.
func (sk *stocks) tubeRan(id dosing.PumpID) time.Duration {
	counts := &sk.counts[id]
	return (counts.before + sk.totals.Ever(id) - counts.tube.Ever).RunTime(sk.settings.Safety.Pumps[id].PerSecond)
}
