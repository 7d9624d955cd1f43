package controller_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/blend"
	"leat/safety"
)

// held is what the daemon says of an ion of the north tank.
func (s *stage) held(ion string) controller.IonView {
	s.t.Helper()
	v := s.view(north).Ions
	if v == nil {
		s.t.Fatal("the tank has no account of its ions")
	}
	for _, i := range v.Ions {
		if i.Name == ion {
			return i
		}
	}
	s.t.Fatalf("no %s in the account", ion)
	return controller.IonView{}
}

// sample is the water of the north tank as a laboratory without error finds it.
func (s *stage) sample() blend.Analysis {
	truth := s.farm.Truth(north)
	a := blend.Analysis{Content: blend.ContentOf(truth.Ions), Alkalinity: -1, PH: truth.PH, EC: truth.EC}
	for i := blend.NO3; i <= blend.Cl; i++ {
		a.Stated[i] = true
	}
	return a
}

func (s *stage) analysis(a blend.Analysis, role controller.Role) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestAnalysis, Tank: north, Analysis: a, Role: role, By: "lab", From: "page"})
}

// acidSurplus: all the acid that this water and these plants need, as phosphoric
// acid, is more phosphate than they take.
func acidSurplus(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	st.pass(30 * time.Minute)
	if _, ok := st.alarm(north, s.cause); ok {
		t.Error("a surplus is called within half an hour")
	}
	if !st.until(15*time.Hour, func() bool { _, ok := st.alarm(north, s.cause); return ok }) {
		t.Fatalf("no alarm: %+v", st.held("P"))
	}
	a, _ := st.alarm(north, s.cause)
	if a.Priority != safety.PriorityTomorrow || !strings.Contains(a.Text, "acid supplies more P than the crop takes") || !strings.Contains(a.Advice, "Change or split the acid") {
		t.Errorf("%s: %s; %s", a.Priority, a.Text, a.Advice)
	}
	st.namedAlike(north, s.cause)
	if w := st.view(north).Ions.Surplus; !strings.Contains(w, "P") {
		t.Errorf("the view says %q", w)
	}
	// The next analysis closes the account.
	if answer := st.analysis(st.sample(), controller.RoleEngineer); !answer.Accepted {
		t.Fatal(answer.Text)
	}
	if !st.until(time.Hour, func() bool { a, ok := st.alarm(north, s.cause); return !ok || !a.State.Stands() }) {
		t.Error("it never ends")
	}
}

func phosphoricAcid(text string) string {
	return replaceOnce(text, "name = \"acid-north\"\nrole = \"acid\"\nreagent = \"nitric acid\"\nstrength = \"38 %\"", "name = \"acid-north\"\nrole = \"acid\"\nreagent = \"phosphoric acid\"\nstrength = \"60 %\"")
}

func TestTheAccountFollowsWhatTheFarmTrulyDoes(t *testing.T) {
	st := newStage(t, &scenario{recipe: true, options: func(o *sim.Options) { o.StartPH, o.StartECShare = 5.8, 1 }})
	st.Arm()
	st.pass(20 * time.Minute)
	if answer := st.analysis(st.sample(), controller.RoleEngineer); !answer.Accepted {
		t.Fatal(answer.Text)
	}
	st.pass(18 * time.Hour)
	truth := blend.ContentOf(st.farm.Truth(north).Ions)
	for s := blend.NO3; s <= blend.Cl; s++ {
		ion := st.held(s.Symbol())
		if off := math.Abs(ion.Amount - truth[s]); off > 2*ion.Off+0.02 {
			t.Errorf("%s: thought %.3f ± %.3f, truly %.3f mmol/L", s, ion.Amount, ion.Off, truth[s])
		}
	}
	sum := 0.0
	for _, s := range st.view(north).Ions.Shares {
		sum += s.Share
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("the shares sum to %g", sum)
	}
}

func TestAnAnalysisTellsBothWhatTheTankHoldsAndWhatToGive(t *testing.T) {
	st := newStage(t, &scenario{recipe: true, options: func(o *sim.Options) { o.StartPH, o.StartECShare = 5.8, 1 }})
	st.Arm()
	st.pass(20 * time.Minute)
	before := st.view(north).Ions
	if !before.Analysed.IsZero() || !strings.Contains(before.Advice, "never analysed") {
		t.Errorf("before any analysis: %v, %q", before.Analysed, before.Advice)
	}
	a := st.sample()
	a.Content[blend.K] *= 0.7 // and less nitrate with it
	a.Content[blend.NO3] -= a.Content[blend.K] * 0.3 / 0.7
	a.EC = 0
	answer := st.analysis(a, controller.RoleEngineer)
	if !answer.Accepted || !strings.Contains(answer.Text, "shares") {
		t.Fatal(answer.Text)
	}
	st.pass(2 * time.Minute)
	after := st.view(north).Ions
	share := func(v *controller.IonsView, pump string) float64 {
		for _, s := range v.Shares {
			if s.Pump == pump {
				return s.Share
			}
		}
		return 0
	}
	if was, is := share(before, "potassium-nitrate"), share(after, "potassium-nitrate"); !(is > was*1.3) {
		t.Errorf("potassium is a third short, and its stock's share went from %.2f to %.2f", was, is)
	}
	if after.Analysed.IsZero() {
		t.Error("the view does not say when it was analysed")
	}
	if again := st.analysis(a, controller.RoleEngineer); again.Accepted || !strings.Contains(again.Text, "already") {
		t.Errorf("the same analysis again: %v, %q", again.Accepted, again.Text)
	}
	// It outlives a restart, and counts once.
	st.restart(time.Minute)
	st.pass(10 * time.Minute)
	again := st.view(north).Ions
	if !again.Analysed.Equal(after.Analysed) {
		t.Errorf("analysed %v before the restart, %v after it", after.Analysed, again.Analysed)
	}
	for i := range after.Ions {
		was, is := after.Ions[i], again.Ions[i]
		if math.Abs(was.Amount-is.Amount) > 0.02*was.Amount || is.Off > 1.2*was.Off+1e-3 || is.Off < was.Off*0.95-1e-6 {
			t.Errorf("%s: %.3f ± %.3f before the restart, %.3f ± %.3f after it", was.Name, was.Amount, was.Off, is.Amount, is.Off)
		}
	}
}

