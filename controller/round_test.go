package controller_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
)

// Nights in which every row of the interlock table is judged every second go as those
// in which a row that does not stand keeps its judgement, whatever breaks.
func TestNightsGoAlikeWhetherOrNotEveryRowIsJudgedEverySecond(t *testing.T) {
	play := func(fault string, everything bool) (log []string, hash uint64) {
		r := newRig(t, sim.Options{Seed: 3, StartPH: 6.3, StartECShare: 0.8, Fault: fault, FaultAt: 40 * time.Minute, FaultFor: 30 * time.Minute})
		r.Notice = func(now dosing.Instant, n controller.Notice) { log = append(log, fmt.Sprintf("%s %+v", now.Up, n)) }
		r.Arm()
		r.Run(100*time.Minute, func(now dosing.Instant) {
			if everything {
				r.Core.JudgeEverything(now)
			}
		})
		return log, r.Farm.TraceHash()
	}
	for _, fault := range sim.Faults() {
		kept, hash := play(fault.Name, false)
		judged, other := play(fault.Name, true)
		if hash != other || !slices.Equal(kept, judged) {
			for i := range min(len(kept), len(judged)) {
				if kept[i] != judged[i] {
					t.Logf("first other line: %s\nwhere every row is judged: %s", kept[i], judged[i])
					break
				}
			}
			t.Errorf("%s: the nights differ after %d and %d lines", fault.Name, len(kept), len(judged))
		}
	}
}
