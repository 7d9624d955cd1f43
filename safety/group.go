package safety

import (
	"math/bits"
	"time"

	"leat/dosing"
)

// group is how the inputs of one quantity of a tank stand together.
type group struct {
	given    bool // at least one is fitted
	standing fitness
	value    float64        // of probes: one, the mean of two, the median of more
	smooth   float64        // the same of the smoothed values
	adverse  bool           // of switches: one stands the way that stops doses, or did a moment ago where that latches
	lasting  bool           // of those: it was no single sample
	age      time.Duration  // of probes, of the reading of input
	input    dosing.InputID // the worst one
}

// sensed is what is made of the readings of a tank.
type sensed struct {
	inputs [dosing.QuantityCount][]dosing.InputID
	fitted facts // the quantities with an input
	waived [dosing.QuantityCount]bool
	group  [dosing.QuantityCount]group
	apart  [dosing.QuantityCount]dosing.Timer // two probes apart
	silent dosing.Timer                       // circulation's sensor
	linked bool                               // two good pH readings came since the link came up

	round          time.Duration // of the table, the latest
	news, restless facts         // quantities that sent since; that must be judged in each round
	until          time.Duration // before it no other group gets too old
}

// groups joins the inputs of a quantity to one word.
type groups struct{ *state }

// stand judges the groups of a tank as of now, and says what may have changed. While no
// reading comes, a single input that stands well goes on so until its reading is too
// old; any other group is restless.
func (gs *groups) stand(t *tankState, up time.Duration, changed facts) facts {
	judged := t.news | t.restless
	if changed == anything || up >= t.until {
		judged, t.until = t.fitted, dosing.Never
	}
	t.news = 0
	for rest := judged; rest != 0; rest &= rest - 1 {
		q := dosing.Quantity(bits.TrailingZeros32(uint32(rest)))
		g, inputs := &t.group[q], t.inputs[q]
		switch {
		case q.Switch():
			gs.switches(t, q, g, up)
		case len(inputs) == 1:
			gs.probe(inputs[0], g, up)
		default:
			gs.probes(t, q, g, up)
		}
		t.restless |= unwell(q)
		if i := &gs.inputs[inputs[0]]; len(inputs) == 1 && g.standing == standFit && !g.adverse && !g.lasting {
			t.restless &^= unwell(q)
			t.until = min(t.until, i.last.At().Up+i.limit)
		}
	}
	return changed | t.restless | judged<<values
}

// switches is the common word of the switches of a quantity: the worst of them.
func (gs *groups) switches(t *tankState, q dosing.Quantity, g *group, up time.Duration) {
	*g = group{given: true, standing: standFit, input: t.inputs[q][0]}
	for _, id := range t.inputs[q] {
		i := &gs.inputs[id]
		_, standing := i.now(up)
		if standing < g.standing {
			g.standing, g.input = standing, id
		}
		now := standing == standFit && stopsDoses(q, i.last.Value())
		lasts := i.blip.lasts() || q == dosing.QuantityStop && i.blip.count >= stopPresses
		lately := blipHolds[q] && i.blip.lately(up)
		g.adverse = g.adverse || now || lately && !lasts
		g.lasting = g.lasting || lasts && (now || lately)
	}
}

// probe is the word of the only probe of a quantity.
func (gs *groups) probe(id dosing.InputID, g *group, up time.Duration) {
	i := &gs.inputs[id]
	*g = group{given: true, input: id}
	if _, g.standing = i.now(up); g.standing == standFit {
		g.value, g.smooth = i.last.Value(), i.smooth
	}
	if i.seen {
		g.age = up - i.last.At().Up
	}
}

// probes is the common value of the probes of a quantity. Of three or more the
// median, whatever one of them says; two that stay apart are both invalid, since
// nobody can say which is right.
func (gs *groups) probes(t *tankState, q dosing.Quantity, g *group, up time.Duration) {
	*g = group{given: true, standing: standMissing, input: t.inputs[q][0]}
	var values, smooth [8]float64
	n, best := 0, standMissing
	for _, id := range t.inputs[q] {
		i := &gs.inputs[id]
		_, standing := i.now(up)
		if standing >= best {
			best, g.input = standing, id
		}
		if standing == standFit && n < len(values) {
			insert(values[:], n, i.last.Value())
			insert(smooth[:], n, i.smooth)
			n++
		}
	}
	g.standing = best
	if i := &gs.inputs[g.input]; i.seen {
		g.age = up - i.last.At().Up
	}
	if n == 0 {
		t.apart[q].Run(false, up)
		return
	}
	g.value, g.smooth = middle(values[:n]), middle(smooth[:n])
	if q == dosing.QuantityLevel && n == 2 {
		// Least plausible: in less water a dose does more.
		g.value = values[0]
	}
	limit := disagreement[q]
	far := n == 2 && limit > 0 && !(values[1]-values[0] <= limit)
	if t.apart[q].Run(far, up) >= disagreeFor && far {
		g.standing = standDisagree
	}
}

// insert puts a value into the first n of sorted values.
func insert(values []float64, n int, value float64) {
	for n > 0 && values[n-1] > value {
		values[n] = values[n-1]
		n--
	}
	values[n] = value
}

// middle is the median of sorted values.
func middle(values []float64) float64 {
	n := len(values)
	if n%2 == 1 {
		return values[n/2]
	}
	return (values[n/2-1] + values[n/2]) / 2
}
