package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/report"
	"leat/dosing"
	"leat/safety"
)

// sampleRecord is a night with two doses of acid, one of which nobody knows, an interlock
// and a change by mara.
func sampleRecord(period string) (*report.Report, error) {
	at := sampleView().At.Wall
	share := 0.98
	t := report.Tank{Name: "north", Verdict: "In band pH 98 %.", PH: report.Held{InBand: &share}, Liquids: []report.Liquid{{Pump: "acid-north", Liquid: "nitric acid 38 %", Role: "acid", ML: 20, Count: 2}},
		Doses: []report.Dose{{At: at.Add(-2 * time.Hour), Pump: "acid-north", ML: 10, Outcome: "delivered", Reason: "pH high"},
			{At: at.Add(-time.Hour), Pump: "acid-north", ML: 10, Outcome: "uncertain", Cause: "no report", Reason: "pH high"}},
		Withheld: []report.Stretch{{From: at.Add(-3 * time.Hour), To: at.Add(-2 * time.Hour), Held: 3600, Cause: "flood", Text: "A flood is under way", Want: "acid"}},
		Changes:  []report.Change{{At: at.Add(-4 * time.Hour), What: "pH setpoint 5.8 → 5.9", By: "mara", From: "page", Note: "bench <2>"}}}
	for minute := range 180 {
		t.PH.Line = append(t.PH.Line, report.Point{At: at.Add(time.Duration(minute-180) * time.Minute), Value: 6.3 - float64(minute)/1000})
	}
	return &report.Report{From: at.Add(-12 * time.Hour), To: at, Words: period, Zone: "UTC", Tanks: []report.Tank{t}, Refused: []report.Change{{At: at, What: "setpoint refused", By: "visitor"}}}, nil
}

func TestEachDoseIsToldWithItsReasonWhatWasExpectedWhatWasSeenAndHowItEnded(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("visitor", password)
	_, page := b.get("/tank/north/doses")
	want(t, page, "acid-north · nitric acid 38 %: 20.0 mL in 2", "10.0 mL</b> delivered <small>pH high · expected pH -0.12 · seen pH 6.24 → 6.22", "uncertain: no report")
}

func TestTheRecordTellsWhoChangedWhatAndIsTakenAwayBySomebodySignedIn(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	if code, page := b.get("/export/doses.csv"); code != http.StatusOK || !strings.Contains(page, "Sign in") {
		t.Errorf("a stranger's export: %d %s", code, page)
	}
	b.signIn("visitor", password)
	for _, path := range []string{"/record", "/record/night", "/record/week", "/record/month"} {
		_, page := b.get(path)
		want(t, page, "In band pH 98 %.", "for 1 h 0 min: A flood is under way", "pH setpoint 5.8 → 5.9", "mara, page · “bench &lt;2&gt;”", `href="/export/doses.csv"`, "1 refused or denied")
	}
	for _, path := range []string{"/record/decade", "/record/night/x", "/export/people.csv", "/export/..%2fledger"} {
		if code, _ := b.get(path); code != http.StatusNotFound {
			t.Errorf("%s: %d", path, code)
		}
	}
	if _, text := b.get("/export/doses.csv"); text != "doses since 2025-02-28\n" {
		t.Errorf("the export is %q", text)
	}
	broken := newHouse(t, func(o *Options) {
		o.Record = func(string) (*report.Report, error) { return nil, errors.New("disk I/O error") }
	}).browser(t)
	broken.signIn("mara", password)
	_, page := broken.get("/record")
	want(t, page, "the record cannot be read: disk I/O error")
}

func TestTheStocksSayHowLongTheyLast(t *testing.T) {
	v := sampleView()
	v.Pumps[0].Lasts = controller.StockView{Pump: "acid-north", Left: dosing.Litre, Known: true, Lasting: dosing.Lasting{PerDay: 100, Days: 9.7, Low: 6.2, High: 14}}
	h := newHouse(t)
	h.show(v)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/stocks")
	want(t, page, "1000 mL</b> left", "9 days (6 to 14)", `href="/refill#acid-north"`, `href="/pump/acid-north"`)
	_, page = b.get("/refill")
	want(t, page, `id="acid-north"`, "Enter the refill of acid-north")
}

