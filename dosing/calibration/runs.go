package calibration

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Rate is what a pump gave into a cylinder, or onto a balance.
type Rate struct {
	PerSecond float64 // mL
	Spread    float64 // of the runs, as a share; 0 of one run
	Runs      int
}

// How many runs are taken, how long and how much one may be, and by how much they may
// differ before they measure nothing.
const (
	mostRuns    = 10
	longestRun  = 3600.0 // s
	largestRun  = 50_000 // mL
	runsDiffer  = 0.05
	shortestRun = 5.0 // s: below it start and stop are most of it
)

// ReadRuns reads the runs of a pump, seconds and mL of each: 60=98.5, 60=98.1.
func ReadRuns(list string) (Rate, error) {
	var rates []float64
	for _, entry := range strings.FieldsFunc(list, func(r rune) bool { return r == ',' || r == ';' }) {
		left, right, found := strings.Cut(entry, "=")
		seconds, err1 := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(left), "s")), 64)
		ml, err2 := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(right), "mL")), 64)
		switch {
		case !found || err1 != nil || err2 != nil:
			return Rate{}, fmt.Errorf("%.40q: want seconds and mL of each run, such as 60=98.5, 60=98.1", strings.TrimSpace(entry))
		case !(seconds >= shortestRun && seconds <= longestRun):
			return Rate{}, fmt.Errorf("a run of %g s: let it run for %g s to an hour, a minute is usual", seconds, shortestRun)
		case !(ml > 0 && ml <= largestRun):
			return Rate{}, fmt.Errorf("%g mL in a run: look at the number and its unit, mL", ml)
		}
		rates = append(rates, ml/seconds)
	}
	if len(rates) == 0 || len(rates) > mostRuns {
		return Rate{}, fmt.Errorf("say what each run gave, 1 to %d of them, such as 60=98.5, 60=98.1", mostRuns)
	}
	r := Rate{Runs: len(rates)}
	for _, v := range rates {
		r.PerSecond += v / float64(len(rates))
	}
	if len(rates) > 1 {
		squares := 0.0
		for _, v := range rates {
			off := v/r.PerSecond - 1
			squares += float64(off * off)
		}
		r.Spread = math.Sqrt(squares / float64(len(rates)-1))
	}
	if r.Spread > runsDiffer {
		return Rate{}, fmt.Errorf("the runs differ by %.0f %%: look for air in the line, a worn tube or a hose that moves, and measure again", 100*r.Spread)
	}
	return r, nil
}
