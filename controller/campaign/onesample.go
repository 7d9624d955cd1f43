package campaign

import (
	"slices"
	"time"

	"leat/dosing"
	"leat/safety"
)

const wildSample = "wild-sample"

// A wild sample is to blame for what latches so soon after it, and for what it made
// stand and is still there so much later.
const (
	wildLatches = 2 * time.Minute
	wildPasses  = 20 * time.Minute
)

// sampled are the causes that rest on readings of single inputs.
var sampled = []safety.Cause{safety.CauseStopInput, safety.CauseSolutionUnconfirmed, safety.CausePHMissing, safety.CausePHStale, safety.CausePHInvalid,
	safety.CauseECMissing, safety.CauseECStale, safety.CauseECInvalid, safety.CauseTemperatureInvalid, safety.CauseTemperatureRange,
	safety.CauseSampleFlowOff, safety.CauseCirculationOff, safety.CauseLevelUnknown, safety.CauseLevelLow, safety.CauseLevelHigh,
	safety.CauseLeak, safety.CauseFlood, safety.CauseOutletUnproved, safety.CauseContainerEmpty, safety.CauseUnexplainedChange}

// oneSample: what one sample of any input says latches nothing, and what it held is free
// again soon. Judged in nights with no other fault, which might do the same.
func oneSample(w *trail) {
	for i := range w.Faults {
		if w.Faults[i].Fault != wildSample {
			return
		}
	}
	for _, s := range w.Wild {
		in := &w.Settings.Safety.Inputs[s.Input]
		for _, l := range w.Latches {
			if l.At >= s.At && l.At-s.At <= wildLatches && (in.Tank == dosing.AllTanks || w.tank(in.Tank).Name == l.Tank) {
				w.violate(l.At, "%s latched on one sample: %s read %.4g", l.Cause, in.Name, s.Value)
			}
		}
		for k := range w.Minutes {
			m := &w.Minutes[k]
			if m.At-s.At < wildPasses || m.At-s.At >= wildPasses+time.Minute || in.Tank != dosing.AllTanks && in.Tank != m.Tank {
				continue
			}
			for _, h := range m.Holds {
				if slices.Contains(sampled, h.Cause) && h.Since >= s.At && h.Since-s.At <= time.Minute {
					w.violate(m.At, "%s stands since one sample: %s read %.4g", h.Cause, in.Name, s.Value)
				}
			}
		}
	}
}