// What the form hands to whoever reads analyses.
func TestAnAnalysisIsTypedByTheIonOrPastedAsASheet(t *testing.T) {
	var lists []string
	h := newHouse(t, func(o *Options) {
		o.ReadAnalysis = func(list string, _ *controller.Request) error { lists = append(lists, list); return nil }
	})
	b := h.browser(t)
	b.signIn("mara", password)
	form := url.Values{"do": {"analysis"}, "tank": {"north"}, "unit": {"mmol/L"}, "ion-NO3-N": {"12,1"}, "ion-K": {" 5.2 "}, "ion-pH": {"5,8"}, "ion-EC": {"1.8"}, "sampled": {"2026-03-01T09:00"}}
	_, page := b.post("/ask", form)
	want(t, page, "Accepted", "Shares of the blend, before and after", `<th scope="row">calcium</th><td class="figure">18.0 %</td><td class="figure">18.0 %</td>`)
	form = url.Values{"do": {"analysis"}, "tank": {"north"}, "analysis": {"Parameter\tResult\r\nNO3-N\t168,5\tmg/L\r\nPotassium; 275; mg/L\nCa : 115\npH 5,8\nEC 1.8 mS/cm\n\n"}}
	b.post("/ask", form)
	if want := []string{"NO3-N=12.1 mmol/L, K=5.2 mmol/L, pH=5.8, EC=1.8 mS/cm", "NO3-N=168.5 mg/L, Potassium=275 mg/L, Ca=115 mg/L, pH=5.8, EC=1.8 mS/cm"}; !slices.Equal(lists, want) {
		t.Errorf("read\n%q, want\n%q", lists, want)
	}
	if last := h.asked[0]; last.Kind != controller.RequestAnalysis || last.Sampled.Format(time.RFC3339) != "2026-03-01T09:00:00Z" {
		t.Errorf("the core was asked %+v", last)
	}
	for sheet, fault := range map[string]string{"K 275 mg/L\nCa <0,1 mg/L": "line 2 of the sheet, &#34;Ca &lt;0,1 mg/L&#34;, is not understood", "K 1,275.3 mg/L": "is not understood", "none": "no line such as"} {
		code, page := b.post("/ask", url.Values{"do": {"analysis"}, "tank": {"north"}, "analysis": {sheet}})
		want(t, page, fault)
		if code != http.StatusBadRequest {
			t.Errorf("%q: %d", sheet, code)
		}
	}
	if _, page := b.post("/ask", url.Values{"do": {"analysis"}, "tank": {"north"}, "analysis": {"K 275"}, "ion-K": {"3"}}); !strings.Contains(page, "leave one of them empty") {
		t.Error("fields and a sheet together are taken")
	}
}

func FuzzSheetOfALaboratory(f *testing.F) {
	for _, sheet := range []string{"NO3-N\t168,5\tmg/L", "K; 275", "pH 5.8", "a\nb 1", "Ca <0.1", ""} {
		f.Add(sheet)
	}
	f.Fuzz(func(t *testing.T, sheet string) {
		list, err := sheetOf(sheet, "mg/L")
		if err != nil {
			return
		}
		lines := 0
		for _, line := range strings.Split(sheet, "\n") {
			if strings.ContainsAny(line, "0123456789") {
				lines++
			}
		}
		if got := strings.Count(list, "="); got != lines {
			t.Errorf("%q became %q: %d of %d lines with figures", sheet, list, got, lines)
		}
	})
}

func TestAProbeIsCalibratedStepByStep(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north/probes")
	want(t, page, "Calibrate ph", "Calibrate ec", "No calibration is on record")
	if strings.Contains(page, "Read it now") {
		t.Error("a standard can be read before the calibration began")
	}
	b.post("/ask", url.Values{"do": {"calibrate"}, "tank": {"north"}, "probe": {"ph"}, "step": {"begin"}, "part": {"-begin-ph"}, "back": {"/tank/north/probes"}})
	v := sampleView()
	v.Tanks[0].Calibrating = "ph"
	h.show(v)
	_, page = b.get("/tank/north/probes")
	want(t, page, "Calibrating ph", "<option>7.00</option>", "Read it now", "Accept", "Cancel")
	_, page = b.post("/ask", url.Values{"do": {"calibrate"}, "tank": {"north"}, "probe": {"ph"}, "step": {"read"}, "standard": {"label"}, "label": {"7,02"}, "celsius": {"21,5"}, "part": {"-read"}, "back": {"/tank/north/probes"}})
	want(t, page, "Accepted", "Calibrating ph")
	got := []controller.Calibrating{h.asked[0].Calibrating, h.asked[1].Calibrating}
	if want := []controller.Calibrating{{Probe: "ph", Step: "begin"}, {Probe: "ph", Step: "read", Standard: "label:7.02", Celsius: 21.5}}; !slices.Equal(got, want) {
		t.Errorf("the core was asked %+v", got)
	}
	row := safety.Of(safety.CauseMaintenance)
	v.Tanks[0].Calibrating, v.Tanks[0].Holds = "", []controller.HoldView{{Cause: row.Cause, Action: row.Action, Scope: row.Scope}}
	h.show(v)
	_, page = b.get("/tank/north/probes")
	want(t, page, "Put the probe back", "Resume")
}

