package blend

import (
	"errors"
	"fmt"
	"math"

	"leat/dosing"
	"leat/dosing/chem"
)

// Task is what a mixture is asked for.
type Task struct {
	Recipe  Recipe
	Base    Content // the source water, or the tank that is corrected
	IsTank  bool    // the base is a tank: words then say "the tank holds"
	Stocks  []Stock
	EC      float64 // mS/cm at 25 °C to scale the macronutrients to; 0 = the recipe as it stands
	PH      float64 // once the air has had its say; 0 = the recipe's, else 5.8
	TempC   float64 // of saturation and pH; 0 = 25
	CO2     float64 // of the air, atm; 0 = 420 ppm
	NH4Most float64 // share of nitrogen; 0 = 10 %

	// displaced is the water whose place a liquid stock takes, where it is not the
	// base: after a dump the tank is filled up with both.
	displaced *Content
	within    float64 // share by which each macronutrient may miss at most; 0 = no such limit
}

const (
	usualPH = 5.8
	roomCO2 = 420e-6 // atm, ventilated room

	// Ammonium's share of nitrogen: more burns roots when a tank warms or drifts
	// (common practice).
	UsualNH4 = 0.10
	HardNH4  = 0.15
)

// Refusal is a task that is not to be carried out, with what to change.
type Refusal struct{ Problem, Hint string }

func (r *Refusal) Error() string { return r.Problem + "; " + r.Hint }

func (t *Task) fill() error {
	if t.PH == 0 {
		t.PH = t.Recipe.PH
	}
	if t.PH == 0 {
		t.PH = usualPH
	}
	if t.TempC == 0 {
		t.TempC = 25
	}
	if t.CO2 == 0 {
		t.CO2 = roomCO2
	}
	if t.NH4Most == 0 {
		t.NH4Most = UsualNH4
	}
	switch {
	case !(t.PH >= 4.5 && t.PH <= 8):
		return &Refusal{fmt.Sprintf("pH %s is outside what roots take", figure(t.PH)), "ask for 4.5 to 8, usually 5.5 to 6.3"}
	case !(t.NH4Most > 0 && t.NH4Most <= HardNH4):
		return &Refusal{fmt.Sprintf("ammonium at %s %% of nitrogen harms roots", figure(100*t.NH4Most)), "ask for at most 15 %"}
	case !(t.EC >= 0 && t.EC <= 6):
		return &Refusal{fmt.Sprintf("EC %s mS/cm is outside what plants live in", figure(t.EC)), "ask for at most 6 mS/cm at 25 °C"}
	case len(t.Stocks) == 0:
		return &Refusal{"there is no stock to blend from", "name stocks or salts"}
	case len(t.Stocks) > mostStocks:
		return &Refusal{fmt.Sprintf("%d stocks are more than can be blended", len(t.Stocks)), fmt.Sprintf("leave out those that are not used: at most %d", mostStocks)}
	case !t.Base.finite():
		return &Refusal{"the water holds amounts that are no numbers", "check its analysis"}
	}
	return nil
}

// column is what one unit of a stock changes in a litre of solution: its contents,
// and for a liquid the water whose place it takes.
func (t *Task) column(s *Stock) Content {
	c := s.perUnit()
	switch {
	case s.Solid:
	case t.displaced != nil:
		c = c.Plus(*t.displaced, -1e-3)
	default:
		c = c.Plus(t.Base, -1e-3)
	}
	return c
}

// aim is the column as the least squares sees it. Where the base is a tank that holds
// too much, the water whose place a stock takes would be a reason to give it: iron by
// the third of a litre, to thin out the calcium. So there a stock is given for what it
// holds alone.
func (t *Task) aim(s *Stock) Content {
	if t.IsTank && t.displaced == nil {
		return s.perUnit()
	}
	return t.column(s)
}

// serves says whether a stock holds anything that the recipe asks for. One that does
// not would still be given for the water whose place it takes: by the third of a
// litre, where that water brings too much of something.
func (t *Task) serves(s *Stock) bool {
	if s.acidic() {
		return false // acid and base are chosen once it is known which is needed
	}
	for o, w := range t.Recipe.Wants {
		if s.Content[o] > 0 && w.Stated && w.Weight > 0 && w.Amount > 0 {
			return true
		}
	}
	return t.Recipe.Nitrogen.Amount > 0 && s.Content.Nitrogen() > 0
}

// reached is the solution that amounts make.
func (t *Task) reached(amounts []float64) Content {
	c := t.Base
	for i := range t.Stocks {
		if amounts[i] != 0 {
			c = c.Plus(t.column(&t.Stocks[i]), amounts[i])
		}
	}
	return c
}

