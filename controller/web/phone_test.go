package web

import (
	"context"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"leat/controller"
)

// phone opens a real browser at the size of a phone.
func phone(t *testing.T) context.Context {
	t.Helper()
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatal("chromium is not installed (Debian package chromium)")
		}
		t.Skip("chromium is not installed (Debian package chromium): the page is not looked at in a real browser; LEAT_REAL=1 makes this a failure")
	}
	limited, end := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(end)
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(chromium), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun}
	for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync"} {
		options = append(options, chromedp.Flag(flag, true))
	}
	allocator, stop := chromedp.NewExecAllocator(limited, options...)
	t.Cleanup(stop)
	browser, quit := chromedp.NewContext(allocator)
	t.Cleanup(quit)
	return browser
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

func TestPageFitsAPhoneAndItsFiguresStayFresh(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	if wide := ask[int](t, ctx, "document.documentElement.scrollWidth"); wide > 390 {
		t.Errorf("the page is %d px wide on a phone of 390", wide)
	}
	if small := ask[int](t, ctx, `[...document.querySelectorAll("button")].filter(b => b.offsetParent && b.getBoundingClientRect().height < 44).length`); small > 0 {
		t.Errorf("%d buttons are lower than the 44 px that a thumb hits", small)
	}
	if nameless := ask[int](t, ctx, `[...document.querySelectorAll("input:not([type=hidden]), select, textarea")].filter(i => !i.labels.length).length`); nameless > 0 {
		t.Errorf("%d fields have no label", nameless)
	}
	if broken := ask[bool](t, ctx, `document.querySelector("#tank-0 .reason").textContent.includes("circulation")`); !broken {
		t.Error("the reason does not name the circulation")
	}
	if bars := ask[int](t, ctx, `[...document.querySelectorAll("#tank-0 .ions svg")].filter(b => b.getBoundingClientRect().width > 100).length`); bars != 7 {
		t.Errorf("%d bars of ions are wide enough to read, want 7", bars)
	}
	if wide := ask[int](t, ctx, `document.documentElement.style.fontSize = "200%", document.documentElement.scrollWidth`); wide > 390 {
		t.Errorf("with letters twice as large the page is %d px wide on a phone of 390", wide)
	}
	fresh := sampleView()
	fresh.Tanks[0].Inputs[0].Value = 6.11
	h.show(fresh)
	deadline := time.Now().Add(20 * time.Second)
	for !ask[bool](t, ctx, `document.getElementById("tank-0").textContent.includes("6.11")`) {
		if time.Now().After(deadline) {
			t.Fatal("a new reading did not reach the open page")
		}
		do(t, ctx, chromedp.Sleep(200*time.Millisecond))
	}
	if live := ask[string](t, ctx, `document.getElementById("live").textContent`); live != "live" {
		t.Errorf("the page says %q of its connection", live)
	}
}

func TestAReloadOfTheAnswerBooksNothingAndEnterInTheNotePausesNothing(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	ask[int](t, ctx, `[...document.querySelectorAll("details")].map(d => d.open = true).length`)
	const hand = `form:has(input[value="hand-dose"])`
	if chosen := ask[string](t, ctx, `document.querySelector('`+hand+` select').value`); chosen != "" {
		t.Errorf("%q is preselected", chosen)
	}
	if sends := ask[bool](t, ctx, `document.querySelector('`+hand+`').checkValidity()`); sends {
		t.Error("the form can be sent without a pump")
	}
	ask[int](t, ctx, `window.sent = 0, document.querySelector('form:has(button[value="pause"])').addEventListener("submit", e => { window.sent++; e.preventDefault() }), 0`)
	do(t, ctx, chromedp.SendKeys(`form:has(button[value="pause"]) input[name="note"]`, "looked at it\r"))
	if note := ask[string](t, ctx, `document.querySelector('form:has(button[value="pause"]) input[name="note"]').value`); note != "looked at it" {
		t.Errorf("the note reads %q", note)
	}
	if sent := ask[int](t, ctx, `window.sent`); sent != 0 {
		t.Error("Enter in the note sent the form of ten buttons")
	}
	ask[string](t, ctx, `(document.querySelector('`+hand+` select').value = "acid-north", document.querySelector('`+hand+` input[name="ml"]').value = "10")`)
	do(t, ctx, chromedp.Click(hand+" button"))
	do(t, ctx, chromedp.WaitVisible("section.answer"))
	for range 3 {
		do(t, ctx, chromedp.Reload())
		do(t, ctx, chromedp.WaitVisible("section.answer"))
	}
	if n := h.count.Load(); n != 1 {
		t.Errorf("the core was asked %d times, want once, for the 10 mL", n)
	}
}
