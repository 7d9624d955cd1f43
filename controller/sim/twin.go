package sim

import (
	"slices"

	"leat/dosing"
)

// divide begins a twin of each tank: the same water with the same plants, air, probes'
// circulation and faults, into which no dose goes any more. What differs between the two
// later is what doses did.
func (f *Farm) divide() {
	for _, t := range f.tanks {
		if t.twin != nil || t.water != nil {
			continue
		}
		twin := *t
		twin.pipe, twin.zones = slices.Clone(t.pipe), slices.Clone(t.zones)
		twin.delivered, twin.counted = slices.Clone(t.delivered), slices.Clone(t.counted)
		t.twin = &twin
	}
}

// waters are a tank's own and its twin's: what people do to one they do to the other.
func (t *tank) waters() []*tank {
	if t.twin == nil {
		return []*tank{t}
	}
	return []*tank{t, t.twin}
}

// secondOfTwin moves the twin's water for one second, as that of its tank.
func (f *Farm) secondOfTwin(t *tank, five bool) {
	if t.twin == nil {
		return
	}
	warmth := t.twin.trouble.warmth
	t.twin.trouble, t.twin.speed = t.trouble, t.speed
	t.twin.trouble.warmth = warmth
	t.twin.second(f.now)
	if five {
		f.fiveSeconds(t.twin)
	}
}

// Twin is the true pH and EC of the tank's water as it would be without the doses since
// the first fault began. It reports false until then.
func (f *Farm) Twin(id dosing.TankID) (ph, ec float64, ok bool) {
	t := f.tanks[id]
	switch {
	case t.twin != nil:
		return t.twin.now.PH, t.twin.now.EC25, true
	case t.state.Twin != nil:
		return t.state.Twin.PH, t.state.Twin.EC25, true
	}
	return 0, 0, false
}
