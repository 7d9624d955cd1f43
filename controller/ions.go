package controller

import (
	"fmt"
	"strings"
	"time"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
	"leat/safety"
	"leat/safety/ledger"
)

// accounts keeps the account of single ions of each tank that has a recipe.
type accounts struct {
	*station
	wishes  *wishes
	entered []rate // analyses, by tank
}

// ions is the account of a tank's single ions, kept where the tank has a recipe.
type ions struct {
	account  *ratio.Tank // nil = the stocks are shared by hand
	staged   bool        // its recipe was looked up in the stages since the start
	followed time.Duration
	came     dosing.Litres // top-up that is in the account
	last     string        // the newest analysis, as recorded
	surplus  string
	view     *IonsView
}

// IonsView is what a tank is thought to hold. It never changes: a new one takes its
// place.
type IonsView struct {
	At             dosing.Instant
	Recipe         string
	Analysed       time.Time // zero = never: a weak start from recipe and water
	Ions           []IonView
	Shares         []ShareView
	Surplus        string          // what acid or base brings too much of, in words
	AmmoniumAdvice string          // what ammonium's share could do about the acid, in words; advice only
	Dumps          []ratio.Dump    // that are due
	Setpoint       float64         // the EC that keeps the nutrients at the recipe's strength; 0 = the present one does, or nothing is known
	Wanted         time.Time       // by when an analysis is; zero = not to be foreseen
	Plan           *CorrectionView // what the stocks are to give by the last analysis; nil = nothing is known by one
	Offer          *CorrectionView // a setpoint of EC that corrects better, for a person to approve; nil = none
	Advice         string          // when the next analysis is wanted and whether a dump is due, in words
}

// IonView is one ion, mmol/L and mg/L by its atom.
type IonView struct {
	Name                string // as in analyses: NO3-N, K, Ca
	Macro               bool
	Amount, Off, Target float64 // mmol/L; Off is the standard uncertainty; Target 0 = not in the recipe
	Milligrams          float64 // of a mmol
	Acid, Base          float64 // mmol/L that acid and base brought since the last analysis
}

// ShareView is a stock's share of the blend by volume.
type ShareView struct {
	Pump  string
	Share float64
}

// followEvery is how often the account follows EC; plants take a ten-thousandth of
// what a tank holds meanwhile. It takes some 20 µs, new shares another 60.
const followEvery = time.Minute

// begin begins the account of a tank that has a recipe.
func (ac *accounts) begin(id dosing.TankID) error {
	t := &ac.tanks[id]
	t.ions = ions{}
	if plan := t.settings.Ratio; plan != nil {
		account, err := ratio.New(plan)
		if err != nil {
			return fmt.Errorf("tank %q: %w", t.plant.Name, err)
		}
		t.ions.account = account
	}
	t.ions.came = t.loops.ToppedUp()
	t.reshare(&ac.settings.Safety)
	return nil
}

// reshare hands the account's shares to the loops.
func (t *tank) reshare(set *safety.Settings) {
	if a := t.ions.account; a != nil && a.Shares() != nil {
		t.loops.Reshare(a.Shares())
	}
	t.weighBlend(set.Pumps)
}

// dosedIons counts a settled dose.
func (t *tank) dosedIons(set *safety.Settings, pump dosing.PumpID, volume dosing.Volume) {
	if t.ions.account != nil {
		t.ions.account.Dosed(pump, volume, set.Pumps[pump].AcidPerML)
	}
}

