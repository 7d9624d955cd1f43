package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(all{m}) }

// all are the tests, after which the browser that they share is closed.
type all struct{ *testing.M }

func (a all) Run() int {
	defer closeBrowser()
	return a.M.Run()
}

// house is a server with a farm of fixed figures behind it.
type house struct {
	*Server
	view   atomic.Pointer[controller.View]
	people sync.Map // by name
	asked  []controller.Request
	count  atomic.Int32 // of them, for who waits while a real browser asks
	loop   atomic.Int64 // how long ago the decision loop stepped
	deeds  []string
}

func (h *house) show(v *controller.View) { h.view.Store(v) }

const password = "three quiet grey herons"

func sampleView() *controller.View {
	wall := time.Date(2026, 3, 1, 21, 30, 0, 0, time.UTC)
	at := dosing.Instant{Wall: wall, Up: time.Hour}
	reading := func(name string, q dosing.Quantity, value float64) controller.InputView {
		return controller.InputView{Name: name, Quantity: q, Present: true, Value: value, Age: 3 * time.Second, Quality: dosing.QualityGood}
	}
	bounds := controller.SetpointView{Working: 5.8, Final: 5.8, Source: "file", Min: 5, Max: 7, AdvisedMin: 5.5, AdvisedMax: 6.3, Confirm: 0.3, At: wall}
	row := safety.Of(safety.CauseCirculationOff)
	v := &controller.View{At: at, Station: "row", LinkUp: true, Ledger: safety.LedgerReady, Epoch: 3,
		Tanks: []controller.TankView{{Name: "north", Mode: safety.ModeHolding, Cause: safety.CauseCirculationOff, Reason: "holding: " + row.Text, Next: "clears: " + row.Clears,
			Inputs: []controller.InputView{reading("ph", dosing.QuantityPH, 5.93), reading("ec", dosing.QuantityEC, 1.78), reading("temperature", dosing.QuantityTemperature, 21.2),
				reading("circulation", dosing.QuantityCirculation, 0), {Name: "redox", Quantity: dosing.QuantityRedox, NotFitted: "no redox probe on this farm"}},
			Pours: []controller.PourView{{Pump: "acid-north", Liquid: "nitric acid 38 %", PH: -0.12, EC: 0.004}},
			Hands: []controller.HandView{{Name: "H3-1", Pump: "acid-north", Liquid: "nitric acid 38 %", Volume: 12 * dosing.Millilitre, At: wall, By: "mara"}},
			PH:    bounds, EC: controller.SetpointView{Working: 1.8, Final: 1.8, Source: "file", Min: 0.3, Max: 4, AdvisedMin: 0.8, AdvisedMax: 2.8, Confirm: 0.4, At: wall},
			Settled: controller.SettledView{Known: true, PH: 5.9, EC: 1.8}, LeavesWarn: 40 * time.Minute, LeavesHarm: 3 * time.Hour, Fit: true, Ions: sampleIons(at),
			Holds:  []controller.HoldView{{Cause: safety.CauseCirculationOff, Action: safety.Hold, Scope: safety.ScopeTank, Since: at, Text: row.Text, Clears: row.Clears}},
			Alarms: []controller.AlarmView{{Cause: safety.CauseCirculationOff, State: alarm.Unacknowledged, Priority: safety.PriorityTonight, Text: row.Text, Advice: row.Advice, Since: at}}}},
		Pumps: []controller.PumpView{{Name: "acid-north", Reagent: "nitric acid", Role: dosing.RoleAcid, HourlyCap: 264 * dosing.Millilitre, DailyCap: 1303 * dosing.Millilitre, Left: dosing.Litre}},
		Nodes: []controller.NodeView{{Name: "reagents", Seen: true, Age: time.Second, Boot: "a1b2"}}}
	v.Judge()
	return v
}

