package web

import (
	"bytes"
	"compress/gzip"
	"context"
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"leat/controller"
)

//go:embed testdata/audit.js
var auditScript string

// axe-core 4.14.1 of npm, as published (Mozilla Public License 2.0); only tests use it.
//
//go:embed testdata/axe.min.js.gz
var axeScript []byte

// allPages are one of each page, as an engineer sees them.
var allPages = []string{"/", "/fleet", "/tank/north", "/tank/north/past/year", "/tank/north/change", "/tank/north/enter", "/tank/north/doses", "/tank/north/solution", "/tank/north/probes", "/tank/north/schedule", "/tank/north/first",
	"/alarm/film/no-response", "/pump/acid-north", "/stocks", "/refill", "/record", "/record/week", "/people", "/offline", "/signin"}

// screens are the sizes at which every page is looked at: a small phone, phones upright
// and on their side, a tablet, a desk.
var screens = []struct{ wide, high int64 }{{320, 700}, {360, 740}, {844, 390}, {820, 1180}, {1440, 900}}

// audit lists what a page lacks: part "look" is contrast, in the colours of now; "parts"
// names, landmarks, headings and tables; "size" targets, cut texts and width.
func audit(t *testing.T, ctx context.Context, part string) []string {
	t.Helper()
	return ask[[]string](t, ctx, fmt.Sprintf("(%s)(%q)", auditScript, part))
}

// axe runs axe-core, a public checker of accessibility, over the page as it stands.
func axe(t *testing.T, ctx context.Context) []string {
	t.Helper()
	if !ask[bool](t, ctx, `typeof window.axe === "object"`) {
		packed, err := gzip.NewReader(bytes.NewReader(axeScript))
		if err != nil {
			t.Fatal(err)
		}
		script, err := io.ReadAll(packed)
		if err != nil {
			t.Fatal(err)
		}
		ask[bool](t, ctx, string(script)+"; true")
	}
	found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`axe.run(document, { resultTypes: ["violations"] }).then(r => r.violations.flatMap(v => v.nodes.map(n => "axe " + v.id + ": " + n.html.slice(0, 90))))`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// read is all that an audit finds on the page that is open, by day and by night, of figures that
// are fresh and that are old, on every screen. Colours are those of any language.
func read(t *testing.T, ctx context.Context, colours bool) (faults []string) {
	t.Helper()
	unfold(t, ctx)
	scheme(t, ctx, "light")
	faults = append(audit(t, ctx, "parts"), axe(t, ctx)...)
	for _, light := range []string{"light", "dark"} {
		if !colours {
			break
		}
		scheme(t, ctx, light)
		faults = append(faults, audit(t, ctx, "look")...)
		ask[int](t, ctx, `document.body.classList.add("old"), 0`)
		faults = append(faults, audit(t, ctx, "look")...)
		if at := ask[string](t, ctx, "location.pathname"); light == "dark" && (at == "/" || at == "/tank/north") {
			faults = append(faults, axe(t, ctx)...)
		}
		ask[int](t, ctx, `document.body.classList.remove("old"), 0`)
	}
	for _, screen := range screens {
		do(t, ctx, chromedp.EmulateViewport(screen.wide, screen.high, chromedp.EmulateMobile, chromedp.EmulateTouch))
		faults = append(faults, audit(t, ctx, "size")...)
		if screen.wide == 320 {
			ask[int](t, ctx, `document.documentElement.style.fontSize = "200%", 0`)
			faults = append(faults, audit(t, ctx, "large")...)
			ask[int](t, ctx, `document.documentElement.style.fontSize = "", 0`)
		}
	}
	slices.Sort(faults)
	return slices.Compact(faults)
}

// speak lets the pages of a browser be in a language.
func speak(t *testing.T, ctx context.Context, h *house, name string) {
	t.Helper()
	do(t, ctx, chromedp.Navigate(h.Address()+"/people"))
	ask[bool](t, ctx, "window.before = true")
	do(t, ctx, chromedp.Click(`form.language button[value="`+name+`"]`))
	waitFor(t, ctx, "the language", `window.before === undefined && document.readyState === "complete" && document.documentElement.lang === "`+name+`"`)
}

func TestEveryPageIsReadAndPressedOnEveryScreenByDayAndByNight(t *testing.T) {
	for _, name := range []string{"en", "de"} {
		h, _ := tokened(t)
		ctx := phone(t)
		do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
		speak(t, ctx, h, name)
		look := func(state, path string) {
			do(t, ctx, chromedp.Navigate(h.Address()+path))
			for _, fault := range read(t, ctx, name == "en") {
				t.Errorf("%s, %s, %s: %s", name, state, path, fault)
			}
		}
		h.show(fourTanks())
		for _, path := range allPages {
			look("four tanks", path)
		}
		for i := range allStates {
			if name != "en" && !allStates[i].wordy {
				continue
			}
			h.show(allStates[i].judged())
			for _, path := range allStates[i].paths {
				look(allStates[i].name, path)
			}
		}
	}
}

// What a form answers is read too: refused, to be confirmed, accepted.
func TestEveryAnswerIsReadOnEveryScreen(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	for _, name := range []string{"en", "de"} {
		speak(t, ctx, h, name)
		for _, value := range []string{"58", "6.2", "5.9"} {
			do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
			unfold(t, ctx)
			ask[string](t, ctx, `document.querySelector("#setpoint-ph input[name=value]").value = "`+value+`"`)
			do(t, ctx, chromedp.Click("#setpoint-ph button:not([hidden])"))
			waitFor(t, ctx, "the answer", `document.readyState === "complete" && document.querySelector(".answer, .refused") !== null`)
			for _, fault := range read(t, ctx, name == "en") {
				t.Errorf("%s, answer to %s: %s", name, value, fault)
			}
		}
	}
}

// The audit itself is asked of a page on which everything is wrong.
func TestTheAuditFindsWhatItLooksFor(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.Address()+"/signin"))
	ask[int](t, ctx, `document.documentElement.lang = "", document.title = "", document.body.innerHTML = '<h1>a</h1><h3>b</h3><main></main><main></main><button id="b"></button><a href="/x"></a><input name="f"><p id="d">t</p><p id="d">faint</p><svg role="img"></svg><ul><p>x</p></ul><table><tr><td>1</td></tr></table><a href="/y">o<button>n</button></a><div id="w">w</div><p tabindex="3" aria-describedby="none">q</p><p id="c">cut</p>',
		Object.assign(document.getElementById("b").style, { width: "20px", height: "20px", minWidth: 0, minHeight: 0 }), document.querySelectorAll("p")[1].style.color = "#888", document.getElementById("w").style.width = "3000px",
		Object.assign(document.getElementById("c").style, { height: "8px", overflow: "hidden" }), 0`)
	var faults []string
	for _, part := range []string{"parts", "look", "size", "large"} {
		faults = append(faults, audit(t, ctx, part)...)
	}
	faults = append(faults, axe(t, ctx)...)
	for _, fault := range []string{"no language", "no title", "2 main", "h3 after h1", "no name: <button", "no name: <a", "no label: f", "id twice: d", "contrast", "no name: <svg", "p in a ul", "no th", "one control in another", "px wide", "smaller than 44", "tabindex", "nothing has the id none", "cut off", "outside", "axe button-name", "axe html-has-lang", "axe color-contrast"} {
		if !slices.ContainsFunc(faults, func(f string) bool { return strings.Contains(f, fault) }) {
			t.Errorf("the audit does not find %q: %q", fault, faults)
		}
	}
}
