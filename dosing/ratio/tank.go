package ratio

import (
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem"
)

// How far the parts of the account may be off, as standard uncertainties. They are
// of one kind for as long as the account runs (a worn tube stays worn), so they add
// up linearly.
const (
	doseOff     = 0.05 // of what the pumps gave
	waterOff    = 0.10 // of what the top-up water brought
	startOff    = 0.25 // of a tank that nobody analysed: filled by the recipe, then used
	appetiteOff = 0.30 // of the recipe as a guess at what plants take
	strayOff    = 0.02 // mmol for an EC of one, of what is no nutrient and thought untouched
	wander      = 0.08 // by which an appetite changes while the plants take what a tank holds
	labOff      = 0.04 // of an analysis
	labDoubtful = 0.10 // of one whose checks left a doubt
	labFloor    = 0.005
)

// Tank follows what one tank holds, and says what to give it. It is not for concurrent use.
type Tank struct {
	account
	usual         blend.Content // what source water and its acid or base bring for each mS/cm that a usual crop takes
	perAlkalinity blend.Content // what acid brings for each meq of it
	shares        []float64     // by pump, as last solved
	marks         marks
	solved        solvedAt
	at            time.Duration // of the last Follow
	seen          bool
	ec            float64 // as last measured
	pH            float64 // likewise
	swap          swap
	toward        float64 // the EC that the loop brings the tank to
	owed          float64 // meq/L of acid that the alkalinity of a dump's water still asks for
	pace          pace
}

// account is what a tank is thought to hold, against its plan.
type account struct {
	state
	plan    *Plan
	target  blend.Content // at the plan's EC
	made    blend.Content // what the recipe makes of the source water at the plan's EC
	madeOff float64       // of a filling, how far what the recipe added may be off
	strange bool          // of a filling, nobody said what it is
	solver  chem.Solver
}

// state is what of an account outlives a restart.
type state struct {
	content   blend.Content // mmol/L as estimated
	appetite, // taken up for each mS/cm that plants take in all
	cc, ca, aa blend.Content // variances and covariance of the two
	off                 blend.Content // uncertainty of what doses and water brought, growing linearly
	acid, base          blend.Content // what they brought since the last analysis
	water, taken, stock blend.Content // likewise
	before              blend.Content // what acid, base and water brought for each mS/cm of uptake, before the last analysis
	rest                float64       // charge of ions that the account does not name, meq/L
	meq                 float64       // of acid since the last analysis, net of base
	uptake              float64       // EC that plants took since the last analysis
	scale               float64       // measured EC ÷ that of the chemistry
	analysed            time.Time     // zero = never
	started             bool          // a measured EC told how strong the filling is
}

// solvedAt is the account for which the shares were solved.
type solvedAt struct {
	known   bool
	lacking blend.Content
}

// swap is a dump that was told, and of which EC has yet to say how large it was.
type swap struct {
	share  float64       // as told; 0 = none
	change blend.Content // what a whole tank of source water changes
}

// New begins an account of a tank that holds what the recipe makes of its source
// water. That is a weak start: a tank in use holds something else.
func New(plan *Plan) (*Tank, error) {
	fresh, amounts, err := plan.Fresh()
	if err != nil {
		return nil, err
	}
	t := &Tank{account: account{plan: plan, made: fresh.Reached, madeOff: startOff}, toward: plan.EC, pH: plan.PH}
	t.scale, t.pace = 1, usualPace
	t.usual, t.perAlkalinity = plan.bringsUsually(amounts), plan.forAlkalinity(amounts)
	t.before = t.usual
	for s := blend.NO3; s < blend.Carbon; s++ {
		if w := fresh.Wants[s]; w.Stated && w.Weight > 0 {
			t.target[s] = w.Amount
		}
	}
	if n := fresh.N; n.Stated {
		t.target[blend.NO3] = max(t.target[blend.NO3], n.Amount-t.target[blend.NH4])
	}
	for s := blend.NO3; s < blend.Carbon; s++ {
		t.appetite[s] = t.target[s] / plan.EC
		t.aa[s] = square(max(appetiteOff*t.appetite[s], strayFor(s)))
	}
	t.shares = plan.sharesOf(amounts)
	t.mix(1, plan.PH)
	return t, nil
}

// phosphateCharge is the mean charge of phosphate near pH 5.8: one, and 4 % of the
// second proton's.
const phosphateCharge = 1.04

// phosphateAt is the same at a pH (pKa 7.2; after a dump a tank stands near it).
func phosphateAt(pH float64) float64 { return 1 + 1/(1+math.Pow(10, 7.2-pH)) }

