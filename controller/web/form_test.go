package web

import (
	"context"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"leat/controller"
	"leat/safety"
)

// script lets the page run its script or not.
func script(t *testing.T, ctx context.Context, off bool) {
	t.Helper()
	do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: off})
		return err
	}))
}

// typeIn fills a field and presses the button of its form, with the keyboard alone.
func typeIn(t *testing.T, ctx context.Context, form, name, text string) {
	t.Helper()
	// With the keyboard too: a summary takes Enter.
	if folded := ask[bool](t, ctx, `document.querySelector('`+form+`').closest("details:not([open])") !== null`); folded {
		do(t, ctx, chromedp.SendKeys("details:has("+form+") > summary", "\r"))
		do(t, ctx, chromedp.WaitVisible(form+" [name="+name+"]"))
	}
	do(t, ctx, chromedp.SendKeys(form+" [name="+name+"]", text))
	do(t, ctx, chromedp.SendKeys(form+" button:not([hidden])", "\r"))
	do(t, ctx, chromedp.WaitVisible("section.answer"))
}

func TestRefusedInputStaysInItsFieldWithTheReasonWithAndWithoutScript(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	for _, off := range []bool{false, true} {
		script(t, ctx, off)
		do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
		typeIn(t, ctx, "#setpoint-ph", "value", "58")
		page, err := chromedp.Run(ctx, chromedp.OuterHTML("#setpoint-ph"))
		if err != nil {
			t.Fatal(err)
		}
		want(t, page, `name="value" value="58"`, `aria-invalid="true"`, "Refused: ph 58 is outside 5 to 7")
		do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
		typeIn(t, ctx, "#pause", "until", "6")
		if last := h.asked[len(h.asked)-1]; last.Kind != controller.RequestPause || last.Until != "6" {
			t.Errorf("the core was asked %+v", last)
		}
		do(t, ctx, chromedp.Navigate(h.Address()+"/alarm/north/circulation-off"))
		typeIn(t, ctx, "#shelve", "until", "2 h")
		if last := h.asked[len(h.asked)-1]; last.Kind != controller.RequestShelve || last.For != 2*time.Hour || last.Cause != safety.CauseCirculationOff {
			t.Errorf("the core was asked %+v", last)
		}
		do(t, ctx, chromedp.Navigate(h.Address()+"/alarm/north/circulation-off"))
		typeIn(t, ctx, "#shelve", "until", "soon")
		if page, err := chromedp.Run(ctx, chromedp.OuterHTML("#shelve")); err != nil || !strings.Contains(page, `value="soon"`) || !strings.Contains(page, "is not understood: write a time of day such as 6 or 18:30") {
			t.Errorf("%v:\n%s", err, page)
		}
	}
	script(t, ctx, false)
}