// sampleIons is an account as the page shows it: potassium far below its target.
func sampleIons(at dosing.Instant) *controller.IonsView {
	ion := func(name string, amount, off, target, mass float64) controller.IonView {
		return controller.IonView{Name: name, Macro: true, Amount: amount, Off: off, Target: target, Milligrams: mass}
	}
	return &controller.IonsView{At: at, Recipe: "lettuce", Analysed: at.Wall.AddDate(0, 0, -6),
		Ions: []controller.IonView{ion("NO3-N", 12.1, 0.6, 12.4, 14.007), ion("NH4-N", 0.7, 0.3, 0.8, 14.007), ion("P", 1.36, 0.08, 1.31, 30.974), ion("K", 5.2, 0.4, 7.2, 39.098),
			ion("Ca", 3.2, 0.2, 2.95, 40.078), ion("Mg", 0.7, 0.05, 0.65, 24.305), ion("S", 0.79, 0.06, 0.74, 32.06), {Name: "Fe", Amount: 0.04, Target: 0.04, Milligrams: 55.845}},
		Shares:  []controller.ShareView{{Pump: "calcium", Share: 0.18}, {Pump: "potassium-nitrate", Share: 0.52}, {Pump: "phosphate", Share: 0.3}},
		Surplus: "acid supplies more P than the crop takes: 1.20 against 0.70 mmol/L since the last analysis", AmmoniumAdvice: "NH4 6 → 8 % of N: about half the acid",
		Advice: "an analysis is wanted now: S may be 29 % off", Plan: sampleCorrection(1.8, 9*24*time.Hour, time.Time{}), Offer: sampleCorrection(1.9, 5*24*time.Hour, at.Wall.AddDate(0, 0, 5))}
}

// sampleCorrection brings potassium back.
func sampleCorrection(ec float64, in time.Duration, until time.Time) *controller.CorrectionView {
	return &controller.CorrectionView{EC: ec, In: in, Until: until, Given: []controller.GivenView{{Pump: "calcium", Volume: 1240 * dosing.Millilitre}, {Pump: "potassium-nitrate", Volume: 5390 * dosing.Millilitre}},
		Ions: []controller.ThenView{{Name: "K", Now: 5.2, Then: 7, Target: 7.2, Milligrams: 39.098}, {Name: "Mg", Now: 0.7, Then: 0.66, Target: 0.65, Milligrams: 24.305}}}
}

// sampleNight is twelve hours of pH that falls from 6.6 to 5.9, with an hour in the
// middle when nothing was heard, a setpoint that was moved, doses and two floods; and no EC.
func sampleNight(from, to time.Time) (map[string]*Night, error) {
	n := &Night{From: from, To: to, Sentence: "In band 98 %; 126 mL acid in 40 doses; 2 holds, both flood.", PH: Trace{Band: 0.1, Set: []Point{{from, 5.8}, {from.Add(6 * time.Hour), 6}}}}
	acid := Lane{Pump: "acid-north", Liquid: "nitric acid 38 %", Role: "acid", ML: 126}
	for at := from; at.Before(to); at = at.Add(time.Minute) {
		passed := at.Sub(from)
		if passed < 5*time.Hour || passed > 6*time.Hour {
			n.PH.Line = append(n.PH.Line, Point{At: at, Value: 6.6 - float64(0.7*passed.Hours())/12})
		}
		if passed%(18*time.Minute) == 0 {
			acid.Doses = append(acid.Doses, Dose{At: at, ML: 3.15, Sure: len(acid.Doses) != 3})
		}
	}
	n.Lanes = []Lane{acid, {Pump: "calcium", Liquid: "calcium nitrate", Role: "stock", ML: 12.25, Doses: []Dose{{At: from.Add(time.Hour), ML: 12.25, Sure: true}}}}
	n.Held = []Held{{from.Add(2 * time.Hour), from.Add(140 * time.Minute), "flood"}, {from.Add(8 * time.Hour), from.Add(500 * time.Minute), "flood"}, {from.Add(5 * time.Hour), from.Add(6 * time.Hour), "ph-stale"}}
	return map[string]*Night{"north": n}, nil
}

