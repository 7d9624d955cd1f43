package web

import (
	"context"
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"leat/controller"
)

//go:embed testdata/audit.js
var auditScript string

// allPages are one of each page, as an engineer sees them.
var allPages = []string{"/", "/tank/north", "/tank/north/past/year", "/tank/north/change", "/tank/north/enter", "/tank/north/doses", "/tank/north/solution", "/tank/north/probes", "/tank/north/schedule", "/tank/north/first",
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

func TestEveryPageIsReadAndPressedOnEveryScreenByDayAndByNight(t *testing.T) {
	h, _ := tokened(t)
	h.show(fourTanks())
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	for _, path := range allPages {
		do(t, ctx, chromedp.Navigate(h.Address()+path))
		unfold(t, ctx)
		faults := audit(t, ctx, "parts")
		for _, light := range []string{"light", "dark"} {
			scheme(t, ctx, light)
			faults = append(faults, audit(t, ctx, "look")...)
			if path == "/" || path == "/tank/north" { // figures that are old are read too
				ask[int](t, ctx, `document.body.classList.add("old"), 0`)
				faults = append(faults, audit(t, ctx, "look")...)
				ask[int](t, ctx, `document.body.classList.remove("old"), 0`)
			}
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
		for _, fault := range slices.Compact(faults) {
			t.Errorf("%s: %s", path, fault)
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
	for _, fault := range []string{"no language", "no title", "2 main", "h3 after h1", "no name: <button", "no name: <a", "no label: f", "id twice: d", "contrast", "no name: <svg", "p in a ul", "no th", "one control in another", "px wide", "smaller than 44", "tabindex", "nothing has the id none", "cut off", "outside"} {
		if !slices.ContainsFunc(faults, func(f string) bool { return strings.Contains(f, fault) }) {
			t.Errorf("the audit does not find %q: %q", fault, faults)
		}
	}
}
