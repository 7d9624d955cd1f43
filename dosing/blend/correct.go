package blend

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"leat/dosing"
	"leat/dosing/blend/squares"
)

// Correction is a tank to be brought back to its recipe.
type Correction struct {
	Recipe    Recipe
	EC        float64 // mS/cm that the recipe is scaled to with the source water; 0 = as it stands
	PH, TempC float64
	MaxNH4    float64
	Stocks    []Stock
	Water     Content  // the source water, closed (Analysis.Water)
	Tank      Analysis // as measured
	Litres    float64
	Tolerance float64 // share by which each macronutrient may miss; 0 = 10 %

	// For the long run: what the tank held at the last analysis, what was given
	// since, and the water that replaced what plants used.
	Before *Analysis
	Given  []float64 // mL of each stock (g of a solid)
	TopUp  float64   // litres
}

// Corrected is the advice.
type Corrected struct {
	Factor float64 // strength of the recipe
	Fresh  *Mix    // the recipe with the source water: the standing shares
	Add    *Mix    // what brings the tank nearest without dumping; amounts per litre of tank

	Dump    float64  // smallest share to dump and refill with source water; 0 = none, NaN = none suffices
	After   *Mix     // the additions then; nil when Dump is 0 or NaN
	Uptake  *Content // mmol/L of top-up that plants took; nil without the account
	LongRun *Mix     // the shares that give what they take

	NoLongRun string // why there are no such shares, where there was an account
}

// Correct works out a correction. Errors are *Refusal or from the chemistry.
func Correct(c Correction) (*Corrected, error) {
	if !(c.Litres > 0 && c.Litres <= 1e6) {
		return nil, &Refusal{"the tank has no volume", "say how many litres it holds"}
	}
	if c.Tolerance == 0 {
		c.Tolerance = 0.10
	}
	if !(c.Tolerance >= 0.01 && c.Tolerance <= 0.5) {
		return nil, &Refusal{fmt.Sprintf("a tolerance of %s", percent(c.Tolerance)), "1 to 50 % makes sense; an analysis itself is good to about 5 %"}
	}
	if c.TempC == 0 {
		c.TempC = 25
	}
	tank, err := c.Tank.Tank(c.TempC)
	if err != nil {
		return nil, err
	}
	task := Task{Recipe: c.Recipe, Base: c.Water, Stocks: c.Stocks, EC: c.EC, PH: c.PH, TempC: c.TempC, MaxNH4: c.MaxNH4}
	out := &Corrected{}
	if out.Fresh, err = Solve(task); err != nil {
		return nil, err
	}
	out.Factor = out.Fresh.Factor
	task.EC, task.IsTank, task.Base = 0, true, tank.Content
	task.Recipe.Wants, task.Recipe.Nitrogen = out.Fresh.Wants, out.Fresh.N
	task.Recipe.Remarks = out.leaveUnmeasured(&c, &task.Recipe)
	if out.Add, err = Solve(task); err != nil {
		return nil, err
	}
	out.Dump, task.reagent = out.smallestDump(&c, tank.Content)
	task.within = kept * c.Tolerance
	if out.Dump == 0 && out.Add.beyond(c.Tolerance) {
		// The nearest on the whole lets one of them out of its bounds; it can be had with all
		// of them inside.
		if out.Add, err = Solve(task); err != nil {
			return nil, err
		}
	}
	if out.Dump > 0 || out.Dump == 0 && out.Add.beyond(c.Tolerance) {
		if err := out.afterDump(&c, task, tank.Content); err != nil {
			return nil, err
		}
	}
	return out, out.longRun(&c, tank.Content)
}

// afterDump solves what is added then. Where the blend, with its traces and its pH,
// just fails to keep what the search for the share foresaw, a little more is dumped.
func (out *Corrected) afterDump(c *Correction, task Task, tank Content) error {
	for range 20 {
		out.Dump = max(out.Dump, 0.001)
		task.Base = Content{}.Plus(tank, 1-out.Dump).Plus(c.Water, out.Dump)
		task.refill, task.dumped = &c.Water, out.Dump
		var err error
		if out.After, err = Solve(task); err != nil {
			return err
		}
		if !out.After.beyond(c.Tolerance) {
			return nil
		}
		if out.Dump >= 1 {
			break
		}
		out.Dump = min(1.05*out.Dump, 1)
	}
	out.Dump, out.After = math.NaN(), nil
	return nil
}

