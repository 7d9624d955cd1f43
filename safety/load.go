package safety

import (
	"math"
	"time"

	"leat/dosing"
)

// A probe whose reading moves whenever a pump runs measures the pump: a ground loop. No
// dose reaches a probe within the dead time, so whatever moves until then is the
// motor's. Such a probe is right while they stand, so its readings are left out while
// one runs and a person is told: a hold until somebody comes would cost more than it
// saves.
const (
	loadStep    = 0.12 // pH: less is what earlier doses do in the seconds of a run
	loadCount   = 6    // readings while pumps ran, before it is believed,
	loadRuns    = 3    // and of so many runs: one may have met water that moved by itself
	loadForgets = 12   // readings
)

// load follows how far a pH probe stands off while a pump of its tank runs.
type load struct {
	on    bool
	base  float64       // smoothed, before the pump started
	until time.Duration // the dead time's end
	count int
	runs  int
	mean  float64 // pH
	bad   bool    // until a person enters the service
}

// starts notes that a pump is about to run.
func (l *load) starts(up, deadTime time.Duration, base float64, based bool) {
	l.on, l.base, l.until = based, base, up+deadTime
	l.runs = min(l.runs+1, loadRuns)
}

// read takes a reading that may dose.
func (l *load) read(value float64, at time.Duration) {
	if !l.on || at >= l.until {
		return
	}
	l.count = min(l.count+1, loadForgets)
	l.mean += (value - l.base - l.mean) / float64(l.count)
	l.bad = l.bad || l.count >= loadCount && l.runs >= loadRuns && !(math.Abs(l.mean) <= loadStep)
}

// loaded tells the pH probes of a tank that one of its pumps starts or stands again.
func (sn *senses) loaded(id dosing.TankID, on bool, up time.Duration) {
	t := &sn.tanks[id]
	for _, input := range t.inputs[dosing.QuantityPH] {
		i := &sn.inputs[input]
		if i.load.on = false; on {
			i.load.starts(up, t.plant.DeadTime, i.smooth, i.based)
		}
	}
}

// Loaded is the pH probe of a tank that stands in a ground loop; "" when none does.
func (sn *senses) Loaded(id dosing.TankID) string {
	if int(id) < len(sn.tanks) {
		for _, input := range sn.tanks[id].inputs[dosing.QuantityPH] {
			if sn.inputs[input].load.bad {
				return sn.settings.Inputs[input].Name
			}
		}
	}
	return ""
}
