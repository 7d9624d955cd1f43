package controller_test

import (
	"fmt"
	"os"
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
	play := func(first, second string, everything bool) (log []string, hash uint64) {
		r := newRig(t, sim.Options{Seed: 3, StartPH: 6.3, StartECShare: 0.8})
		for i, fault := range []string{first, second} {
			if err := r.farm.Inject(sim.Injection{Fault: fault, At: 15*time.Minute + time.Duration(i)*22*time.Minute, For: 18 * time.Minute}); err != nil {
				t.Fatal(err)
			}
		}
		r.Notice = func(now dosing.Instant, n controller.Notice) { log = append(log, fmt.Sprintf("%s %+v", now.Up, n)) }
		r.Arm()
		r.Run(time.Hour, func(now dosing.Instant) {
			if everything {
				r.Core.JudgeEverything(now)
			}
		})
		return log, r.Farm.TraceHash()
	}
	var faults []string
	for _, f := range sim.Faults() {
		if !f.Outside {
			faults = append(faults, f.Name)
		}
	}
	step := 3 // of the pairs: each takes two nights
	if os.Getenv("LEAT_REAL") == "1" {
		step = 1
	}
	for i := 0; i < len(faults)/2; i += step {
		first, second := faults[i], faults[len(faults)-1-i]
		kept, hash := play(first, second, false)
		judged, other := play(first, second, true)
		if hash != other || !slices.Equal(kept, judged) {
			for i := range min(len(kept), len(judged)) {
				if kept[i] != judged[i] {
					t.Logf("first other line: %s\nwhere every row is judged: %s", kept[i], judged[i])
					break
				}
			}
			t.Errorf("%s, %s: the nights differ after %d and %d lines", first, second, len(kept), len(judged))
		}
	}
}
