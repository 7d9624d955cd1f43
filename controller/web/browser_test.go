package web

import (
	"context"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"leat/controller"
	"leat/dosing"
)

const isLive = `document.getElementById("live").textContent.startsWith("live ") && !document.body.classList.contains("old")`

// An hour is 720 updates, each of which is painted; of some pages a part of it. The browser
// itself says what moved.
func TestAnHourOfUpdatesMovesNoControl(t *testing.T) {
	h := newHouse(t)
	h.every = time.Millisecond
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	for path, updates := range map[string]int{"/": 720, "/tank/film/change": 720, "/alarm/film/no-response": 90, "/tank/north/solution": 90, "/stocks": 90} {
		h.show(fourTanks())
		do(t, ctx, chromedp.Navigate(h.Address()+path))
		unfold(t, ctx)
		waitFor(t, ctx, "live", isLive)
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))`, chromedp.EvalAwaitPromise)); err != nil {
			t.Fatal(err) // what was unfolded is painted
		}
		ask[bool](t, ctx, `(window.moved = [], new PerformanceObserver(list => { for (const e of list.getEntries()) for (const s of e.sources) if (s.node && s.node.nodeType === 1 && (s.node.matches("main a, main button, main input, main select, main summary, footer *") || s.node.querySelector("button, input, select, summary")) && !s.node.closest("[data-live]")) window.moved.push(e.value.toFixed(4) + " " + s.node.outerHTML.slice(0, 60)) }).observe({ type: "layout-shift", buffered: false }), true)`)
		tops := `[...document.querySelectorAll("main a, main button, main input, main select, main summary")].filter(e => e.checkVisibility() && !e.closest("[data-live]")).map(e => Math.round(e.getBoundingClientRect().top)).join()`
		before := ask[string](t, ctx, tops)
		for step := 1; step <= updates; step++ {
			v := fourTanks()
			v.At.Wall = v.At.Wall.Add(time.Duration(step) * liveEvery)
			for i := range v.Tanks {
				tank := &v.Tanks[i]
				tank.Inputs[0].Value, tank.Inputs[1].Value = 5.5+float64(step%90)/100, 1.7+float64(step%40)/200
				tank.Inputs[0].Age = time.Duration(step%7) * 20 * time.Second
				if step%60 > 40 && i < 2 { // what was wrong is over for a while
					tank.Alarms, tank.Holds = nil, nil
				}
			}
			v.Pumps[0].Hour, v.Pumps[0].Left = dosing.Volume(step)*dosing.Millilitre, dosing.Litre-dosing.Volume(step)*dosing.Millilitre
			v.Judge()
			h.show(v)
			at := v.At.Wall.Format("15:04:05")
			_, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`new Promise(done => { const look = () => document.getElementById("live").textContent.includes("`+at+`") ? requestAnimationFrame(() => done(true)) : setTimeout(look, 1); look() })`, chromedp.EvalAwaitPromise))
			if err != nil {
				t.Fatalf("%s, update %d: %v", path, step, err)
			}
		}
		if after := ask[string](t, ctx, tops); after != before {
			t.Errorf("%s: controls stood at %s and stand at %s", path, before, after)
		}
		if moved := ask[string](t, ctx, `window.moved.join("; ")`); moved != "" {
			t.Errorf("%s: %.600s", path, moved)
		}
	}
}

// A laptop's lid tells no page: it is frozen, and goes on where it stood.
func TestAPageThatWasFrozenIsOldBeforeItIsPainted(t *testing.T) {
	h := newHouse(t)
	h.every = 50 * time.Millisecond
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north"))
	waitFor(t, ctx, "live", isLive)
	ask[bool](t, ctx, `(document.addEventListener("resume", () => { window.painted = document.body.classList.contains("old") ? "old" : document.getElementById("live").textContent }, { capture: true }), true)`)
	lifecycle := func(state page.SetWebLifecycleStateState) {
		do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(ctx, target, page.SetWebLifecycleState, page.SetWebLifecycleStateParams{State: state})
			return err
		}))
	}
	lifecycle(page.SetWebLifecycleStateStateFrozen)
	lifecycle(page.SetWebLifecycleStateStateActive)
	waitFor(t, ctx, "resumed", `window.painted !== undefined`)
	if painted := ask[string](t, ctx, "window.painted"); painted != "old" {
		t.Errorf("what is painted first on waking is %q", painted)
	}
	// A browser without a screen leaves a page hidden that was frozen: the user looks at it again.
	ask[bool](t, ctx, `(Object.defineProperty(document, "hidden", { value: false, configurable: true }), document.dispatchEvent(new Event("visibilitychange")), true)`)
	waitFor(t, ctx, "live after waking", isLive)
	// A machine whose clock jumped on: it slept and no event said so.
	ask[bool](t, ctx, `(window.said = [], new MutationObserver(() => window.said.push(document.body.classList.contains("old"))).observe(document.body, { attributes: true, attributeFilter: ["class"] }), Date.now = (was => () => was() + 60000)(Date.now.bind(Date)), true)`)
	waitFor(t, ctx, "old after a sleep of which nobody told", `window.said.includes(true)`)
	waitFor(t, ctx, "live again", isLive)
}

// The daemon is started anew under an open page: it says so, and asks who looks.
func TestAnOpenPageOutlivesARestartOfTheDaemon(t *testing.T) {
	first := newHouse(t)
	first.every = 50 * time.Millisecond
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(first.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(first.Address()+"/tank/north"))
	waitFor(t, ctx, "live", isLive)
	_ = first.doors[0].server.Close()
	waitFor(t, ctx, "the link is cut", `document.body.classList.contains("old") && document.getElementById("live").textContent.includes("no connection")`)
	second := newHouse(t, func(o *Options) { o.Listen = strings.TrimPrefix(first.Address(), "http://") })
	second.every = 50 * time.Millisecond
	waitFor(t, ctx, "the new daemon asks who looks", `document.querySelector('#live a[href="/signin?to=%2Ftank%2Fnorth"]') !== null`)
	do(t, ctx, chromedp.Click("#live a"))
	do(t, ctx, chromedp.WaitVisible("input[name=name]"))
	do(t, ctx, chromedp.SendKeys("input[name=name]", "mara"))
	do(t, ctx, chromedp.SendKeys("input[name=password]", password+"\r"))
	waitFor(t, ctx, "live at the new daemon", `location.pathname === "/tank/north" && document.getElementById("live") !== null && `+isLive)
}

// Two people at once: what one types stays while another's change comes in, and the answer
// says from what it was truly changed.
func TestTwoPeopleChangeAtOnceAndNeitherLosesAWord(t *testing.T) {
	h := newHouse(t)
	h.every = 50 * time.Millisecond
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
	waitFor(t, ctx, "live", isLive)
	unfold(t, ctx)
	do(t, ctx, chromedp.SendKeys("#setpoint-ph input[name=note]", "bench 2"))
	other := h.browser(t)
	other.signIn("mara", password)
	other.post("/ask", url.Values{"do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {"6.0"}})
	v := sampleView()
	v.Tanks[0].PH.Working, v.Tanks[0].PH.Final, v.Tanks[0].PH.By, v.Tanks[0].PH.Source = 6, 6, "mara", "page"
	v.Tanks[0].Alarms, v.Tanks[0].Holds, v.At.Wall = nil, nil, v.At.Wall.Add(time.Minute)
	v.Judge()
	h.show(v)
	waitFor(t, ctx, "the other's change", `document.getElementById("live").textContent.includes("21:31:00")`)
	if typed := ask[string](t, ctx, `document.querySelector("#setpoint-ph input[name=note]").value`); typed != "bench 2" {
		t.Errorf("what was typed is now %q", typed)
	}
	if held := ask[bool](t, ctx, `document.activeElement === document.querySelector("#setpoint-ph input[name=note]")`); !held {
		t.Error("the focus was lost")
	}
	if told := ask[string](t, ctx, `document.querySelector("#setpoint-ph label").textContent`); !strings.Contains(told, "6.00 →") {
		t.Errorf("the form still begins at %q", told)
	}
	do(t, ctx, chromedp.SendKeys("#setpoint-ph input[name=value]", "5.9"))
	press(t, ctx, "#setpoint-ph")
	if n := h.count.Load(); n != 2 {
		t.Errorf("the core was asked %d times, want twice", n)
	}
}

// A form that was sent is sent again: by going back, and by posting the same id.
func TestAFormThatIsSentAgainFromTheHistoryBooksNothing(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
	unfold(t, ctx)
	ask[string](t, ctx, `(document.querySelector("#pause input[name=until]").value = "2 h")`)
	sent := ask[string](t, ctx, `new URLSearchParams(new FormData(document.getElementById("pause"))).toString()`)
	press(t, ctx, "#pause")
	replayed, err := chromedp.Run(ctx, chromedp.Evaluate[string](`fetch("/ask", { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded" }, body: "`+sent+`" }).then(r => r.text())`, chromedp.EvalAwaitPromise))
	if err != nil || !strings.Contains(replayed, "<h2>Accepted") {
		t.Errorf("the same form again is answered %.200s (%v)", replayed, err)
	}
	if n := h.count.Load(); n != 1 {
		t.Errorf("the core was asked %d times, want once", n)
	}
}

// The session ends while somebody types: what was typed is asked again after sign-in, by hand.
func TestWhatIsTypedWhenTheSessionEndsIsAskedAgainInARealBrowser(t *testing.T) {
	h := newHouse(t)
	h.every = 50 * time.Millisecond
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
	unfold(t, ctx)
	do(t, ctx, chromedp.SendKeys("#setpoint-ph input[name=value]", "5,9"))
	do(t, ctx, chromedp.SendKeys("#setpoint-ph input[name=note]", "before dawn"))
	h.sessions.mu.Lock()
	clear(h.sessions.byToken)
	h.sessions.mu.Unlock()
	press(t, ctx, "#setpoint-ph")
	do(t, ctx, chromedp.WaitVisible("input[name=name]"))
	do(t, ctx, chromedp.SendKeys("input[name=name]", "mara"))
	do(t, ctx, chromedp.SendKeys("input[name=password]", password+"\r"))
	waitFor(t, ctx, "the form", `document.querySelector("#setpoint-ph input[name=value]") !== null && document.querySelector("#setpoint-ph input[name=value]").value === "5,9" && document.querySelector("#setpoint-ph input[name=note]").value === "before dawn"`)
	if n := h.count.Load(); n != 0 {
		t.Error("the core was asked before anybody sent it again")
	}
	press(t, ctx, "#setpoint-ph")
	if last := h.asked[len(h.asked)-1]; last.Value != 5.9 || last.Note != "before dawn" {
		t.Errorf("the core was asked %+v", last)
	}
}

// All of a change by keys alone: into the page, into the form, sent, answered.
func TestAChangeIsMadeByTheKeyboardAlone(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
	tabTo := func(what, where string) {
		t.Helper()
		for range 60 {
			do(t, ctx, chromedp.KeyEvent("\t"))
			if ask[bool](t, ctx, `document.activeElement !== null && document.activeElement.matches(`+"`"+where+"`"+`)`) {
				if seen := ask[string](t, ctx, `getComputedStyle(document.activeElement).outlineStyle`); seen == "none" {
					t.Errorf("%s: the focus cannot be seen", what)
				}
				return
			}
		}
		t.Fatalf("no way by the Tab key to %s", what)
	}
	tabTo("the setpoint", "details:has(#setpoint-ph) > summary")
	do(t, ctx, chromedp.KeyEvent("\r"))
	tabTo("its value", "#setpoint-ph input[name=value]")
	do(t, ctx, chromedp.KeyEvent("5.9"))
	do(t, ctx, chromedp.KeyEvent("\r")) // Enter in a field sends nothing
	if n := h.count.Load(); n != 0 {
		t.Fatal("Enter in a field sent the form")
	}
	tabTo("its button", "#setpoint-ph button:not([hidden])")
	do(t, ctx, chromedp.KeyEvent("\r"))
	waitFor(t, ctx, "the answer", `document.querySelector("section.answer") !== null`)
	if last := h.asked[len(h.asked)-1]; last.Value != 5.9 {
		t.Errorf("the core was asked %+v", last)
	}
}

// Every job of the page without script, as a browser does it that has it switched off.
func TestThePageDoesItsWorkWithoutScript(t *testing.T) {
	h := newHouse(t)
	h.show(fourTanks())
	ctx := phone(t)
	do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	}))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/film/change"))
	do(t, ctx, chromedp.WaitVisible("input[name=name]"))
	do(t, ctx, chromedp.SendKeys("input[name=name]", "mara"))
	do(t, ctx, chromedp.SendKeys("input[name=password]", password+"\r"))
	do(t, ctx, chromedp.WaitVisible("summary"))
	for _, job := range []struct{ path, open, field, text, form string }{
		{"/tank/film/change", "details:has(#setpoint-ph) > summary", "#setpoint-ph input[name=value]", "5.9", "#setpoint-ph"},
		{"/tank/film/change", "details:has(#pause) > summary", "#pause input[name=until]", "2 h", "#pause"},
		{"/tank/film/change", "details:has(#stop) > summary", "#stop input[name=note]", "a smell", "#stop"},
		{"/alarm/film/no-response", "", "", "", "#acknowledge"},
		{"/tank/north/solution", "", "", "", "#setpoint-ec"},
		{"/tank/north/enter", "", "#mark input[name=note]", "lamps off", "#mark"},
	} {
		do(t, ctx, chromedp.Navigate(h.Address()+job.path))
		if job.open != "" {
			do(t, ctx, chromedp.Click(job.open))
		}
		if job.field != "" {
			do(t, ctx, chromedp.SendKeys(job.field, job.text))
		}
		was := h.count.Load()
		do(t, ctx, chromedp.Click(job.form+" button:not([hidden])"))
		do(t, ctx, chromedp.WaitVisible("section.answer"))
		if now := h.count.Load(); now != was+1 {
			t.Errorf("%s %s: the core was asked %d times", job.path, job.form, now-was)
		}
	}
}