func TestAPumpIsMeasuredStepByStep(t *testing.T) {
	v := sampleView()
	v.Pumps[0].Largest = []controller.LargestView{{Tank: "north"}}
	h := newHouse(t)
	h.show(v)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/pump/acid-north")
	want(t, page, "Its rate was never measured", "Withhold dosing from north", `name="seconds3"`)
	_, page = b.post("/ask", url.Values{"do": {"pump-rate"}, "pump": {"acid-north"}, "seconds1": {"60"}, "ml1": {"98,5"}, "seconds2": {"60"}, "ml2": {"99"}, "back": {"/pump/acid-north"}})
	want(t, page, "Accepted", "Measure it")
	if last := h.asked[0]; last.Runs != "60=98.5, 60=99" || last.Kind != controller.RequestPumpRate {
		t.Errorf("the core was asked %+v", last)
	}
	_, page = b.post("/ask", url.Values{"do": {"pump-rate"}, "pump": {"acid-north"}, "seconds1": {"60"}, "ml1": {""}, "back": {"/pump/acid-north"}})
	want(t, page, "Refused: run 1, mL: ")
	if code, _ := b.get("/pump/nobody"); code != http.StatusNotFound {
		t.Errorf("a pump that is not there: %d", code)
	}
}

func TestTheScheduleIsShownByStageAndHoliday(t *testing.T) {
	v := sampleView()
	at := v.At.Wall
	v.Tanks[0].Plan = &controller.Schedule{DayBegins: 6 * time.Hour, DayEnds: 22 * time.Hour, Stages: []controller.Stage{{Name: "seedlings", From: at.AddDate(0, 0, -9), PH: 5.9, EC: 1.2}, {Name: "heads", From: at.AddDate(0, 0, 5), EC: 1.8, NightEC: 2, Over: 72 * time.Hour}},
		Holidays: []controller.Holiday{{Name: "spring", From: at, To: at.AddDate(0, 0, 7), EC: 1.5}}}
	h := newHouse(t)
	h.show(v)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north/schedule")
	want(t, page, "Day from 06:00 to 22:00", "seedlings", "1.80, 2.00 by night", "over 3 days", "spring", "End the holiday")
	b.post("/ask", url.Values{"do": {"end-holiday"}, "tank": {"north"}})
	if last := h.asked[0]; last.Kind != controller.RequestEndHoliday {
		t.Errorf("the core was asked %+v", last)
	}
}

func TestWhoIsSignedInIsListedAndCanBeSignedOutFromAnotherDevice(t *testing.T) {
	h := newHouse(t)
	lost, desk, visitor := h.browser(t), h.browser(t), h.browser(t)
	lost.signIn("mara", password)
	desk.signIn("mara", password)
	visitor.signIn("visitor", password)
	_, page := desk.get("/people")
	if n := strings.Count(page, "/people/end"); n != 2 {
		t.Errorf("an engineer can sign out %d others, want 2", n)
	}
	want(t, page, "This is you, here", "from 127.0.0.1", "visitor", "that too, and:", "<li>arm</li>")
	_, page = visitor.get("/people")
	if strings.Contains(page, "mara") || strings.Contains(page, "/people/end") {
		t.Errorf("a visitor sees others:\n%s", page)
	}
	h.sessions.mu.Lock()
	ids := map[string]string{}
	for token, held := range h.sessions.byToken {
		ids[token] = held.id
	}
	h.sessions.mu.Unlock()
	base, _ := url.Parse(h.Address())
	id := ids[lost.Jar.Cookies(base)[0].Value]
	if code, _ := visitor.post("/people/end", url.Values{"session": {id}}); code != http.StatusNotFound {
		t.Errorf("a visitor's try to sign mara out: %d", code)
	}
	if _, page := lost.get("/"); strings.Contains(page, "Sign in") {
		t.Error("mara was signed out by a visitor")
	}
	desk.post("/people/end", url.Values{"session": {id}})
	if _, page := lost.get("/"); !strings.Contains(page, "Sign in") {
		t.Error("the lost phone is still signed in")
	}
	if last := h.deeds[len(h.deeds)-1]; last != "mara page ended a session mara" {
		t.Errorf("audited %q", last)
	}
}
