package web

import (
	"context"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// theBrowser is one real browser for all tests of this package; each opens a tab of its own.
var theBrowser struct {
	sync.Once
	ctx  context.Context
	stop []func()
}

func closeBrowser() {
	for _, stop := range slices.Backward(theBrowser.stop) {
		stop()
	}
}

// phone opens a tab at the size of a phone.
func phone(t *testing.T) context.Context {
	t.Helper()
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatal("chromium is not installed (Debian package chromium)")
		}
		t.Skip("chromium is not installed (Debian package chromium): the page is not looked at in a real browser; LEAT_REAL=1 makes this a failure")
	}
	theBrowser.Do(func() {
		options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(chromium), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun}
		for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync"} {
			options = append(options, chromedp.Flag(flag, true))
		}
		allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
		browser, quit := chromedp.NewContext(allocator)
		theBrowser.ctx, theBrowser.stop = browser, []func(){stop, quit}
		if err := chromedp.Do(browser); err != nil {
			t.Fatal(err)
		}
	})
	tab, quit := chromedp.NewContext(theBrowser.ctx)
	t.Cleanup(quit)
	limited, end := context.WithTimeout(tab, 9*time.Minute)
	t.Cleanup(end)
	do(t, limited, chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
	do(t, limited, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error { // another test's language, for one
		_, err := cdp.Call(ctx, target, network.ClearBrowserCookies, cdp.Empty{})
		return err
	}))
	return limited
}

func do(t *testing.T, ctx context.Context, action chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, action); err != nil {
		t.Fatal(err)
	}
}

// ask evaluates an expression in the page.
func ask[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	value, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return value
}

// waitFor waits until an expression holds in the page.
func waitFor(t *testing.T, ctx context.Context, what, expression string) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for !ask[bool](t, ctx, expression) {
		if time.Now().After(deadline) {
			t.Fatalf("%s: %s", what, expression)
		}
		do(t, ctx, chromedp.Sleep(100*time.Millisecond))
	}
}

// scheme lets the phone prefer light or dark.
func scheme(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}})
		return err
	}))
}

// unfold opens whatever is folded on a page.
func unfold(t *testing.T, ctx context.Context) {
	t.Helper()
	ask[int](t, ctx, `document.querySelectorAll("details").forEach(d => d.open = true), 0`)
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