func newHouse(t testing.TB, changes ...func(*Options)) *house {
	t.Helper()
	h := &house{}
	h.show(sampleView())
	hash, err := Hash(password)
	if err != nil {
		t.Fatal(err)
	}
	h.people.Store("mara", Person{Name: "mara", Role: controller.RoleEngineer, Hash: hash})
	h.people.Store("visitor", Person{Name: "visitor", Role: controller.RoleView, Hash: hash})
	options := Options{Listen: "127.0.0.1:0", Socket: filepath.Join(t.TempDir(), "leat.sock"),
		ECScale: dosing.ECScales[0], View: h.view.Load,
		Ask: func(_ context.Context, r controller.Request) (controller.Answer, error) {
			h.asked = append(h.asked, r)
			h.count.Add(1)
			switch {
			case r.Role < r.Kind.Needs():
				return controller.Answer{Kind: r.Kind, Text: r.Kind.String() + " needs the role " + r.Kind.Needs().String()}, nil
			case r.Kind == controller.RequestSetpoint && r.Value > 7:
				return controller.Answer{Kind: r.Kind, Quantity: r.Quantity, Text: "ph 58 is outside 5 to 7 and was not taken", Old: 5.8, New: r.Value}, nil
			case r.Kind == controller.RequestSetpoint && r.Value > 6.1 && r.Confirm == "":
				return controller.Answer{Kind: r.Kind, Quantity: r.Quantity, Text: "5.8 to 6.2 is a step of 0.4, more than 0.3", Confirm: "beadfeed", Old: 5.8, New: r.Value}, nil
			case r.Kind == controller.RequestHandDose && r.Volume > 100*dosing.Millilitre && r.Confirm == "":
				return controller.Answer{Kind: r.Kind, Text: "expected pH -0.60. That is much", Confirm: "cafe0001"}, nil
			}
			return controller.Answer{Kind: r.Kind, Quantity: r.Quantity, Accepted: true, Text: "taken"}, nil
		},
		Stations: func() []Station {
			return []Station{{Name: "north-row", View: h.view.Load()}, {Name: "loft", Trouble: "disk I/O error"}, {Name: "attic", Owner: "shed-1"}, {Name: "cellar"}}
		},
		Night: sampleNight, Record: sampleRecord,
		Export: func(w io.Writer, kind string, from time.Time) error {
			_, err := fmt.Fprintf(w, "%s since %s\n", kind, from.Format(time.DateOnly))
			return err
		},
		People: func() (all []Person, _ error) {
			h.people.Range(func(_, p any) bool { all = append(all, p.(Person)); return true })
			return all, nil
		},
		ReadAnalysis: func(list string, _ *controller.Request) error {
			return errors.New("no analysis: K: 275 has no unit")
		},
		Find: func(name string) (Person, bool, error) {
			p, ok := h.people.Load(name)
			if !ok {
				return Person{}, false, nil
			}
			return p.(Person), true, nil
		},
		Audit: func(who, from, what, detail string) {
			h.deeds = append(h.deeds, strings.Join([]string{who, from, what, detail}, " "))
		},
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "leat_up 1\n") }),
		Ready:   func() error { return errors.New("the broker is not connected") }, Alive: func() error { return nil }, Loop: func() time.Duration { return time.Duration(h.loop.Load()) }}
	for _, change := range changes {
		change(&options)
	}
	if h.Server, err = New(options); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- h.Serve(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Errorf("server ended with %v", err)
		}
	})
	return h
}

// browser is a client that keeps cookies and follows redirects.
type browser struct {
	*http.Client
	t    *testing.T
	base string
	once func() string // the id of a form that the page would hold
}

func (h *house) browser(t *testing.T) *browser {
	jar, _ := cookiejar.New(nil)
	b := &browser{Client: &http.Client{Jar: jar, Transport: &http.Transport{}}, t: t, base: h.Address(), once: h.Server.once.id}
	t.Cleanup(b.CloseIdleConnections)
	return b
}

func (b *browser) get(path string) (int, string) {
	b.t.Helper()
	return b.read(b.Get(b.base + path))
}

func (b *browser) post(path string, form url.Values) (int, string) {
	b.t.Helper()
	if path == "/ask" && !form.Has("once") { // as a form of the page that was just loaded
		form = maps.Clone(form)
		form.Set("once", b.once())
	}
	return b.read(b.PostForm(b.base+path, form))
}

func (b *browser) read(response *http.Response, err error) (int, string) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return response.StatusCode, string(text)
}

var onceIn = regexp.MustCompile(`name="once" value="([^"]+)"`)

func (b *browser) signIn(name, password string) (int, string) {
	return b.post("/signin", url.Values{"name": {name}, "password": {password}})
}

func want(t *testing.T, page string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		if !strings.Contains(page, part) {
			t.Errorf("page lacks %q:\n%s", part, page)
		}
	}
}