func TestTopUpSinceTheLastRecordIsKnownAfterAnOrderlyEnd(t *testing.T) {
	st := newStage(t, &scenario{recipe: true, options: func(o *sim.Options) { o.StartPH, o.StartECShare = 5.8, 1 }})
	st.Arm()
	st.pass(70 * time.Minute) // past the hourly record
	recorded := st.held("Cl").Amount
	st.pass(45 * time.Minute) // top-up brings chloride, which no dose does
	was := st.held("Cl").Amount
	if !(was > recorded*1.0005) {
		t.Fatalf("no top-up in three quarters of an hour: chloride %.5f, then %.5f mmol/L", recorded, was)
	}
	st.Step(controller.Event{Kind: controller.EventEnding})
	st.Sync()
	st.restart(time.Minute)
	st.pass(2 * time.Minute)
	if is := st.held("Cl").Amount; math.Abs(is-was) > 0.2*(was-recorded) {
		t.Errorf("chloride %.5f mmol/L before the end, %.5f after it; %.5f at the record before", was, is, recorded)
	}
}

func TestDosesSinceTheLastRecordAreCountedAfterARestart(t *testing.T) {
	st := newStage(t, &scenario{recipe: true, options: func(o *sim.Options) { o.StartPH, o.StartECShare = 5.8, 1 }})
	st.Arm()
	st.pass(70 * time.Minute) // past the hourly record
	answer := st.byHand(acidNorth, 100*dosing.Millilitre, "")
	if answer = st.byHand(acidNorth, 100*dosing.Millilitre, answer.Confirm); !answer.Accepted {
		t.Fatal(answer.Text)
	}
	before := st.held("NO3-N").Acid
	st.pass(2 * time.Minute)
	with := st.held("NO3-N").Acid
	if !(with > before+0.3) {
		t.Fatalf("acid's nitrate %.3f before 100 mL of it, %.3f after", before, with)
	}
	st.restart(time.Minute)
	st.pass(2 * time.Minute)
	if is := st.held("NO3-N").Acid; math.Abs(is-with) > 0.02*with {
		t.Errorf("acid brought %.3f mmol/L of nitrate before the restart, %.3f after it", with, is)
	}
}

func TestAnalysesAreRefusedWithWhatToDo(t *testing.T) {
	st := newStage(t, &scenario{recipe: true, options: func(o *sim.Options) { o.StartPH, o.StartECShare = 5.8, 1 }})
	st.pass(20 * time.Minute)
	refused := func(what, want string, a controller.Answer) {
		if a.Accepted || !strings.Contains(a.Text, want) {
			t.Errorf("%s: accepted %v, %q; want %q", what, a.Accepted, a.Text, want)
		}
	}
	refused("an operator", "engineer", st.analysis(st.sample(), controller.RoleOperate))
	other := st.sample()
	other.Content[blend.Ca] *= 10
	refused("another decimal", "have the analysis repeated", st.analysis(other, controller.RoleEngineer))
	other = st.sample()
	other.EC *= 2
	refused("another EC", "repeated", st.analysis(other, controller.RoleEngineer))
	refused("a sample of last year", "at most 21 days", st.Ask(controller.Request{Kind: controller.RequestAnalysis, Tank: north, Analysis: st.sample(),
		Sampled: st.Now().Wall.AddDate(-1, 0, 0), Role: controller.RoleEngineer}))
	refused("a sample of tomorrow", "at most 21 days", st.Ask(controller.Request{Kind: controller.RequestAnalysis, Tank: north, Analysis: st.sample(),
		Sampled: st.Now().Wall.AddDate(0, 0, 1), Role: controller.RoleEngineer}))
	if !st.view(north).Ions.Analysed.IsZero() {
		t.Error("one of them counted")
	}
	bare := newStage(t, &scenario{recipe: true, settings: func(c *controller.Settings) { c.Tanks[north].Ratio = nil }})
	bare.pass(10 * time.Minute)
	refused("a tank without a recipe", "[tank.recipe]", bare.analysis(st.sample(), controller.RoleEngineer))
	if bare.view(north).Ions != nil {
		t.Error("a tank without a recipe shows an account")
	}
}

func TestARecipeThatIsTakenAwayLeavesTheSharesByHand(t *testing.T) {
	st := newStage(t, &scenario{recipe: true})
	st.Arm()
	st.pass(10 * time.Minute)
	plan := st.file.Settings.Tanks[north].Ratio
	st.reconfigure(func(c *controller.Settings) { c.Tanks[north].Ratio = nil })
	st.pass(5 * time.Minute)
	if st.view(north).Ions != nil {
		t.Error("the account is still shown")
	}
	if st.view(nursery).Ions == nil {
		t.Error("the other tank's account is gone too")
	}
	st.reconfigure(func(c *controller.Settings) { c.Tanks[north].Ratio = plan })
	st.pass(5 * time.Minute)
	if st.view(north).Ions == nil {
		t.Error("the account does not come back with the recipe")
	}
}
