package web

import (
	"net/url"
	"strings"
	"testing"

	"leat/controller"
	"leat/safety"
	"leat/safety/line"
)

func TestBeforeArmingThePageSaysWhatIsMissingAndWhatItWouldDo(t *testing.T) {
	h := newHouse(t)
	v := sampleView()
	tank := &v.Tanks[0]
	tank.Mode, tank.WouldDose = safety.ModeObserving, "It would dose 12.0 mL of nitric acid."
	row := safety.Of(safety.CauseSolutionUnconfirmed)
	tank.Holds = []controller.HoldView{{Cause: safety.CauseObserving, Action: safety.Hold}, {Cause: row.Cause, Action: row.Action, Text: row.Text}}
	v.Pumps[0].Left = -1
	v.Pumps[0].Largest = []controller.LargestView{{Tank: "north"}}
	v.Judge()
	h.show(v)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north")
	want(t, page, `href="/tank/north/first"`)
	_, page = b.get("/tank/north/first")
	want(t, page, `href="/alarm/north/solution-unconfirmed"`, "Nothing is dosed while this is so.", "No calibration of ph is on record.", `What these pumps give was never measured: <a href="/pump/acid-north">acid-north</a>`,
		`nobody is warned before they are empty: <a href="/refill#acid-north">acid-north</a>`, "It would dose 12.0 mL of nitric acid.", "12.0 mL of acid-north")
	if strings.Contains(page, "alarm/north/observing") {
		t.Error("that it observes is told as a lack")
	}
	b.post("/ask", url.Values{"do": {"arm"}, "tank": {"north"}, "back": {"/tank/north/first"}})
	if len(h.asked) != 1 || h.asked[0].Kind != controller.RequestArm {
		t.Errorf("asked %+v", h.asked)
	}
}

func TestATanksPageShowsWhatIsOnlyWatched(t *testing.T) {
	h := newHouse(t)
	v := sampleView()
	v.Tanks[0].Line = []line.Figure{{Name: "oxygen", Text: "7.9 mg/L"}, {Name: "UV lamp", Text: "120 h of 8000"}}
	h.show(v)
	b := h.browser(t)
	b.signIn("visitor", password)
	_, page := b.get("/tank/north")
	want(t, page, "Around the tank", "oxygen", "7.9 mg/L", "UV lamp", "120 h of 8000")
}

func TestAStretchIsShadedByWhoseItIs(t *testing.T) {
	for cause, kind := range map[string]string{"flood": "wait", "operator-pause": "person", "maintenance": "person", "no-response": "trouble", "ph-stale": "trouble", "of a later leat": "trouble"} {
		if got := kindOf(cause); got != kind {
			t.Errorf("%s is shaded as %s, want %s", cause, got, kind)
		}
	}
}