func TestPageShowsStateReasonReadingsAndHoldsOnlyToWhoIsSignedIn(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	if _, page := b.get("/"); !strings.Contains(page, "Sign in") || strings.Contains(page, "5.93") {
		t.Fatalf("a stranger sees the farm:\n%s", page)
	}
	if code, _ := b.get("/state"); code != http.StatusUnauthorized {
		t.Errorf("the state as JSON answers a stranger with %d", code)
	}
	if code, page := b.signIn("mara", password); code != http.StatusOK {
		t.Fatalf("sign-in: %d\n%s", code, page)
	}
	row := safety.Of(safety.CauseCirculationOff)
	for path, parts := range map[string][]string{"/": {"north needs you tonight", "Doses nothing: ", "5.93", "since 21:30"},
		"/tank/north":                  {"holding", row.Text, "5.93", "1.78 mS/cm (17.8 CF)", "under 20 s old", "What is not fitted", "redox: no redox probe", "tonight", `href="/alarm/north/circulation-off"`},
		"/alarm/north/circulation-off": {row.Text, row.Advice, row.Clears, "The crop is safe until about 00:30", "Acknowledge", "Keep it quiet"},
		"/stocks":                      {"acid-north", "264 mL"},
		"/tank/north/change":           {"chlorine gas", "no emergency stop"},
		"/tank/north/enter":            {"Acid into water"},
		"/refill":                      {"Litres it holds now"}} {
		code, page := b.get(path)
		want(t, page, parts...)
		if code != http.StatusOK {
			t.Errorf("%s: %d", path, code)
		}
	}
	for _, path := range []string{"/tank/nowhere", "/tank/north/roof", "/alarm/north/boredom", "/tank/"} {
		if code, _ := b.get(path); code != http.StatusNotFound {
			t.Errorf("%s is answered %d", path, code)
		}
	}
}

func TestWrongPasswordsAreRefusedLimitedAndAudited(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	for i := range attemptsMost {
		if code, _ := b.signIn("mara", "wrong"); code != http.StatusForbidden {
			t.Fatalf("attempt %d: %d", i, code)
		}
	}
	if code, page := b.signIn("mara", password); code != http.StatusTooManyRequests || !strings.Contains(page, "Wait five minutes") {
		t.Errorf("after %d wrong attempts: %d", attemptsMost, code)
	}
	// The first of each kind; the others are counted in the line of a minute later.
	if len(h.deeds) != 2 || !strings.Contains(h.deeds[0], "sign-in refused") || !strings.Contains(h.deeds[1], "sign-in limited") {
		t.Errorf("audit has %d lines: %v", len(h.deeds), h.deeds)
	}
}

func TestOneTimeLinkSignsInOnce(t *testing.T) {
	h := newHouse(t)
	link := strings.TrimPrefix(h.SignInLink(controller.RoleEngineer), h.Address())
	if code, page := h.browser(t).get(link); code != http.StatusOK || !strings.Contains(page, "5.93") {
		t.Errorf("the first use: %d", code)
	}
	if code, page := h.browser(t).get(link); code != http.StatusForbidden || !strings.Contains(page, "used before") {
		t.Errorf("the second use: %d", code)
	}
}