// wants is the recipe at a strength: macronutrients scaled, micronutrients as they
// stand, since a crop takes up no less iron because its EC is low.
func (t *Task) wants(factor float64) (w [SubstanceCount]Want, n Want) {
	w, n = t.Recipe.Wants, t.Recipe.Nitrogen
	for s := range w {
		if Substance(s).Macro() || Substance(s) == Si {
			w[s].Amount *= factor
		}
	}
	n.Amount *= factor
	return w, n
}

// Mix is the answer.
type Mix struct {
	Task    Task
	Factor  float64 // of the recipe's strength
	Amounts []float64
	Reached Content
	Wants   [SubstanceCount]Want // at this strength
	N       Want
	Acid    float64 // meq/L that the base needs to come to the pH; negative: base
	Steered bool    // an acid or base was at hand and used for pH

	Settled chem.Result // once the air has had its say
	AtOnce  chem.Result // before carbon dioxide has left
	Plain   chem.Result // the base itself, closed

	Reasons      []string
	Alternatives []string
	Remarks      []string
}

// Off is how far a substance is from its target, as a share of it; NaN where there
// is none. For a target of zero it is the amount in mmol/L.
func (m *Mix) Off(s Substance) float64 { return off(m.Wants[s], m.Reached[s]) }

// OffN is the same for all nitrogen.
func (m *Mix) OffN() float64 { return off(m.N, m.Reached.Nitrogen()) }

func off(w Want, reached float64) float64 {
	switch {
	case !w.Stated || w.Weight == 0:
		return math.NaN()
	case w.Amount == 0:
		return reached
	}
	return reached/w.Amount - 1
}

// Worst is the largest share by which a macronutrient misses its target.
func (m *Mix) Worst() float64 {
	worst := 0.0
	for s := NO3; s <= S; s++ {
		if o := math.Abs(m.Off(s)); m.Wants[s].Amount > 0 && o > worst {
			worst = o
		}
	}
	if o := math.Abs(m.OffN()); m.N.Stated && o > worst {
		worst = o
	}
	return worst
}

// blender is one task at work, with memory for all its rounds.
type blender struct {
	t       *Task
	solver  nearest
	f       fit
	chem    chem.Solver
	columns []Content

	ph      bool    // whether the pH is a row
	last    bool    // the first round, without acid or base, is over
	usable  []bool  // stocks that may be used this round
	balance float64 // strong charge, less the part that phosphate carries, to be reached
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
	b := &blender{t: &m.Task, usable: make([]bool, len(task.Stocks))}
	for i := range m.Task.Stocks {
		b.columns = append(b.columns, m.Task.aim(&m.Task.Stocks[i]))
		b.usable[i] = m.Task.serves(&m.Task.Stocks[i])
	}
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
	return m, nil
}

// leastAcid is what no grower measures, meq/L.
const leastAcid = 0.003

