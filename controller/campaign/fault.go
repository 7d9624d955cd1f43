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

// The kinds of fault sets beside names.
const (
	faultsNone  = "none"
	faultsOne   = "one"
	faultsTwo   = "two"
	faultsSwarm = "swarm"
	faultsEach  = "each" // one a night, kind by kind in the order of seeds
)

func checkFaults(kind string) error {
	switch kind {
	case faultsNone, faultsOne, faultsTwo, faultsSwarm, faultsEach:
		return nil
	}
	_, err := listed(kind)
	return err
}

// listed reads faults by name, separated by commas, each with or without its time:
// pump-dead, or pump-dead@2h5m to the end of the night, or pump-dead@2h5m+30m. A
// negative time is one that is to be drawn.
func listed(text string) ([]sim.Injection, error) {
	names := injectable()
	var all []sim.Injection
	for _, part := range strings.Split(text, ",") {
		name, when, timed := strings.Cut(strings.TrimSpace(part), "@")
		if !slices.Contains(names, name) {
			return nil, fmt.Errorf("no faults %q are built; there are none, one, two, each, swarm, and by name: %s", name, strings.Join(names, ", "))
		}
		in := sim.Injection{Fault: name, At: -1}
		if timed {
			at, length, ends := strings.Cut(when, "+")
			var err error
			if in.At, err = time.ParseDuration(at); err == nil && ends {
				in.For, err = time.ParseDuration(length)
			}
			if err != nil || in.At < 0 || in.For < 0 || ends && in.For == 0 {
				return nil, fmt.Errorf("fault %q: write NAME@2h5m, or NAME@2h5m+30m for one that ends by itself", part)
			}
		}
		all = append(all, in)
	}
	return all, nil
}

// list writes faults as listed reads them.
func list(faults []sim.Injection) string {
	var parts []string
	for _, f := range faults {
		part := fmt.Sprintf("%s@%v", f.Fault, f.At)
		if f.For > 0 {
			part += fmt.Sprintf("+%v", f.For)
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ",")
}

func stays(name string) bool {
	return slices.ContainsFunc(sim.Faults(), func(f sim.Fault) bool { return f.Name == name && f.Stays() })
}

// drawFaults draws a night's faults: each begins between the first and the seventh
// tenth of the night, half of those that can pass by themselves do within two hours.
func drawFaults(kind string, seed uint64, night time.Duration) []sim.Injection {
	count, names := 1, injectable()
	from := source(seed, "faults")
	var given []sim.Injection
	switch kind {
	case faultsNone:
		return nil
	case faultsOne:
	case faultsTwo:
		count = 2
	case faultsEach:
		names = names[seed%uint64(len(names)):][:1]
	case faultsSwarm:
		names, count = swarm(source(seed, "swarm"), names)
	default:
		given, _ = listed(kind) // checked before the first night
		count = len(given)
	}
	var all []sim.Injection
	for i := range count {
		in := sim.Injection{Fault: names[from.whole(0, len(names)-1)], At: span(float64(int(from.uniform(0.1, 0.7) * night.Seconds())))}
		length := span(float64(int(from.uniform(300, 7200))))
		ends := from.uniform(0, 1) < 0.5
		switch {
		case i < len(given) && given[i].At >= 0:
			in = given[i]
		case i < len(given):
			in.Fault = given[i].Fault
		}
		if ends && in.For == 0 && !stays(in.Fault) && (i >= len(given) || given[i].At < 0) {
			in.For = length
		}
		all = append(all, in)
	}
	return all
}

// swarm is which kinds a night can have, each with an even chance, and how many it
// has: one in 65 nights of a hundred, two in 25, three to five in 10. A night that
// lacks most kinds goes deeper into those it has.
func swarm(from *stream, names []string) (kinds []string, count int) {
	for _, name := range names {
		if from.uniform(0, 1) < 0.5 {
			kinds = append(kinds, name)
		}
	}
	if len(kinds) == 0 {
		kinds = names
	}
	switch p := from.uniform(0, 1); {
	case p < 0.65:
		return kinds, 1
	case p < 0.90:
		return kinds, 2
	}
	return kinds, from.whole(3, 5)
}

// smallest drops one by one what a night goes on failing without. What is left cannot
// lose one more.
func smallest[T any](all []T, fails func([]T) (bool, error)) ([]T, error) {
	for i := 0; i < len(all); {
		without := slices.Concat(all[:i], all[i+1:])
		still, err := fails(without)
		if err != nil {
			return nil, err
		}
		if still {
			all, i = without, 0
		} else {
			i++
		}
	}
	return all, nil
}