// follow lets each account follow EC and top-up. While a dose is open it is in
// the settled EC and not yet in the account, so that waits.
func (ac *accounts) follow(now dosing.Instant) {
	if ac.dose.state != doseNone {
		return
	}
	for i := range ac.tanks {
		t := &ac.tanks[i]
		if t.ions.account == nil || t.operator.Maintenance || t.operator.Cleaning {
			continue // water comes and goes, and a person says afterwards which
		}
		if now.Up-t.ions.followed < followEvery && t.ions.view != nil {
			continue
		}
		t.ions.followed = now.Up
		t.toppedUpIons()
		t.ions.account.Toward(t.ec.present)
		if e := t.loops.Estimate(now, t.target()); e.ECKnown {
			pH := 0.0
			if e.PHKnown {
				pH = float64(e.MeasuredPH)
			}
			t.ions.account.Follow(now.Up, float64(e.MeasuredEC)+e.ECInTransit, pH)
		}
		ac.judge(now, dosing.TankID(i))
	}
}

func (t *tank) toppedUpIons() {
	came := t.loops.ToppedUp()
	t.ions.account.ToppedUp(float64(came - t.ions.came))
	t.ions.came = came
}

// judge solves the shares anew where the account moved enough, and shows it.
func (ac *accounts) judge(now dosing.Instant, id dosing.TankID) {
	t := &ac.tanks[id]
	if t.ions.account.Moved() && t.ions.account.Solve() {
		t.reshare(&ac.settings.Safety)
	}
	t.ions.surplus = t.ions.account.Surplus()
	t.ions.view = ac.view(now, t)
}

func (ac *accounts) view(now dosing.Instant, t *tank) *IonsView {
	a := t.ions.account
	v := &IonsView{At: now, Recipe: t.settings.Ratio.Recipe.Name, Analysed: a.Analysed(), Surplus: t.ions.surplus, AmmoniumAdvice: a.AmmoniumAdvice(), Dumps: a.Left().Dumps()}
	held, target := a.Content(), a.Target(t.ec.present)
	acid, base := a.Brought()
	for s := blend.NO3; s < blend.Carbon; s++ {
		if held[s] == 0 && target[s] == 0 {
			continue
		}
		v.Ions = append(v.Ions, IonView{Name: s.Symbol(), Macro: s.Macro(), Amount: held[s], Off: a.Off(s), Target: target[s], Milligrams: s.Mass(), Acid: acid[s], Base: base[s]})
	}
	for i := range ac.settings.Safety.Pumps {
		if p := &ac.settings.Safety.Pumps[i]; p.Role == dosing.RoleStock && t.loops.Share(dosing.PumpID(i)) > 0 {
			v.Shares = append(v.Shares, ShareView{p.Name, t.loops.Share(dosing.PumpID(i))})
		}
	}
	due := a.AnalysisDue()
	if due.In < ratio.FarOff {
		v.Wanted = now.Wall.Add(due.In)
	}
	if v.Advice = due.Words(now.Wall); v.Analysed.IsZero() {
		v.Advice = "never analysed: the recipe is all that is known; have the tank analysed"
	}
	for _, d := range v.Dumps {
		v.Advice = strings.TrimPrefix(v.Advice+"; "+d.String(), "; ")
	}
	v.Plan, v.Offer = ac.correction(now, t)
	var words string
	if v.Setpoint, words = a.Left().Setpoint(); v.Setpoint > 0 && t.ec.until.IsZero() {
		v.Advice = strings.TrimPrefix(v.Advice+"; "+words, "; ")
	}
	return v
}

// oldestSample is how long ago a sample may have been taken.
const oldestSample = 21 * 24 * time.Hour

