package blend

import (
	"errors"
	"fmt"
	"math"

	"leat/dosing"
	"leat/dosing/blend/squares"
	"leat/dosing/chem"
)

// blender is one task at work, with memory for all its rounds. A round fits what the
// stocks hold to what the recipe asks; what the answer changes of the question (the
// water that its volume displaces, the traces beside it, the charge that its pH
// needs, the strength that its EC needs) is known from the round before, until all
// of it stands. So no stock is given for the water whose place it takes.
type blender struct {
	t      *Task
	solver nearest
	f      fit
	chem   chem.Solver

	trace   []bool    // stocks that are given for their micronutrients alone, after the others
	usable  []bool    // stocks that may be used this round
	columns []Content // what one unit of each adds in this fit
	known   Content   // what a litre holds before this fit adds to it
	volume  float64   // of the liquids in the round before, litres in a litre

	traces   bool      // the fit is that of the traces
	foreseen []float64 // amounts by the first fit
	apart    bool      // what comes with the traces is known from the round before, since the two fits differ on it
	tight    bool      // the liquids must keep to the volume that they may take
	ph       bool      // whether the pH is a row
	last     bool      // the first round, without acid or base, is over
	worth    Content   // of a mmol of each, where a feed is limited
	most     float64   // of what a feed is worth; 0 = no such limit
	balance  float64   // strong charge, less the part that phosphate carries, to be reached
}

func newBlender(t *Task) *blender {
	b := &blender{t: t, trace: make([]bool, len(t.Stocks)), usable: make([]bool, len(t.Stocks)), columns: make([]Content, len(t.Stocks))}
	for i := range t.Stocks {
		b.usable[i], b.trace[i] = t.serves(&t.Stocks[i]), t.isTrace(&t.Stocks[i])
	}
	return b
}

// Solve finds the mixture. Errors are *Refusal, or from the chemistry of a
// composition beyond its reach.
func Solve(task Task) (*Mix, error) {
	m, err := solve(task)
	if err != nil {
		return nil, err
	}
	m.explain()
	m.findAlternatives()
	return m, nil
}

func solve(task Task) (*Mix, error) {
	m := &Mix{Task: task, Factor: 1}
	if err := m.Task.fill(); err != nil {
		return nil, err
	}
	b := newBlender(&m.Task)
	plain := m.Task.Base.Ions()
	if err := b.chem.Solve(&plain, chem.Conditions{TempC: m.Task.TempC}, &m.Plain); err != nil {
		return nil, fmt.Errorf("the %s: %w", m.Task.BaseName(), err)
	}
	if m.Task.EC > 0 && m.Plain.EC25 >= m.Task.EC {
		return nil, &Refusal{fmt.Sprintf("the %s alone has EC %.2f mS/cm, and %.2f is asked", m.Task.BaseName(), m.Plain.EC25, m.Task.EC),
			m.Task.weaker()}
	}
	// First without acid or base, to see on which side the pH falls.
	if err := b.atStrength(m); err != nil {
		return nil, err
	}
	needed, err := b.acidFor(m)
	if err != nil {
		return nil, err
	}
	role := dosing.RoleAcid
	if needed < 0 {
		role = dosing.RoleBase
	}
	if m.Task.reagent != dosing.RoleNone {
		role = m.Task.reagent
	}
	if math.Abs(needed) > leastAcid {
		for i := range m.Task.Stocks {
			if m.Task.Stocks[i].Role == role {
				b.usable[i], b.ph = true, true
			}
		}
	}
	m.Steered = b.ph
	if b.last = true; b.ph || m.Task.within > 0 {
		if err := b.atStrength(m); err != nil {
			return nil, err
		}
	}
	if m.Acid, err = b.baseAcid(m); err != nil {
		return nil, err
	}
	if lean := b.lean(m); lean != nil {
		m = lean
	}
	return m, m.lawful()
}

// lean is a mixture as good as one that takes too much of the volume, of stronger
// stocks; nil where none is needed, or there is none.
func (b *blender) lean(m *Mix) *Mix {
	if m.Task.IsTank || m.Task.volume(m.Amounts) <= mostVolume {
		return nil
	}
	other := *m
	other.Amounts = append([]float64{}, m.Amounts...)
	b.t, b.tight = &other.Task, true
	if err := b.atStrength(&other); err != nil || other.Task.volume(other.Amounts) > mostVolume*(1+rounding) || !m.asGood(&other) {
		return nil
	}
	return &other
}

// leastAcid is what no grower measures, meq/L.
const leastAcid = 0.003

