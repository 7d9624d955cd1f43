package campaign

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leat/controller/sim"
)

// injectable are the faults that the farm can do by itself.
func injectable() []string {
	var names []string
	for _, f := range sim.Faults() {
		if !f.Outside {
			names = append(names, f.Name)
		}
	}
	return names
}

func checkFaults(kind string) error {
	switch kind {
	case "none", "one", "two":
		return nil
	}
	names := injectable()
	if slices.Contains(names, kind) {
		return nil
	}
	return fmt.Errorf("no faults %q are built; there are none, one, two, and by name: %s", kind, strings.Join(names, ", "))
}

// drawFaults draws a night's faults: each begins between the first and the seventh
// tenth of the night, half of them end by themselves within two hours.
func drawFaults(kind string, seed uint64, night time.Duration) []sim.Injection {
	count, names := 1, injectable()
	switch kind {
	case "none":
		return nil
	case "one":
	case "two":
		count = 2
	default:
		names = []string{kind}
	}
	from := source(seed, "faults")
	var all []sim.Injection
	for range count {
		in := sim.Injection{Fault: names[from.whole(0, len(names)-1)], At: span(float64(int(from.uniform(0.1, 0.7) * night.Seconds())))}
		length := span(float64(int(from.uniform(300, 7200))))
		if from.uniform(0, 1) < 0.5 {
			in.For = length
		}
		all = append(all, in)
	}
	return all
}