// charges are those of the ions, as they stand in a solution of pH 5 to 6.5.
var charges = [...]float64{blend.NO3: -1, blend.NH4: 1, blend.P: -phosphateCharge, blend.K: 1, blend.Ca: 2, blend.Mg: 2, blend.S: -2, blend.Na: 1, blend.Cl: -1}

// charge is what the account leaves open, meq/L.
func (a *account) charge(pH float64) float64 {
	sum := a.rest - float64(bicarbonate(pH)*a.content[blend.Carbon]) - float64((phosphateAt(pH)-phosphateCharge)*a.content[blend.P])
	for s, z := range charges {
		sum += float64(z * a.content[s])
	}
	return sum
}

// closeCharge lays what is open to ions that nobody named.
func (a *account) closeCharge(pH float64) { a.rest -= a.charge(pH) }

// neutral shifts the ions so that no charge is open. At a steady pH acid (or base)
// is given for what plants take more of anions than of cations, or for the
// alkalinity of the water, so what is open tells which appetite was guessed wrong.
// Each ion moves by as much as it is unsure.
func (a *account) neutral(pH float64) {
	open, sum := a.charge(pH), 0.0
	var unsure blend.Content
	for s, z := range charges {
		unsure[s] = a.cc[s] + square(a.off[s])
		sum += float64(z * z * unsure[s])
	}
	if !(sum > 0) {
		return
	}
	for s, z := range charges {
		a.content[s] = max(a.content[s]-float64(z*unsure[s]*open/sum), 0)
	}
}

func strayFor(s blend.Substance) float64 {
	if s.Micro() {
		return 0
	}
	return strayOff
}

func square(v float64) float64 { return v * v }

// Dosed counts what a pump gave, acid being what a mL of it holds in meq.
func (t *Tank) Dosed(pump dosing.PumpID, volume dosing.Volume, acidPerML float64) {
	if int(pump) >= len(t.plan.Stocks) || volume <= 0 {
		return
	}
	s, litres := &t.plan.Stocks[pump], volume.Litres()/t.plan.Litres
	account, meq := &t.stock, float64(acidPerML*volume.Millilitres())/t.plan.Litres
	switch s.Role {
	case dosing.RoleAcid:
		if meets := min(t.owed, meq); meets > 0 { // a filling's alkalinity, not what plants and top-up leave
			t.owed -= meets
			t.bring(&blend.Content{}, s.Content, float64(litres*meets/meq), doseOff)
			litres -= float64(litres * meets / meq)
			meq -= meets
		}
		account = &t.acid
		t.meq += meq
	case dosing.RoleBase:
		account = &t.base
		t.meq += meq
	}
	t.bring(account, s.Content, litres, doseOff)
}

// ToppedUp counts source water that came in.
func (t *Tank) ToppedUp(litres float64) {
	if litres > 0 && litres < 10*t.plan.Litres {
		t.bring(&t.water, t.plan.Water, litres/t.plan.Litres, waterOff)
	}
}

func (a *account) bring(account *blend.Content, what blend.Content, scale, off float64) {
	for s := blend.NO3; s < blend.Carbon; s++ {
		amount := float64(what[s] * scale)
		a.content[s] += amount
		account[s] += amount
		a.off[s] += float64(off * math.Abs(amount))
	}
	a.content[blend.Carbon] += float64(what[blend.Carbon] * scale)
	a.rest += float64(what[blend.Rest] * scale)
}

// fastest is the EC that plants can take in an hour, mS/cm, with some for a probe
// that is off; what is faster was water that came or went.
const (
	fastest = 0.3
	jitter  = 0.08
)

// Follow brings the account to what EC measures: doses and water are known, so what
// is missing was taken up, each ion by its appetite. Ec is settled, that is, with
// what is still in transit; NaN and zero are no measurement. Where pH is none, EC is
// followed by the last one, and charge tells nothing.
func (t *Tank) Follow(up time.Duration, ec, pH float64) {
	if !(ec > 0.02 && ec < 20) {
		return
	}
	known := pH >= 4 && pH <= 9
	switch {
	case known:
		t.pH = pH
	case t.swap.share > 0:
		return // other water: the last pH was not its own
	default:
		pH = t.pH
	}
	t.ec = ec
	switch {
	case !t.started:
		t.begin(ec, pH)
	case !t.seen:
		t.keepCarbonate(pH) // a record does not hold it
	default:
		t.breathe((up - t.at).Hours(), pH)
	}
	t.settleSwap(ec, pH)
	present, ok := t.conductivity(t.content, pH)
	if !ok {
		return
	}
	allowed := jitter + fastest*(up-t.at).Hours()
	if !t.seen {
		allowed = fastest * 2 // over a restart
	}
	hours := (up - t.at).Hours()
	if !t.seen {
		hours = 0
	}
	t.at, t.seen = up, true
	switch missing := present - ec; {
	case math.Abs(missing) > allowed:
		t.thin(ec / present)
	default:
		t.pace.note(t.takeUp(missing, pH, present), hours)
		if known {
			t.neutral(pH)
		}
	}
	if n := len(t.marks); n == 0 || up-t.marks[n-1].up >= markEvery {
		t.marks.add(up, t.content)
	}
}

