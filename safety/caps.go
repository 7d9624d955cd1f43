package safety

import (
	"time"

	"leat/dosing"
)

const (
	usePeriod   = 7 * 24 * time.Hour // over which a pump's recent use is meant
	useLeast    = 3 * 24 * time.Hour // of record before it limits anything
	hourTimes   = 4                  // times the mean hour
	dayTimes    = 3                  // times the mean day
	demandTimes = 2                  // never below this times the predicted demand
)

// use is how much a pump dosed lately, what it is expected to need, and the budget
// of a fill that a person approved.
type use struct {
	span   time.Duration
	volume dosing.Volume
	at     time.Duration
	begun  bool
	drawn  dosing.Volume // all that was ever counted

	demandHour, demandDay dosing.Volume // predicted; 0 = unknown

	budget      dosing.Volume
	budgetUntil time.Duration
}

func (u *use) add(volume dosing.Volume) {
	u.volume += volume
	u.drawn += volume
	u.spend(volume)
}

// spend takes from the budget of a fill.
func (u *use) spend(volume dosing.Volume) { u.budget = max(u.budget-volume, 0) }

// pass lets time pass. What is older than the period fades a day at a time.
func (u *use) pass(up time.Duration) {
	if u.begun && up > u.at {
		u.span += up - u.at
	}
	if !u.begun || up > u.at {
		u.at, u.begun = up, true
	}
	for u.span >= usePeriod+24*time.Hour {
		u.volume -= u.volume * dosing.Volume(24*time.Hour/time.Minute) / dosing.Volume(u.span/time.Minute)
		u.span -= 24 * time.Hour
	}
	if up >= u.budgetUntil {
		u.budget = 0
	}
}

// limit narrows an absolute cap to a multiple of recent use. It gives way where
// nobody can say what is usual: before three days of record, without a predicted
// demand (a pump that was never needed would otherwise stay at nothing for ever),
// and while a fill that a person approved has budget left. It never falls below the
// smallest dose: a stock that was hardly used could else give nothing for ever, and the
// blend would wait for it.
func (u *use) limit(absolute dosing.Volume, times int64, window time.Duration, demand, smallest dosing.Volume) dosing.Volume {
	if u.span < useLeast || demand <= 0 || u.budget > 0 {
		return absolute
	}
	mean := float64(u.volume) / float64(u.span) * float64(window)
	multiple := dosing.FromMillilitres(float64(float64(times)*mean) / float64(dosing.Millilitre))
	return min(absolute, max(multiple, demandTimes*demand, smallest))
}

// budgets keeps what each pump may give in an hour and a day.
type budgets struct{ *state }

// Used tells what the ledger holds of a pump before this run: how much it dosed in
// how long, at most some weeks.
func (bu *budgets) Used(p dosing.PumpID, span time.Duration, volume dosing.Volume) {
	bu.told = true
	if int(p) < len(bu.pumps) && span > 0 && volume >= 0 {
		bu.pumps[p].use.span += span
		bu.pumps[p].use.volume += volume
	}
}

// Demand tells what a pump is predicted to need in an hour and a day. It only ever
// widens a multiple of recent use, never an absolute cap.
func (bu *budgets) Demand(p dosing.PumpID, perHour, perDay dosing.Volume) {
	bu.told = true
	if int(p) < len(bu.pumps) {
		bu.pumps[p].use.demandHour, bu.pumps[p].use.demandDay = max(perHour, 0), max(perDay, 0)
	}
}

// Fill tells that a person approved a fill with this budget for the pump, until
// an uptime. The absolute caps stand.
func (bu *budgets) Fill(p dosing.PumpID, budget dosing.Volume, until time.Duration) {
	bu.told = true
	if int(p) < len(bu.pumps) {
		bu.pumps[p].use.budget, bu.pumps[p].use.budgetUntil = max(budget, 0), until
	}
}

// HourlyCap is what the pump may dose in any rolling hour, now.
func (bu *budgets) HourlyCap(p dosing.PumpID) dosing.Volume {
	if int(p) >= len(bu.pumps) {
		return 0
	}
	u := &bu.pumps[p].use
	return u.limit(bu.pumps[p].caps.PerHour, hourTimes, time.Hour, u.demandHour, bu.settings.Pumps[p].MinDose)
}

// DailyCap is what the pump may dose in any rolling 24 h, now.
func (bu *budgets) DailyCap(p dosing.PumpID) dosing.Volume {
	if int(p) >= len(bu.pumps) {
		return 0
	}
	u := &bu.pumps[p].use
	return u.limit(bu.pumps[p].caps.PerDay, dayTimes, 24*time.Hour, u.demandDay, bu.settings.Pumps[p].MinDose)
}

// cap is a pump's absolute caps: halved by the hour and day where a leak or stop
// input is waived in a tank it serves, and all of them for a node that neither
// reports nor obeys the lease.
func (bu *budgets) cap(p dosing.PumpID) Caps {
	s := bu.settings
	if int(p) >= len(s.Caps) {
		return Caps{}
	}
	c := s.Caps[p]
	for i := range s.Tanks {
		waived := &bu.tanks[i].waived
		halved := s.Tanks[i].HalvedCaps || waived[dosing.QuantityLeak] || waived[dosing.QuantityStop]
		if halved && s.Pumps[p].ServesTank(dosing.TankID(i)) {
			c.PerHour /= 2
			c.PerDay /= 2
			break
		}
	}
	if n := bu.pumps[p].node; int(n) >= len(bu.nodes) || !bu.nodes[n].full {
		c.PerDose /= 2
		c.PerHour /= 2
		c.PerDay /= 2
	}
	return c
}
