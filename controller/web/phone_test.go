package web

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"leat/controller"
	"leat/controller/web/webtest"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// What looks at the page in a real browser.
var phone, do, waitFor, scheme, unfold, press = webtest.Phone, webtest.Do, webtest.WaitFor, webtest.Scheme, webtest.Unfold, webtest.Press

func ask[T any](t testing.TB, ctx context.Context, expression string) T {
	t.Helper()
	return webtest.Ask[T](t, ctx, expression)
}

// fourTanks are the sample's tank three times more: one well, one moving, one for tomorrow.
func fourTanks() *controller.View {
	v := sampleView()
	for i, name := range []string{"nursery", "pond-with-a-long-name", "film"} {
		t := sampleView().Tanks[0]
		t.Name, t.Mode, t.Holds, t.Alarms = name, safety.ModeArmed, nil, nil
		switch i {
		case 1:
			t.Inputs[0].Value, t.Wants = 6.6, dosing.RoleAcid
		case 2:
			row := safety.Of(safety.CauseNoResponse)
			t.Holds = []controller.HoldView{{Cause: row.Cause, Action: row.Action, Scope: row.Scope, Pump: "acid-north", Since: v.At, Text: row.Text, Clears: row.Clears}}
			t.Alarms = []controller.AlarmView{{Cause: row.Cause, State: alarm.Unacknowledged, Priority: row.Priority, Text: row.Text, Advice: row.Advice, Since: v.At}}
		}
		v.Tanks = append(v.Tanks, t)
	}
	v.Judge()
	return v
}

func TestFourVerdictsStandOnOneScreenAndNoneOutOfControlIsGreen(t *testing.T) {
	h := newHouse(t)
	h.show(fourTanks())
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	if low := ask[float64](t, ctx, `Math.max(...[...document.querySelectorAll(".told")].map(e => e.getBoundingClientRect().bottom))`); low > 844 {
		t.Errorf("the last verdict ends at %.0f px", low)
	}
	if cut := ask[string](t, ctx, `[...document.querySelectorAll(".told, .say")].filter(e => e.scrollHeight > e.clientHeight + 2).map(e => e.textContent).join("; ")`); cut != "" {
		t.Errorf("cut off: %s", cut)
	}
	if green := ask[string](t, ctx, `[...document.querySelectorAll(".word.well")].map(e => e.closest(".tank").querySelector("strong").textContent).join()`); green != "nursery" {
		t.Errorf("green are %s, want nursery", green)
	}
	if title := ask[string](t, ctx, "document.title"); !strings.HasPrefix(title, "north and film need you tonight. First north: doses nothing;") {
		t.Errorf("the title is %q", title)
	}
	do(t, ctx, chromedp.Click(`.tank[href="/tank/film"]`))
	do(t, ctx, chromedp.WaitVisible(".big"))
	if verdict := ask[string](t, ctx, `document.getElementById("verdict").textContent`); !strings.HasPrefix(verdict, "Cannot lower pH: ") {
		t.Errorf("the tank's page says %q", verdict)
	}
}

func TestAReloadOfTheAnswerBooksNothingAndEnterInAFieldDoesNothing(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	for _, path := range []string{"/tank/north/change", "/tank/north/enter", "/alarm/north/circulation-off", "/refill"} {
		do(t, ctx, chromedp.Navigate(h.Address()+path))
		if many := ask[string](t, ctx, `[...document.forms].filter(f => f.querySelectorAll("button:not([hidden])").length !== 1).map(f => f.id).join()`); many != "" {
			t.Errorf("%s: the forms %s have another number of buttons than one", path, many)
		}
		unfold(t, ctx)
		ask[int](t, ctx, `window.sent = "", document.addEventListener("submit", e => { window.sent += e.target.id + " "; e.preventDefault() }), 0`)
		for _, id := range strings.Fields(ask[string](t, ctx, `[...document.querySelectorAll("form[id] input:not([type=hidden]):not([type=checkbox])")].map((f, i) => f.id = "field" + i).join(" ")`)) {
			do(t, ctx, chromedp.SendKeys("#"+id, "6\r"))
		}
		if sent := ask[string](t, ctx, `window.sent`); sent != "" {
			t.Errorf("%s: Enter in a field sent %s", path, sent)
		}
	}
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/enter"))
	if chosen := ask[string](t, ctx, `document.querySelector("#hand-dose select").value`); chosen != "" {
		t.Errorf("%q is preselected", chosen)
	}
	if sends := ask[bool](t, ctx, `document.getElementById("hand-dose").checkValidity()`); sends {
		t.Error("the form can be sent without a pump")
	}
	ask[string](t, ctx, `(document.querySelector("#hand-dose select").value = "acid-north", document.querySelector('#hand-dose input[name="ml"]').value = "10")`)
	do(t, ctx, chromedp.Click("#hand-dose button:not([hidden])"))
	do(t, ctx, chromedp.WaitVisible("section.answer"))
	for range 3 {
		do(t, ctx, chromedp.Reload())
		do(t, ctx, chromedp.WaitVisible("section.answer"))
	}
	if n := h.count.Load(); n != 1 {
		t.Errorf("the core was asked %d times, want once, for the 10 mL", n)
	}
}