func TestButtonsFollowTheStateAPauseCountsDownAndAChangeCanBeUndone(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	v := sampleView()
	row := safety.Of(safety.CauseOperatorPause)
	tank := &v.Tanks[0]
	tank.Holds = []controller.HoldView{{Cause: row.Cause, Action: row.Action, Scope: row.Scope, Text: row.Text, Clears: row.Clears}}
	tank.PauseEnds = v.At.Wall.Add(2*time.Hour + 10*time.Minute)
	tank.PH.Final, tank.PH.Undoable, tank.PH.Before = 5.95, true, 5.8
	h.show(v)
	_, page := b.get("/tank/north/change")
	want(t, page, "paused until 23:40, which is in 2 h 10 min", `id="resume"`, "Undo: pH back to 5.80", `id="stop"`, `id="observe"`)
	for _, not := range []string{`id="pause"`, `id="clear"`, `id="arm"`} {
		if strings.Contains(page, not) {
			t.Errorf("a paused, armed tank is offered %s", not)
		}
	}
	undo := page[strings.Index(page, `id="undo-ph"`):]
	b.post("/ask", url.Values{"once": {onceIn.FindStringSubmatch(undo)[1]}, "do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {"5.8"}, "until": {""}, "note": {"undo of 5.95"}})
	if last := h.asked[len(h.asked)-1]; last.Value != 5.8 || last.Note != "undo of 5.95" || last.By != "mara" {
		t.Errorf("the core was asked %+v", last)
	}
	tank.Mode, tank.Holds = safety.ModeStopped, nil
	h.show(v)
	_, page = b.get("/tank/north/change")
	want(t, page, `id="clear"`, `id="pause"`)
	if strings.Contains(page, `id="stop"`) || strings.Contains(page, `id="arm"`) {
		t.Error("a stopped tank is offered to stop, or to arm before it is cleared")
	}
}

func TestAnAlarmIsWalkedStepByStepAndItsTicksAreTheClearingNote(t *testing.T) {
	h := newHouse(t)
	h.show(fourTanks())
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.Address()+"/alarm/film/no-response"))
	do(t, ctx, chromedp.WaitVisible("input[name=name]")) // an alert's link, before the morning's sign-in
	do(t, ctx, chromedp.SendKeys("input[name=name]", "mara"))
	do(t, ctx, chromedp.SendKeys("input[name=password]", password+"\r"))
	do(t, ctx, chromedp.WaitVisible(".card"))
	if at := ask[string](t, ctx, "location.pathname"); at != "/alarm/film/no-response" {
		t.Errorf("sign-in leads to %s", at)
	}
	row := safety.Of(safety.CauseNoResponse)
	if steps := ask[int](t, ctx, `document.querySelectorAll("#clear input[type=checkbox]").length`); steps != len(stepsOf(row.Advice)) || steps < 2 {
		t.Errorf("%d steps can be ticked", steps)
	}
	if crop := ask[string](t, ctx, `document.getElementById("crop").textContent`); crop != "The crop is safe until about 00:30: then pH or EC leaves its harm band, at the drift last seen." {
		t.Error(crop)
	}
	do(t, ctx, chromedp.SendKeys("#clear input[type=checkbox]", " ")) // the first, by the keyboard
	typeIn(t, ctx, "#clear", "note", "a new tube")
	last := h.asked[len(h.asked)-1]
	if first := stepsOf(row.Advice)[0]; last.Kind != controller.RequestClear || last.Note != first+" · a new tube" {
		t.Errorf("the core was asked %+v", last)
	}
	do(t, ctx, chromedp.Navigate(h.Address()+"/alarm/film/no-response"))
	do(t, ctx, chromedp.SendKeys("#acknowledge button:not([hidden])", "\r"))
	do(t, ctx, chromedp.WaitVisible("section.answer"))
	if last := h.asked[len(h.asked)-1]; last.Kind != controller.RequestAcknowledge || last.Cause != safety.CauseNoResponse {
		t.Errorf("the core was asked %+v", last)
	}
	if old := ask[string](t, ctx, `document.getElementById("alarm-state").textContent`); !strings.Contains(old, "not acknowledged, since") {
		t.Error(old)
	}
}

func TestSignInLeadsBackToAPageOfOursAlone(t *testing.T) {
	for path, want := range map[string]string{"/alarm/north/leak": "/alarm/north/leak", "/tank/north/change": "/tank/north/change", "/stocks": "/stocks", "/": "/", "": "/",
		"//elsewhere.example": "/", `/\elsewhere.example`: "/", "https://elsewhere.example": "/", "/tank/north\r\nX: y": "/", "/signout": "/", "/tank//elsewhere?x": "/", "/enter": "/", "tank/north": "/"} {
		if got := inside(path); got != want {
			t.Errorf("%q leads to %q, want %q", path, got, want)
		}
	}
}

func TestAChangeTypedWhenTheSessionEndsIsKeptAndAskedAgain(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	h.sessions.mu.Lock()
	clear(h.sessions.byToken)
	h.sessions.mu.Unlock()
	form := url.Values{"do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {"5.9"}, "note": {"bench 2"}}
	_, page := b.post("/ask", form)
	want(t, page, "Sign in", "What you typed is kept", `name="to" value="/tank/north/change"`)
	_, page = b.post("/signin", url.Values{"name": {"mara"}, "password": {password}, "to": {"/tank/north/change"}})
	want(t, page, `name="value" value="5.9"`, `value="bench 2"`, "you were asked who you are, so nothing was changed yet")
	if len(h.asked) > 0 {
		t.Errorf("the core was asked %+v before anybody sent it again", h.asked)
	}
	other := h.browser(t)
	other.signIn("mara", password)
	if _, page = other.get("/tank/north/change"); strings.Contains(page, "you were asked who you are") || strings.Contains(page, "bench 2") {
		t.Error("another browser finds what this one typed")
	}
	b.post("/ask", form)
	if _, page = b.get("/tank/north/change"); strings.Contains(page, "you were asked who you are") {
		t.Error("what was sent again is still kept")
	}
	for range 2 * keptMost {
		h.kept.keep(httptest.NewRecorder(), url.Values{}, false)
	}
	if len(h.kept.forms) != keptMost {
		t.Errorf("%d forms are kept", len(h.kept.forms))
	}
}