// conductivity is the EC of a content as this tank's probe would show it.
func (a *account) conductivity(c blend.Content, pH float64) (float64, bool) {
	var r chem.Result
	ions := c.Ions()
	// One pH for all: a decimal more or less moves EC by a thousandth.
	if err := a.solver.Solve(&ions, chem.Conditions{TempC: 25, FixedPH: pH, OnlyHere: true}, &r); err != nil || !(r.EC > 0) {
		return 0, false
	}
	return float64(a.scale * r.EC), true
}

// takeUp lets plants take what makes EC fall by missing mS/cm; what is below zero
// gives back what an earlier reading took too much.
func (a *account) takeUp(missing, pH, present float64) (q float64) {
	const step = 0.05
	after, ok := a.conductivity(a.less(step), pH)
	slope := (present - after) / step
	if !ok || !(slope > 0.2 && slope < 5) {
		return 0
	}
	q = missing / slope
	left := a.less(q)
	for s := blend.NO3; s < blend.Carbon; s++ {
		a.taken[s] += a.content[s] - left[s]
		a.cc[s] = max(a.cc[s]-float64(2*q*a.ca[s])+float64(q*q*a.aa[s]), 0)
		a.ca[s] -= float64(q * a.aa[s])
		a.aa[s] += float64(square(wander*a.appetite[s]) * math.Abs(q) / a.plan.EC)
	}
	a.content = left
	a.uptake += q
	return q
}

// less is the content after an uptake worth q.
func (a *account) less(q float64) blend.Content {
	c := a.content
	for s := blend.NO3; s < blend.Carbon; s++ {
		take := float64(q * a.appetite[s])
		if take > 0 {
			// Roots cannot take what is not there.
			take *= c[s] / (c[s] + 0.02*a.target[s] + 1e-9)
		}
		c[s] = max(c[s]-take, 0)
	}
	return c
}

// thin dilutes, or thickens, all ions alike: water came or went unseen.
func (a *account) thin(by float64) {
	by = min(max(by, 0.1), 10)
	for s := blend.NO3; s < blend.Carbon; s++ {
		a.cc[s] = float64(a.cc[s]*by*by) + square(0.1*(1-by)*a.content[s])
		a.ca[s] *= by
		a.content[s] *= by
		a.off[s] *= by
	}
	a.content[blend.Carbon] *= by
	a.rest *= by
}

// Off is the standard uncertainty of an ion's estimate, mmol/L.
func (a *account) Off(s blend.Substance) float64 { return math.Sqrt(a.cc[s] + square(a.off[s])) }

// Content is the estimate.
func (s *state) Content() blend.Content { return s.content }

// Sample is what the account says of the tank at a pH, as a laboratory would of a
// sample of it.
func (t *Tank) Sample(pH float64) blend.Analysis {
	a := blend.Analysis{Content: t.content, Alkalinity: t.content[blend.Carbon] * bicarbonate(pH), PH: pH, EC: t.ec}
	for s := blend.NO3; s < blend.Carbon; s++ {
		a.Stated[s] = true
	}
	return a
}

// Target is what the tank is to hold at an EC. What that allows for what plants leave
// asks for no more nutrients.
func (t *Tank) Target(ec float64) blend.Content {
	c := t.target
	ec -= t.Left().allows(ec)
	for s := blend.NO3; s < blend.Carbon; s++ {
		if !s.Micro() {
			c[s] *= ec / t.plan.EC
		}
	}
	return c
}

// Analysed is when the last analysis was entered; zero = never.
func (s *state) Analysed() time.Time { return s.analysed }

// Brought is what acid and base brought since the last analysis, mmol/L.
func (a *account) Brought() (acid, base blend.Content) { return a.acid, a.base }
