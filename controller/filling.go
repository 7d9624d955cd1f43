package controller

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"leat/dosing"
	"leat/dosing/ratio"
	"leat/safety/ledger"
)

// strongerThanSource is how far EC may stand above what the source's analysis makes of
// it while the water is believed to be fresh from the source: what was left in pipes
// and zones, and a year's swing of the source.
const strongerThanSource = 1.35

// ParseWater finds by name which water a person says is in a tank.
func ParseWater(name string) (ratio.Water, bool) { return ratio.ParseWater(name) }

// fillingOf is which water a person says is in a tank, as it is recorded, or why that
// is refused.
func (ac *accounts) fillingOf(now dosing.Instant, r *Request) (filling, refusal string) {
	a := ac.tanks[r.Tank].ions.account
	if a == nil {
		return r.Water.String(), ""
	}
	measured, pH := ac.tanks[r.Tank].measured(now)
	switch r.Water {
	case ratio.WaterNone:
		return "", "say which water is in: source (fresh source water), recipe (solution made by the recipe), analysis (a solution, with its analysis), tank:NAME (another tank's solution), same (nothing was filled in) or unknown"
	case ratio.WaterSource:
		if r.Replaced != 0 {
			if !(r.Replaced > 0 && r.Replaced <= 1) {
				return "", "say how much of the tank was replaced: more than 0 and at most 100 %"
			}
			return fmt.Sprintf("%s: %.4g %%", r.Water, 100*r.Replaced), ""
		}
		if source := a.SourceEC(pH); measured > strongerThanSource*source {
			return "", fmt.Sprintf("the probe reads EC %.2f and the source water's analysis makes %.2f mS/cm: that is not fresh source water; say recipe, analysis or unknown, or see to the probe", measured, source)
		}
	case ratio.WaterAnalysed:
		if _, err := a.Judge(r.Analysis, measured); err != nil {
			return "", err.Error()
		}
		return r.Water.String() + ": " + r.Analysis.List(), ""
	case ratio.WaterTank:
		other := &ac.tanks[r.Other]
		if r.Other == r.Tank {
			return "", fmt.Sprintf("%s is this tank itself: name the tank whose solution was filled in, or say same", other.plant.Name)
		}
		if other.ions.account == nil || !other.ions.account.Begun() {
			return "", fmt.Sprintf("%s has no account of its ions yet: say analysis or unknown", other.plant.Name)
		}
		_, otherPH := other.measured(now)
		sample := other.ions.account.Sample(otherPH)
		if _, err := a.Judge(sample, measured); err != nil {
			return "", fmt.Sprintf("as in %s: %s", other.plant.Name, err)
		}
		return r.Water.String() + ": " + sample.List(), ""
	}
	return r.Water.String(), ""
}

// measured are EC, 0 where it is not known, and pH.
func (t *tank) measured(now dosing.Instant) (ec, pH float64) {
	e := t.loops.Estimate(now, t.target())
	pH = t.ph.present
	if e.PHKnown {
		pH = float64(e.MeasuredPH)
	}
	if e.ECKnown {
		ec = float64(e.MeasuredEC) + e.ECInTransit
	}
	return ec, pH
}

// filled begins the account anew where other water was filled in.
func (ac *accounts) filled(now dosing.Instant, id dosing.TankID, change ledger.Change) {
	t := &ac.tanks[id]
	if t.ions.account == nil || !t.fill(change.Text, change.At, now) {
		return
	}
	if ec, pH := t.measured(now); ec > 0 {
		t.ions.account.Follow(now.Up, ec, pH)
	}
	ac.judge(now, id)
	ac.recordOf(now, id)
}

// fill reads a recorded filling into the account, and reports whether it is other
// water.
func (t *tank) fill(text string, at, now dosing.Instant) bool {
	name, list, _ := strings.Cut(text, ": ")
	water, _ := ratio.ParseWater(name)
	if water == ratio.WaterNone || water == ratio.WaterSame {
		return false
	}
	if part, ok := strings.CutSuffix(list, " %"); ok && water == ratio.WaterSource {
		percent, err := strconv.ParseFloat(part, 64)
		if err != nil || !(percent > 0 && percent <= 100) {
			return false
		}
		t.ions.account.Replace(percent / 100)
	} else {
		t.ions.account.Fill(water)
	}
	// What the level rose by meanwhile was the filling.
	t.ions.came = t.loops.ToppedUp()
	if water == ratio.WaterAnalysed || water == ratio.WaterTank {
		t.analyse(ledger.Analysis{Text: list, Trusted: water == ratio.WaterAnalysed, At: at}, now)
		t.ions.last = list
	}
	return true
}

// record writes the accounts down, so that a restart goes on with them.
func (ac *accounts) record(now dosing.Instant) {
	for i := range ac.tanks {
		// Behind the row of confirmed water it would bring back what that row replaces.
		if ac.wishes.onWay[i][RequestConfirmWater].ticket == 0 {
			ac.recordOf(now, dosing.TankID(i))
		}
	}
}

func (ac *accounts) recordOf(now dosing.Instant, id dosing.TankID) {
	if t := &ac.tanks[id]; t.ions.account != nil && t.ions.account.Begun() && t.ions.view != nil {
		ac.change(ledger.Change{Kind: ledger.ChangeIons, At: now, Tank: t.plant.Name, Text: t.ions.account.Record(), By: "leat"})
	}
}

// restore brings an account back: its last record, the filling that came after
// it, what was dosed since, and an analysis that came after both.
func (ac *accounts) restore(s ledger.State, id dosing.TankID, now dosing.Instant) {
	t := &ac.tanks[id]
	if t.ions.account == nil {
		return
	}
	since := time.Duration(-1 << 62)
	filling, filled := s.Fillings[t.plant.Name]
	if records := s.Ions[t.plant.Name]; len(records) > 0 && t.ions.account.Restore(records[len(records)-1].Text) == nil {
		since = records[len(records)-1].At.Up
		for _, record := range records[:len(records)-1] {
			if !filled || record.At.Up >= filling.At.Up {
				t.ions.account.Mark(record.Text, record.At.Up)
			}
		}
	}
	if filled && filling.At.Up > since && t.fill(filling.Text, filling.At, now) {
		since = filling.At.Up
	}
	if since == -1<<62 {
		return // a weak start knows nothing that doses could be added to
	}
	for _, d := range s.Doses {
		pump, known := ac.pumpNamed(d.Pump)
		if known && d.Outcome != ledger.OutcomeRefused && d.Tank == t.plant.Name && (d.SettledUp > since || d.Outcome == ledger.OutcomeOpen) {
			t.dosedIons(&ac.settings.Safety, pump, d.Volume)
		}
	}
	if a, ok := s.Analyses[t.plant.Name]; ok {
		t.ions.last = a.Text
		if a.At.Up > since {
			t.analyse(a, now)
		}
	}
	if t.ions.account.Solve() {
		t.reshare(&ac.settings.Safety)
	}
}