// ask judges an analysis. It takes effect once its record is durable.
func (ac *accounts) ask(now dosing.Instant, r *Request) {
	t := &ac.tanks[r.Tank]
	ago := time.Duration(0)
	if !r.Sampled.IsZero() {
		ago = now.Wall.Sub(r.Sampled)
	}
	switch {
	case t.ions.account == nil:
		ac.refuse(r, "this tank has no recipe, so nothing would follow from an analysis; state [tank.recipe] in the configuration")
		return
	case ago < -10*time.Minute || ago > oldestSample:
		ac.refuse(r, fmt.Sprintf("a sample taken at %s tells nothing of the tank now; state when it was taken, at most 21 days ago", r.Sampled.Format(time.RFC3339)))
		return
	}
	if list := r.Analysis.List(); list == t.ions.last {
		ac.refuse(r, "this very analysis has been entered already; it counts once")
		return
	}
	if !ac.wishes.mayWish(r) {
		return
	}
	if !ac.entered[r.Tank].free(now.Up) {
		ac.refuse(r, "three analyses of this tank were entered within a minute; enter the next in a minute")
		return
	}
	measured := 0.0
	if e := t.loops.Estimate(now, t.target()); e.ECKnown && ago < 24*time.Hour {
		measured = float64(e.MeasuredEC)
	}
	doubt, err := t.ions.account.Judge(r.Analysis, measured)
	if err != nil {
		ac.refuse(r, err.Error())
		return
	}
	text := "analysis accepted; the shares of the stocks follow it"
	if doubt != "" {
		_, why, _ := strings.Cut(doubt, ": ") // after what was checked
		text += "; it counts half, since " + why
	}
	ac.entered[r.Tank].take(now.Up)
	ac.wishes.await(now, wish{request: *r, text: text}, ledger.Change{Kind: ledger.ChangeAnalysis, Text: r.Analysis.List(), Value: max(ago, 0).Seconds(), Trusted: doubt == ""})
}

// analysed corrects the account by a durable analysis, and writes down what it is
// now: the analysis must not count twice after a restart.
func (ac *accounts) analysed(now dosing.Instant, id dosing.TankID, change ledger.Change) {
	t := &ac.tanks[id]
	if t.ions.account == nil || !t.analyse(ledger.Analysis{Text: change.Text, Ago: time.Duration(change.Value * float64(time.Second)), Trusted: change.Trusted, At: change.At}, now) {
		return
	}
	t.ions.last = change.Text
	ac.judge(now, id)
	ac.recordOf(now, id)
}

// analyse reads a recorded analysis into the account.
func (t *tank) analyse(a ledger.Analysis, now dosing.Instant) bool {
	entries, err := blend.ReadList(a.Text)
	if err != nil {
		return false
	}
	analysis, err := blend.ReadAnalysis(entries)
	if err != nil {
		return false
	}
	ec, pH := 0.0, 0.0
	if e := t.loops.Estimate(now, t.target()); e.Known {
		ec, pH = float64(e.MeasuredEC)+e.ECInTransit, float64(e.MeasuredPH)
	}
	t.ions.account.Analyse(analysis, !a.Trusted, a.At.Wall, now.Up, a.Ago+now.Up-a.At.Up, ec, pH)
	return true
}

// reconfigure takes another recipe, water or row. What the tank holds does not
// change by that.
func (ac *accounts) reconfigure(now dosing.Instant, id dosing.TankID) {
	t := &ac.tanks[id]
	former := t.ions
	if err := ac.begin(id); err != nil {
		t.ions = former
		ac.notice(Notice{Kind: NoticeRefused, Tank: id, Text: "recipe: " + err.Error() + "; the shares stay as they were"})
		return
	}
	switch {
	case former.account == nil:
	case t.ions.account == nil:
		t.loops.Reshare(byHand(ac.settings.Safety.Pumps, id))
		t.weighBlend(ac.settings.Safety.Pumps)
	case t.ions.account.Restore(former.account.Record()) == nil:
		t.ions.last = former.last
		ac.judge(now, id)
	}
}

// byHand are the shares that the pumps of a tank state; they sum to one.
func byHand(pumps []dosing.Pump, id dosing.TankID) []float64 {
	shares, sum := make([]float64, len(pumps)), 0.0
	for i := range pumps {
		if p := &pumps[i]; p.Role == dosing.RoleStock && p.ServesTank(id) {
			shares[i] = p.Share
			sum += p.Share
		}
	}
	for i := range shares {
		shares[i] /= max(sum, 1e-9)
	}
	return shares
}