// beyond says whether a macronutrient misses its target by more than a share of it.
// Ammonium is taken up first and soon nitrified: only its surplus counts.
func (m *Mix) beyond(share float64) bool {
	for s := NO3; s <= S; s++ {
		if o := m.Off(s); m.Wants[s].Amount > 0 && (o > share*(1+rounding) || s != NH4 && o < -share*(1+rounding)) {
			return true
		}
	}
	return m.N.Stated && math.Abs(m.OffN()) > share*(1+rounding)
}

// leaveUnmeasured drops what the laboratory did not measure from the targets:
// taken as none, it would be given on top of what is there. Ammonium is the
// exception, since it is gone soon.
func (out *Corrected) leaveUnmeasured(c *Correction, r *Recipe) []string {
	var names []string
	for s := range r.Wants {
		if w := &r.Wants[s]; w.Stated && w.Weight > 0 && !c.Tank.Stated[s] && Substance(s) != NH4 {
			names = append(names, Substance(s).String())
			w.Stated = false
		}
	}
	if r.Nitrogen.Stated && !c.Tank.Stated[NO3] {
		names, r.Nitrogen.Stated = append(names, "N"), false
	}
	if names == nil {
		return nil
	}
	return []string{"not measured, so not corrected: " + strings.Join(names, ", ")}
}

// smallestDump finds the smallest share d of the tank that, replaced by source
// water, lets stocks bring every macronutrient within the tolerance, and keeps what
// the recipe never lets pass. Additions x and d are one bounded problem: minimise
// d² (and a trace of x², which makes the answer single) under |tank + d·(water −
// tank) + Σ x·stock − target| ≤ tolerance·target. The water whose place x takes is
// known from the round before, as in a blend.
func (out *Corrected) smallestDump(c *Correction, tank Content) (least float64, role dosing.Role) {
	roles := []dosing.Role{dosing.RoleNone}
	if out.Add.Steered || out.Fresh.Steered {
		roles = []dosing.Role{dosing.RoleAcid, dosing.RoleBase}
	}
	least = math.NaN()
	for _, r := range roles { // never acid and base together
		if share := out.dumpWith(c, tank, r); share < least || math.IsNaN(least) {
			least, role = share, r
		}
	}
	return least, role
}

func (out *Corrected) dumpWith(c *Correction, tank Content, role dosing.Role) float64 {
	var q squares.Problem
	share, volume := 0.0, 0.0
	for range mostRounds {
		err := out.dumpRound(&q, c, tank, role, share, volume)
		if err != nil { // no share suffices: the stocks themselves cannot make the recipe
			return math.NaN()
		}
		was, held := share, volume
		share, volume = q.X[0], out.Add.Task.volume(q.X[1:])
		if math.Abs(share-was) < 1e-6 && math.Abs(volume-held) < 1e-6 {
			break
		}
	}
	if share < 5e-4 {
		return 0
	}
	return math.Min(share, 1)
}

// What is used of the tolerance in the search for the share, and in the blend after
// it: neither stands on the edge of the one before.
const (
	marginal = 0.99
	kept     = 0.995
)

func (out *Corrected) dumpRound(q *squares.Problem, c *Correction, tank Content, role dosing.Role, dumped, volume float64) error {
	n := len(c.Stocks) + 1
	q.Size(n)
	task, wants := out.Add.Task, out.Add.Wants
	task.refill, task.dumped, task.Base = &c.Water, dumped, tank
	known, share := task.around(volume)
	columns := c.columns(q, &out.Add.Wants, tank, share, role)
	most := func(of func(Content) float64, limit float64) {
		row := make([]float64, n)
		for i := range row {
			row[i] = of(columns[i])
		}
		q.Rows = append(q.Rows, limited(row, limit-of(known)))
	}
	within := marginal * c.Tolerance
	for s, w := range wants {
		one := func(v Content) float64 { return v[s] }
		if w.Stated && w.Weight > 0 && w.Amount > 0 && Substance(s).Macro() {
			// Ammonium is taken up first and soon nitrified: only its surplus counts.
			most(one, w.Amount*(1+within))
			if Substance(s) != NH4 {
				most(func(v Content) float64 { return -v[s] }, -w.Amount*(1-within))
			}
		}
		if w.Limited {
			most(one, w.Most)
		}
	}
	if w := out.Add.N; w.Stated && w.Amount > 0 {
		most(Content.Nitrogen, w.Amount*(1+within))
		most(func(v Content) float64 { return -v.Nitrogen() }, -w.Amount*(1-within))
	}
	most(func(v Content) float64 { return v[NH4] - float64(task.MaxNH4*v.Nitrogen()) }, 0)
	if role != dosing.RoleNone { // the pH is to be met as well, so that the acid's nutrient counts
		need := out.Fresh.Settled.StrongCharge - float64(phosphateNear*out.Fresh.Reached[P])
		most(balanceOf, need+0.02)
		most(func(v Content) float64 { return -balanceOf(v) }, -need+0.02)
	}
	return q.Solve()
}

