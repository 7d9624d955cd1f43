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
	limited, end := context.WithTimeout(tab, time.Minute)
	t.Cleanup(end)
	do(t, limited, chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
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

// faint lists the texts of the page whose contrast to what lies behind them is below 4.5.
const faint = `(() => {
  const rgb = c => (c.match(/[\d.]+/g) || [0, 0, 0]).map(Number);
  const light = c => { const [r, g, b] = c.map(v => (v /= 255) <= .03928 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4); return .2126 * r + .7152 * g + .0722 * b };
  const behind = e => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor); if (c.length < 4 || c[3] > 0) return c } return [255, 255, 255] };
  const out = [];
  for (const e of document.querySelectorAll("body *")) {
    if (e.closest("svg") || !e.checkVisibility() || ![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const a = light(rgb(getComputedStyle(e).color).slice(0, 3)), b = light(behind(e).slice(0, 3)), ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
    if (ratio < 4.5) out.push(e.textContent.trim().slice(0, 30) + " " + ratio.toFixed(1));
  }
  return out.join("; ")
})()`

// small lists what is to be pressed and is smaller than a thumb hits.
const small = `[...document.querySelectorAll("button, .buttons a, .tank, .alarms a, .back, input:not([type=hidden]):not([type=checkbox]), label.tick, select, textarea, summary")]
  .filter(e => e.checkVisibility() && (e.getBoundingClientRect().height < 44 || e.getBoundingClientRect().width < 44))
  .map(e => e.outerHTML.slice(0, 60) + " " + e.getBoundingClientRect().height).join("; ")`

// nameless lists fields without a label, and ids that two parts share.
const nameless = `[...document.querySelectorAll("input:not([type=hidden]), select, textarea")].filter(i => !i.labels.length).map(i => i.name)
  .concat([...document.querySelectorAll("[id]")].map(e => e.id).filter((id, i, all) => all.indexOf(id) !== i)).join("; ")`

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

func TestEveryPageIsReadAndPressedOnAPhoneByDayAndByNight(t *testing.T) {
	h := newHouse(t)
	h.show(fourTanks())
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	for _, wide := range []int64{390, 320} {
		do(t, ctx, chromedp.EmulateViewport(wide, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
		for _, path := range []string{"/", "/tank/north", "/tank/north/change", "/tank/north/enter", "/alarm/film/no-response", "/stocks", "/refill"} {
			do(t, ctx, chromedp.Navigate(h.Address()+path))
			for _, light := range []string{"light", "dark"} {
				scheme(t, ctx, light)
				if faint := ask[string](t, ctx, faint); faint != "" {
					t.Errorf("%s, %s: contrast below 4.5: %s", path, light, faint)
				}
			}
			if small := ask[string](t, ctx, small); small != "" {
				t.Errorf("%s at %d: lower or narrower than 44 px: %s", path, wide, small)
			}
			if nameless := ask[string](t, ctx, nameless); nameless != "" {
				t.Errorf("%s: without a label, or one id twice: %s", path, nameless)
			}
			if got := ask[int64](t, ctx, "document.documentElement.scrollWidth"); got > wide {
				t.Errorf("%s is %d px wide on a phone of %d", path, got, wide)
			}
			if got := ask[int64](t, ctx, `document.documentElement.style.fontSize = "200%", document.documentElement.scrollWidth`); got > wide {
				t.Errorf("%s, with letters twice as large, is %d px wide on a phone of %d", path, got, wide)
			}
		}
	}
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
	if title := ask[string](t, ctx, "document.title"); !strings.HasPrefix(title, "north and film need you tonight. First north: doses nothing: ") {
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
