// Package webtest looks at the page in a real browser, Debian's chromium, for the tests of the
// packages that serve it.
package webtest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// theBrowser is one real browser for all tests of a package; each opens a tab of its own.
var theBrowser struct {
	sync.Once
	ctx  context.Context
	stop []func()
}

// Close ends the browser after the tests.
func Close() {
	for _, stop := range slices.Backward(theBrowser.stop) {
		stop()
	}
}

// Screens are the sizes at which a page is looked at: a small phone, phones upright and on
// their side, a tablet, a desk.
var Screens = []struct{ Wide, High int64 }{{320, 700}, {360, 740}, {844, 390}, {820, 1180}, {1440, 900}}

// Need skips a test where there is no browser.
func Need(t testing.TB) string {
	t.Helper()
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatal("chromium is not installed (Debian package chromium)")
		}
		t.Skip("chromium is not installed (Debian package chromium): the page is not looked at in a real browser; LEAT_REAL=1 makes this a failure")
	}
	return chromium
}

// Phone opens a tab at the size of a phone. All tabs share their cookies; the first of a test
// begins without any.
func Phone(t testing.TB) context.Context {
	t.Helper()
	tab := Tab(t)
	Do(t, tab, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error { // another test's language, for one
		_, err := cdp.Call(ctx, target, network.ClearBrowserCookies, cdp.Empty{})
		return err
	}))
	return tab
}

// Tab opens one more tab of the same person.
func Tab(t testing.TB) context.Context {
	t.Helper()
	chromium := Need(t)
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
	Do(t, limited, chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
	return limited
}

// Do does one thing in a tab.
func Do(t testing.TB, ctx context.Context, action chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, action); err != nil {
		t.Fatal(err)
	}
}

// Ask evaluates an expression in the page; a promise is waited for.
func Ask[T any](t testing.TB, ctx context.Context, expression string) T {
	t.Helper()
	value, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return value
}

// patience is how long a page may take to say what it must: only a page that never says it
// waits so long.
const patience = 2 * time.Minute

// WaitFor waits until an expression holds in the page.
func WaitFor(t testing.TB, ctx context.Context, what, expression string) {
	t.Helper()
	deadline := time.Now().Add(patience)
	for !Ask[bool](t, ctx, expression) {
		if time.Now().After(deadline) {
			t.Fatalf("%s: %s; the page at %s says:\n%.600s", what, expression, Ask[string](t, ctx, "location.pathname"), Ask[string](t, ctx, "document.body.innerText"))
		}
		Do(t, ctx, chromedp.Sleep(50*time.Millisecond))
	}
}

// Scheme lets the phone prefer light or dark.
func Scheme(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	Do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}})
		return err
	}))
}

// Scripts switches the page's script on or off, from the next page on.
func Scripts(t testing.TB, ctx context.Context, on bool) {
	t.Helper()
	Do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on})
		return err
	}))
}

// Unfold opens whatever is folded on a page.
func Unfold(t testing.TB, ctx context.Context) {
	t.Helper()
	Ask[int](t, ctx, `document.querySelectorAll("details").forEach(d => d.open = true), 0`)
}

// Press opens what is folded, presses the button of a form and waits for the page that answers.
func Press(t testing.TB, ctx context.Context, form string) {
	t.Helper()
	Unfold(t, ctx)
	button := form + " button:not([hidden])"
	if !Ask[bool](t, ctx, fmt.Sprintf(`window.before = true, document.querySelector(%q) !== null`, button)) { // a click would wait for it
		t.Fatalf("there is no %s:\n%.900s", button, Ask[string](t, ctx, "document.body.innerText"))
	}
	Do(t, ctx, chromedp.Click(button))
	WaitFor(t, ctx, "the answer", `window.before === undefined && document.readyState === "complete"`)
}

// Type sets the fields of a form as a person leaves them, whichever kind they are.
func Type(t testing.TB, ctx context.Context, form string, fields map[string]string) {
	t.Helper()
	for name, text := range fields {
		if !Ask[bool](t, ctx, fmt.Sprintf(`(() => { const f = document.querySelector(%q); if (!f) return false; const e = f.elements[%q]; if (!e) return false; e.value = %q; return e.value === %q })()`, form, name, text, text)) {
			t.Fatalf("the form %s has no field %s that takes %q:\n%.900s", form, name, text, Ask[string](t, ctx, "document.querySelector('main').innerText"))
		}
	}
}