// columns are what a litre gains by each unknown of a dump: first the source water that
// takes the place of what was dumped, then each stock; q takes their costs and bounds.
func (c *Correction) columns(q *squares.Problem, wants *[SubstanceCount]Want, tank Content, share float64, role dosing.Role) []Content {
	n := len(c.Stocks) + 1
	columns := make([]Content, n)
	columns[0] = Content{}.Plus(c.Water.Plus(tank, -1), share)
	q.G[0], q.Upper[0] = 1, 1
	for i := range c.Stocks {
		columns[i+1] = Content{}.Plus(c.Stocks[i].perUnit(), share)
		sum := 0.0
		for s := NO3; s <= S; s++ {
			if wants[s].Amount > 0 {
				sum += math.Pow(columns[i+1][s]/wants[s].Amount, 2)
			}
		}
		if c.Stocks[i].acidic() {
			sum = max(sum, math.Pow(balanceOf(columns[i+1]), 2))
		}
		q.G[(i+1)*n+i+1] = 1e-6 * max(sum, 1e-6)
		if c.Stocks[i].AtMost > 0 {
			q.Upper[i+1] = c.Stocks[i].AtMost
		}
		if c.Stocks[i].acidic() && c.Stocks[i].Role != role {
			q.Upper[i+1] = 0
		}
	}
	return columns
}

// limited brings a row to a length of about one, as squares wants its limits.
func limited(row []float64, most float64) squares.Limit {
	sum := 0.0
	for _, v := range row {
		sum += float64(v * v)
	}
	if sum = math.Sqrt(sum); sum > 0 {
		for i := range row {
			row[i] /= sum
		}
		most /= sum
	}
	return squares.Limit{Row: row, Most: most}
}

// longRun balances the account since the last analysis: what was there and what
// was given, less what is there now, is what plants (and losses) took for each
// litre of water. Feeding just that keeps the tank where it is.
func (out *Corrected) longRun(c *Correction, tank Content) error {
	if c.Before == nil {
		return nil
	}
	if !(c.TopUp > 0) {
		return &Refusal{"the account since the last analysis lacks the water that was topped up", "state the litres, for example -topup 600"}
	}
	if len(c.Given) != len(c.Stocks) {
		return &Refusal{"the account since the last analysis lacks what was given", "state mL of each stock, for example -given calcium=1200,bloom=900"}
	}
	before, err := c.Before.Tank(c.TempC)
	if err != nil {
		return err
	}
	taken := Content{}.Plus(before.Content, c.Litres).Plus(tank, -c.Litres).Plus(c.Water, c.TopUp)
	for i, volume := range c.Given {
		taken = taken.Plus(c.Stocks[i].perUnit(), volume)
	}
	uptake := Content{}.Plus(taken, 1/c.TopUp)
	recipe := Recipe{Name: "what the plants took"}
	for s := range SubstanceCount {
		// What was not measured both times has no account.
		if s < Carbon && c.Recipe.Wants[s].Stated && c.Before.Stated[s] && c.Tank.Stated[s] {
			recipe.Wants[s] = Want{Stated: true, Amount: max(uptake[s], 0), Weight: c.Recipe.Wants[s].Weight}
		}
	}
	if c.Recipe.Nitrogen.Stated && c.Before.Stated[NO3] && c.Tank.Stated[NO3] {
		recipe.Nitrogen = Want{Stated: true, Amount: max(uptake.Nitrogen(), 0), Weight: 1}
	}
	out.Uptake = &uptake
	out.LongRun, err = Solve(Task{Recipe: recipe, Base: c.Water, Stocks: c.Stocks, PH: c.PH, TempC: c.TempC, MaxNH4: c.MaxNH4})
	var refusal *Refusal
	if errors.As(err, &refusal) {
		out.NoLongRun, err = refusal.Error(), nil
	}
	return err
}

// Shares are the shares of the blend by volume that a mixture means, stocks only;
// they sum to one.
func (m *Mix) Shares() []float64 {
	shares, sum := make([]float64, len(m.Amounts)), 0.0
	for i, v := range m.Amounts {
		if m.Task.Stocks[i].Role == dosing.RoleStock {
			shares[i] = v
			sum += v
		}
	}
	for i := range shares {
		if sum > 0 {
			shares[i] /= sum
		}
	}
	return shares
}
