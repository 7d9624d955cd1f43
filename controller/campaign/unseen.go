package campaign

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
)

// Invariant 40: reagent that no reading has shown is bounded. While what a probe shows stands
// still it shows nothing, whatever the gate makes of its readings. Doses that such a stretch
// begins with may belong to a movement before it, so one more limit is allowed for; and
// doses at the limit that test the probe come twice before a person is called, once more for
// each time that one clears that.
const (
	standsPH   = 0.01  // pH within which what the probe shows stands still
	standsEC   = 0.006 // mS/cm
	unseenMost = 2     // limits in one stretch
	testShare  = 1.0 / 6
	testsMost  = 2
)

// still is a stretch in which what a probe shows of one quantity has stood still.
type still struct {
	low, high float64
	since     time.Duration
	toppedUp  float64 // litres at its start
}

func (s *still) follow(at time.Duration, shown, toppedUp, within float64) {
	s.low, s.high = min(s.low, shown), max(s.high, shown)
	if s.since == 0 || s.high-s.low > within {
		*s = still{low: shown, high: shown, since: at, toppedUp: toppedUp}
	}
}

func unseen(w *trail) {
	for id := range w.Settings.Safety.Tanks {
		tank := dosing.TankID(id)
		var ph, ec still
		next := 0
		for i := range w.Samples {
			s := &w.Samples[i]
			if s.Tank != tank {
				continue
			}
			for ; next < len(w.doses) && w.doses[next].order.At <= s.At; next++ {
				if o := w.doses[next].order; o.Tank != tank {
					continue
				} else if w.doses[next].pump.Role == dosing.RoleStock {
					unseenBy(w, next, &ec)
				} else {
					unseenBy(w, next, &ph)
				}
			}
			ph.follow(s.At, s.ShownPH, s.ToppedUp, standsPH)
			ec.follow(s.At, s.ShownEC, s.ToppedUp, standsEC)
		}
	}
}

// unseenBy judges a dose by all of its kind since what the probe shows stands still.
func unseenBy(w *trail, i int, s *still) {
	o, role, plant := w.doses[i].order, w.doses[i].pump.Role, w.tank(w.doses[i].order.Tank)
	if s.since == 0 {
		return
	}
	sum := 0.0
	for k := i; k >= 0 && w.doses[k].order.At >= s.since; k-- {
		d := &w.doses[k]
		if d.order.Tank != o.Tank || d.pump.Role != role {
			continue
		}
		perML := math.Abs(d.pump.AcidPerML)
		if role == dosing.RoleStock {
			perML = d.pump.ECPerML
		}
		volume, _, _ := d.counted(o.At, plant)
		sum += volume.Millilitres() * perML / float64(plant.Volume)
	}
	most := o.UnseenMost * (unseenMost + testsMost*testShare)
	if role == dosing.RoleAcid {
		litres := o.ToppedUp - s.toppedUp + 0.01*float64(plant.Volume)
		most += min(litres*max(plant.TopUp.Alkalinity, 0)/float64(plant.Volume), o.UnseenMost)
	}
	for _, t := range w.Trips {
		if !t.Active && t.Cause == safety.CauseNoResponse && t.Tank == o.Tank && t.At >= s.since && t.At <= o.At {
			most += testsMost * testShare * o.UnseenMost
		}
	}
	smallest := 2 * w.doses[i].pump.MinDose.Millilitres() * math.Abs(w.doses[i].pump.AcidPerML) / float64(plant.Volume)
	if sum > (most+smallest)*(1+roundingSlack) {
		w.violate(o.At, "%s worth %.4f has gone in since %v, in which its probe has shown nothing; at most %.4f", role, sum, (s.since - w.Begins).Round(time.Second), most)
	}
}