// BaseName is what the stocks are added to, in a word or two.
func (t *Task) BaseName() string {
	switch {
	case t.refill != nil:
		return "refilled tank"
	case t.IsTank:
		return "tank"
	}
	return "water"
}

func (t *Task) weaker() string {
	if t.IsTank {
		return "adding cannot lower it: dump a share and refill with water"
	}
	return "use softer water, or ask for a higher EC"
}

// atStrength solves at the strength that gives the EC, and with the charge that
// gives the pH: both are read off the chemistry and tried again until they stand.
func (b *blender) atStrength(m *Mix) error {
	if err := b.startCharge(m); err != nil {
		return err
	}
	former, formerEC := 0.0, m.Plain.EC25
	for range mostRounds {
		before := m.Reached
		if err := b.mixture(m); err != nil {
			return err
		}
		moved, err := b.charge(m)
		if err != nil {
			return err
		}
		for s := range before {
			moved = max(moved, math.Abs(m.Reached[s]-before[s]))
		}
		miss := 0.0
		if b.t.EC > 0 {
			miss = b.t.EC - m.Settled.EC25
		}
		if math.Abs(miss) < 1e-4 && moved < 1e-4 {
			break
		}
		if b.t.EC > 0 && math.Abs(miss) >= 1e-4 {
			slope := (m.Settled.EC25 - formerEC) / (m.Factor - former)
			former, formerEC = m.Factor, m.Settled.EC25
			if !(slope > 0.01) { // micronutrients or limits alone hold it
				slope = m.Settled.EC25 / m.Factor
			}
			m.Factor = min(max(m.Factor+miss/slope, m.Factor/4), m.Factor*4)
		}
	}
	if b.t.EC > 0 && math.Abs(m.Settled.EC25-b.t.EC) > 0.02 {
		return &Refusal{fmt.Sprintf("EC %.2f mS/cm cannot be reached: these stocks come to %.2f within their limits", b.t.EC, m.Settled.EC25),
			"raise the limits of the stocks, or ask for another EC"}
	}
	return b.predict(m)
}

// mostRounds ends a search that does not come to rest; it takes five to ten.
const mostRounds = 30

// mixture solves the least squares at the present strength: first the stocks that
// bring macronutrients, with acid and base, then those of micronutrients alone, each
// to its own target whatever the others miss.
func (b *blender) mixture(m *Mix) error {
	m.Wants, m.N = b.t.wants(m.Factor)
	if len(m.Amounts) != len(b.t.Stocks) {
		m.Amounts = make([]float64, len(b.t.Stocks))
	}
	b.first(m)
	amounts, err := b.solver.solve(&b.f)
	if errors.Is(err, squares.ErrContradiction) && b.t.within > 0 {
		b.t.within = 0 // an acid not yet steered; the nearest without it
		b.first(m)
		amounts, err = b.solver.solve(&b.f)
	}
	if err != nil {
		return err
	}
	for i, v := range amounts {
		if !b.trace[i] {
			m.Amounts[i] = v
		}
	}
	b.leaveOutTraces(m)
	b.foreseen = append(b.foreseen[:0], amounts...)
	b.second(m)
	if amounts, err = b.solver.solve(&b.f); err != nil {
		return err
	}
	for i, v := range amounts {
		if b.trace[i] {
			m.Amounts[i] = v
		}
	}
	b.apart = b.apart || b.differ(m)
	b.volume = b.t.volume(m.Amounts)
	m.Reached = b.t.reached(m.Amounts)
	return nil
}

// differ says whether the stocks of micronutrients bring more or less of anything
// else than the first fit foresaw.
func (b *blender) differ(m *Mix) bool {
	n := b.t.Recipe.nitrogen()
	for s := NO3; s <= Si; s++ {
		more := 0.0
		for i := range b.t.Stocks {
			if b.trace[i] {
				more += b.t.Stocks[i].perUnit()[s] * (m.Amounts[i] - b.foreseen[i])
			}
		}
		if w := m.Wants[s]; w.Stated && w.Weight > 0 && math.Abs(more) > enough*scaleOf(s, w, n)/w.Weight {
			return true
		}
	}
	return false
}

// leaveOutTraces drops stocks that would move nothing by 0.02 %: nobody measures out
// a fifth of a gram in a hundred litres.
func (b *blender) leaveOutTraces(m *Mix) {
	for i := range m.Amounts {
		most := 0.0
		for r := range b.f.rows {
			most = max(most, math.Abs(b.f.a[r*b.f.cols+i]*m.Amounts[i]))
		}
		if most < 2e-4 {
			m.Amounts[i] = 0
		}
	}
}