// BaseName is what the stocks are added to, in a word or two.
func (t *Task) BaseName() string {
	switch {
	case t.displaced != nil:
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
	for range 12 {
		if err := b.mixture(m); err != nil {
			return err
		}
		moved, err := b.charge(m)
		if err != nil {
			return err
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

// mixture solves the least squares at the present strength.
func (b *blender) mixture(m *Mix) error {
	m.Wants, m.N = b.t.wants(m.Factor)
	b.build(m)
	amounts, err := b.solver.solve(&b.f)
	if errors.Is(err, errContradiction) && b.t.within > 0 {
		b.t.within = 0 // an acid not yet steered; the nearest without it
		b.build(m)
		amounts, err = b.solver.solve(&b.f)
	}
	if err != nil {
		return err
	}
	m.Amounts = append(m.Amounts[:0], amounts...)
	b.leaveOutTraces(m)
	m.Reached = b.t.reached(m.Amounts)
	return nil
}

// leaveOutTraces drops stocks that would move nothing by 0.02 %: nobody measures out
// a fifth of a gram in a hundred litres.
func (b *blender) leaveOutTraces(m *Mix) {
	for i := range m.Amounts {
		most := 0.0
		for r := range b.f.rows {
			most = max(most, math.Abs(b.f.a[r*b.f.cols+i]*m.Amounts[i]))
		}
		if most < 2e-4 && !m.Task.Stocks[i].micro() {
			m.Amounts[i] = 0
		}
	}
}

// micro says whether it holds nothing but micronutrients, whose rows weigh little.
func (s *Stock) micro() bool {
	for o := NO3; o <= Si; o++ {
		if s.Content[o] > 0 {
			return false
		}
	}
	return true
}

// scaleOf is what a row is divided by, so that targets count as shares.
func scaleOf(s Substance, w Want, n float64) float64 {
	switch {
	case w.Amount > 0:
		return w.Amount
	case s == NH4:
		return max(0.05*n, 0.1)
	case s.Micro():
		return 1e-3
	}
	return 0.5
}

// build writes the rows: a row for each target, one for the pH, and the limits.
func (b *blender) build(m *Mix) {
	f, n := &b.f, len(b.t.Stocks)
	f.cols, f.rows = n, 0
	f.a, f.b, f.limits, f.upper, f.like = f.a[:0], f.b[:0], f.limits[:0], f.upper[:0], f.like[:0]
	row := func(weight float64, of func(c Content) float64, target float64) {
		for i := range n {
			f.a = append(f.a, float64(weight*of(b.columns[i])))
		}
		f.b = append(f.b, float64(weight*(target-of(b.t.Base))))
		f.rows++
	}
	want := m.Recipewide()
	for s, w := range m.Wants {
		if w.Stated && w.Weight > 0 {
			row(w.Weight/scaleOf(Substance(s), w, want), func(c Content) float64 { return c[s] }, w.Amount)
		}
		if w.Limited {
			b.limit(w.Most-b.t.Base[s], func(c Content) float64 { return c[s] })
		}
	}
	if m.N.Stated && m.N.Amount > 0 {
		row(m.N.Weight/m.N.Amount, Content.Nitrogen, m.N.Amount)
	}
	if m.N.Limited {
		b.limit(m.N.Most-b.t.Base.Nitrogen(), Content.Nitrogen)
	}
	if b.ph {
		row(1/chargeScale, balanceOf, b.balance)
	}
	// NH4 − share·(NO3 + NH4) ≤ 0
	share := b.t.NH4Most
	ammonium := func(c Content) float64 { return c[NH4] - float64(share*c.Nitrogen()) }
	b.limit(-ammonium(b.t.Base), ammonium)
	if b.t.within > 0 && b.last {
		b.hem(m)
	}
	b.bounds()
}

// chargeScale makes 0.1 meq/L, about 0.3 pH, count as a nutrient that misses all
// of its target.
const chargeScale = 0.1

// phosphateNear is the mean charge of phosphate near pH 5.8, taken out of the
// charge row so that it hardly depends on how much phosphate there is.
const phosphateNear = 1.03

func balanceOf(c Content) float64 { return c.StrongCharge() - float64(phosphateNear*c[P]) }

func (b *blender) limit(most float64, of func(c Content) float64) {
	row := make([]float64, b.f.cols)
	for i := range row {
		row[i] = of(b.columns[i])
	}
	// Where the water alone passes it already, nothing more may come.
	b.f.limits = append(b.f.limits, limit{row: row, most: max(most, 0)})
}

// hem keeps every macronutrient within the share that was asked.
func (b *blender) hem(m *Mix) {
	side := func(sign, most float64, of func(c Content) float64) {
		row := make([]float64, b.f.cols)
		for i := range row {
			row[i] = sign * of(b.columns[i])
		}
		b.f.limits = append(b.f.limits, limit{row: row, most: most - float64(sign*of(b.t.Base))})
	}
	for s := NO3; s <= S; s++ {
		w, one := m.Wants[s], func(c Content) float64 { return c[s] }
		if w.Stated && w.Weight > 0 && w.Amount > 0 {
			side(1, w.Amount*(1+b.t.within), one)
			if s != NH4 {
				side(-1, -w.Amount*(1-b.t.within), one)
			}
		}
	}
	if m.N.Stated && m.N.Amount > 0 {
		side(1, m.N.Amount*(1+b.t.within), Content.Nitrogen)
		side(-1, -m.N.Amount*(1-b.t.within), Content.Nitrogen)
	}
}

// bounds sets what each stock may give, and the shares to stay near: the former
// ones where every stock has one, else an equal part in the work.
func (b *blender) bounds() {
	f, stated := &b.f, true
	for i := range b.t.Stocks {
		stated = stated && (b.t.Stocks[i].acidic() || b.t.Stocks[i].Share > 0)
	}
	for i := range b.t.Stocks {
		s := &b.t.Stocks[i]
		upper := math.Inf(1)
		if s.AtMost > 0 {
			upper = s.AtMost
		}
		like := 0.0
		if !b.usable[i] {
			upper = 0
		} else if s.acidic() {
			like = 0 // no more acid than is needed
		} else if stated {
			like = s.Share
		} else {
			sum := 0.0
			for r := range f.rows {
				v := f.a[r*f.cols+i]
				sum += float64(v * v)
			}
			if sum > 0 {
				like = 1 / math.Sqrt(sum)
			}
		}
		f.upper, f.like = append(f.upper, upper), append(f.like, like)
	}
}

// Recipewide is the nitrogen that the recipe asks for, mmol/L.
func (m *Mix) Recipewide() float64 {
	if m.N.Stated {
		return m.N.Amount
	}
	return m.Wants[NO3].Amount + m.Wants[NH4].Amount
}