func TestSetpointOf58IsRefusedVisiblyAndAStepIsConfirmed(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	form := url.Values{"do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {"58"}}
	if code, page := b.post("/ask", form); code != http.StatusUnprocessableEntity || !strings.Contains(page, "Refused") || !strings.Contains(page, "outside 5 to 7") {
		t.Errorf("58 was answered %d:\n%s", code, page)
	}
	form.Set("value", "6.2")
	_, page := b.post("/ask", form)
	want(t, page, "Please confirm", `value="beadfeed"`, "Yes, 5.8 → 6.2", `name="value" value="6.2"`)
	form.Set("confirm", "beadfeed")
	if code, page := b.post("/ask", form); code != http.StatusOK || !strings.Contains(page, "Accepted") {
		t.Errorf("confirmed step: %d", code)
	}
	last := h.asked[len(h.asked)-1]
	if last.By != "mara" || last.From != "page" || last.Quantity != dosing.QuantityPH || last.Value != 6.2 || last.Confirm != "beadfeed" {
		t.Errorf("the core was asked %+v", last)
	}
	for _, bad := range []url.Values{{"do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {"five"}}, {"do": {"dance"}, "tank": {"north"}},
		{"do": {"stop"}, "tank": {"south"}}, {"do": {"hand-dose"}, "tank": {"north"}, "pump": {"acid-north"}, "ml": {"NaN"}},
		{"do": {"shelve"}, "tank": {"north"}, "cause": {"leak"}, "for": {"soon"}}, {"do": {"refill"}, "pump": {"acid-north"}, "litres": {"all"}}, {"do": {"refill"}, "pump": {"nobody"}, "litres": {"2"}}, {"do": {"acknowledge"}, "tank": {"north"}, "cause": {"boredom"}}} {
		if code, page := b.post("/ask", bad); code != http.StatusBadRequest || !strings.Contains(page, "nothing was changed") {
			t.Errorf("%v was answered %d:\n%s", bad, code, page)
		}
	}
}

func TestDecimalCommaOfAPhoneIsUnderstoodAndAThousandsMarkIsNot(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	form := url.Values{"do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {" 5,9 "}}
	if code, page := b.post("/ask", form); code != http.StatusOK || h.asked[len(h.asked)-1].Value != 5.9 {
		t.Errorf("5,9 was answered %d:\n%s", code, page)
	}
	for _, bad := range []string{"1,234.5", "1,2,3", "5.9,", "Inf", ""} {
		form.Set("value", bad)
		if code, _ := b.post("/ask", form); code != http.StatusBadRequest {
			t.Errorf("%q was answered %d", bad, code)
		}
	}
}

func TestManualAdditionOffersThePumpsOfTheTankIsConfirmedAndCanBeVoided(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north/enter")
	want(t, page, `<option value="" selected disabled>choose</option><option value="acid-north">acid-north · nitric acid 38 %; 10 mL: pH -0.12</option></select>`, `name="entry" value="H3-1"`)
	form := url.Values{"do": {"hand-dose"}, "tank": {"north"}, "pump": {"acid-north"}, "ml": {"1000"}, "note": {"by the jug"}}
	_, page = b.post("/ask", form)
	want(t, page, "Please confirm", `name="confirm" value="cafe0001"`, `name="ml" value="1000"`, `name="note" value="by the jug"`, "Yes, 1000 mL of acid-north were added")
	form.Set("confirm", "cafe0001")
	if code, _ := b.post("/ask", form); code != http.StatusOK {
		t.Errorf("confirmed: %d", code)
	}
	b.post("/ask", url.Values{"do": {"void"}, "tank": {"north"}, "entry": {"H3-1"}})
	if last := h.asked[len(h.asked)-1]; last.Kind != controller.RequestVoid || last.Entry != "H3-1" {
		t.Errorf("the core was asked %+v", last)
	}
	b.post("/ask", url.Values{"do": {"confirm-water"}, "tank": {"north"}, "note": {"rinsed"}, "water": {"source"}})
	if last := h.asked[len(h.asked)-1]; last.Kind != controller.RequestConfirmWater || last.Water.String() != "source" {
		t.Errorf("the core was asked %+v", last)
	}
	for _, word := range []string{"tank", "tank:nowhere", "source:north"} {
		if code, _ := b.post("/ask", url.Values{"do": {"confirm-water"}, "tank": {"north"}, "water": {word}}); code != http.StatusBadRequest {
			t.Errorf("water=%s: %d", word, code)
		}
	}
	b.post("/ask", url.Values{"do": {"confirm-water"}, "tank": {"north"}, "note": {"rinsed"}, "water": {"tank:north"}})
	if last := h.asked[len(h.asked)-1]; !last.Water.OfTank() || last.Other != last.Tank {
		t.Errorf("the core was asked %+v", last)
	}
	if code, page := b.post("/ask", url.Values{"do": {"confirm-water"}, "tank": {"north"}, "water": {"rain"}}); code != http.StatusBadRequest || !strings.Contains(page, "want one of same, source") {
		t.Errorf("an unknown word for the water: %d", code)
	}
	form.Set("pump", "")
	if code, page := b.post("/ask", form); code != http.StatusBadRequest || !strings.Contains(page, "no such pump") {
		t.Errorf("without a pump: %d", code)
	}
}

func TestAFormSentTwiceOrLoadedAgainIsCarriedOutOnce(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north/change")
	ids := map[string]bool{}
	for _, found := range onceIn.FindAllStringSubmatch(page, -1) {
		ids[found[1]] = true
	}
	if forms := strings.Count(page, `action="/ask"`); len(ids) != forms || forms < 5 {
		t.Errorf("%d forms have %d ids", forms, len(ids))
	}
	form := url.Values{"do": {"hand-dose"}, "tank": {"north"}, "pump": {"acid-north"}, "ml": {"10"}, "once": {onceIn.FindStringSubmatch(page)[1]}}
	b.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	var answers sync.WaitGroup
	for range 8 {
		answers.Go(func() {
			response, err := b.PostForm(b.base+"/ask", form)
			if err != nil {
				t.Error(err)
				return
			}
			_ = response.Body.Close()
			if to := response.Header.Get("Location"); response.StatusCode != http.StatusSeeOther || !strings.HasPrefix(to, "/tank/north/enter?answer=") {
				t.Errorf("answered %d to %q", response.StatusCode, to)
			}
		})
	}
	answers.Wait()
	answer := "/tank/north/enter?answer=" + form.Get("once")
	for range 2 {
		if code, page := b.get(answer); code != http.StatusOK || !strings.Contains(page, "<h2>Accepted") {
			t.Errorf("the answer is %d", code)
		}
	}
	if len(h.asked) != 1 {
		t.Errorf("the core was asked %d times", len(h.asked))
	}
	other := h.browser(t)
	other.signIn("visitor", password)
	if _, page := other.get(answer); strings.Contains(page, "<h2>Accepted") {
		t.Error("another person sees the answer")
	}
	for _, id := range []string{"", "x", form.Get("once") + "0000", "AAAAAAAAAAAA-1"} {
		form.Set("once", id)
		if code, page := b.post("/ask", form); code != http.StatusBadRequest || !strings.Contains(page, "older page") {
			t.Errorf("id %q was answered %d", id, code)
		}
	}
	if len(h.asked) != 1 {
		t.Errorf("the core was asked %d times", len(h.asked))
	}
}

func TestAPauseMayHaveAnEndAndAnAlarmMayBeShelved(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/alarm/north/circulation-off")
	want(t, page, `name="do" value="shelve"`, `name="cause" value="circulation-off"`)
	b.post("/ask", url.Values{"do": {"pause"}, "tank": {"north"}, "until": {"06:00"}})
	b.post("/ask", url.Values{"do": {"shelve"}, "tank": {"north"}, "cause": {"circulation-off"}, "for": {"2h"}})
	if len(h.asked) != 2 || h.asked[0].Kind != controller.RequestPause || h.asked[0].Until != "06:00" ||
		h.asked[1].Kind != controller.RequestShelve || h.asked[1].For != 2*time.Hour || h.asked[1].Cause != safety.CauseCirculationOff {
		t.Errorf("the core was asked %+v", h.asked)
	}
}

func TestWhenASampleWasTakenIsReadInTheStationsZone(t *testing.T) {
	zone := time.FixedZone("two hours east", 2*60*60)
	for text, want := range map[string]time.Time{"2026-03-01T09:00": time.Date(2026, 3, 1, 7, 0, 0, 0, time.UTC), "2026-03-01T09:00:00Z": time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)} {
		if got, err := sampledAt(text, zone); err != nil || !got.Equal(want) {
			t.Errorf("%s: %v, %v; want %v", text, got, err, want)
		}
	}
	if _, err := sampledAt("yesterday", zone); err == nil || !strings.Contains(err.Error(), "2026-01-01T09:00") {
		t.Errorf("yesterday: %v", err)
	}
}

func TestAnalysisThatWasNotTakenNeedNotBeTypedAnew(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.post("/ask", url.Values{"do": {"analysis"}, "tank": {"north"}, "analysis": {"K=275, Ca=115 mg/L"}})
	want(t, page, "275 has no unit", ">K=275, Ca=115 mg/L</textarea>", `role="alert">Refused: `)
}

func TestSomeoneWhoWasRemovedOrChangedIsSignedOutAtOnce(t *testing.T) {
	h := newHouse(t)
	for name, change := range map[string]func(Person){
		"removed":        func(p Person) { h.people.Delete(p.Name) },
		"lower role":     func(p Person) { p.Role = controller.RoleView; h.people.Store(p.Name, p) },
		"other password": func(p Person) { p.Hash = "$argon2id$other"; h.people.Store(p.Name, p) }} {
		mara, _ := h.people.Load("mara")
		b := h.browser(t)
		b.signIn("mara", password)
		change(mara.(Person))
		if _, page := b.post("/ask", url.Values{"do": {"arm"}, "tank": {"north"}}); !strings.Contains(page, "Sign in") {
			t.Errorf("%s: still sees the page", name)
		}
		h.people.Store("mara", mara)
		if _, page := b.get("/"); !strings.Contains(page, "Sign in") {
			t.Errorf("%s: the session came back", name)
		}
	}
	if len(h.asked) > 0 {
		t.Errorf("the core was asked %v", h.asked)
	}
}

func TestVisitorSeesButCannotChange(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("visitor", password)
	for _, path := range []string{"/", "/tank/north", "/alarm/north/circulation-off", "/stocks"} {
		if _, page := b.get(path); strings.Contains(page, `action="/ask"`) || strings.Contains(page, "/change\"") || strings.Contains(page, "/refill\"") || !strings.Contains(page, "north") {
			t.Errorf("the visitor's %s offers changes, or shows nothing", path)
		}
	}
	if code, page := b.post("/ask", url.Values{"do": {"stop"}, "tank": {"north"}}); code != http.StatusUnprocessableEntity || !strings.Contains(page, "needs the role") {
		t.Errorf("a visitor's stop was answered %d", code)
	}
}

func TestRequestFromAnotherOriginIsRefused(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	for _, header := range []http.Header{{"Sec-Fetch-Site": {"cross-site"}}, {"Origin": {"http://elsewhere.example"}}} {
		request, err := http.NewRequest(http.MethodPost, b.base+"/ask", strings.NewReader("do=stop&tank=north"))
		if err != nil {
			t.Fatal(err)
		}
		request.Header = header
		request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if code, _ := b.read(b.Do(request)); code != http.StatusForbidden {
			t.Errorf("%v was answered %d", header, code)
		}
	}
	if len(h.asked) > 0 {
		t.Errorf("the core was asked %v", h.asked)
	}
}

func TestHealthReadinessAndMetricsNeedNoSignIn(t *testing.T) {
	b := newHouse(t).browser(t)
	if code, text := b.get("/healthz"); code != http.StatusOK || text != "alive\n" {
		t.Errorf("healthz: %d %q", code, text)
	}
	if code, text := b.get("/readyz"); code != http.StatusServiceUnavailable || !strings.Contains(text, "broker is not connected") {
		t.Errorf("readyz: %d %q", code, text)
	}
	if code, text := b.get("/metrics"); code != http.StatusOK || !strings.Contains(text, "leat_up") {
		t.Errorf("metrics: %d %q", code, text)
	}
}

func TestPortInUseIsAClearError(t *testing.T) {
	h := newHouse(t)
	_, err := New(Options{Listen: strings.TrimPrefix(h.Address(), "http://")})
	if err == nil || !strings.Contains(err.Error(), "page:") || !strings.Contains(err.Error(), "choose another address") {
		t.Errorf("got %v", err)
	}
}

func TestIonsAreShownAgainstTheirTargetsInWordsToo(t *testing.T) {
	page, err := Page(sampleView(), "mara", controller.RoleEngineer)
	if err != nil {
		t.Fatal(err)
	}
	text := string(page)
	for _, want := range []string{"Ions against the recipe lettuce", `aria-label="K: 203 of 282 mg/L, give or take 15.6"`, `class="far"`, "NH4 6 → 8 % of N", "Acid supplies more P", "analysis is wanted",
		"potassium-nitrate 52.0 %", "Enter the analysis"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if n := strings.Count(text, `class="far"`); n != 2 {
		t.Errorf("%d ions are shown as far off, want potassium alone, on the tank's page and the solution's", n)
	}
	if strings.Contains(text, ">Fe<") {
		t.Error("a micronutrient has a bar")
	}
	page, err = Page(sampleView(), "visitor", controller.RoleOperate)
	if err != nil || strings.Contains(string(page), "Enter the analysis") {
		t.Errorf("an operator is offered to enter an analysis (%v)", err)
	}
}
