package web

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"leat/controller"
)

func TestThePageIsInstalledWithAManifestAndIconsOfItsOwn(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	_, text := b.get("/manifest.webmanifest")
	var m manifest
	if err := json.Unmarshal([]byte(text), &m); err != nil || m.Start != "/" || m.Display != "standalone" || len(m.Icons) != 3 {
		t.Fatalf("%v: %s", err, text)
	}
	for _, icon := range m.Icons {
		response, err := b.Get(b.base + icon.Source)
		if err != nil {
			t.Fatal(err)
		}
		_ = response.Body.Close()
		if kind := response.Header.Get("Content-Type"); response.StatusCode != http.StatusOK || kind != icon.Type {
			t.Errorf("%s: %d %s", icon.Source, response.StatusCode, kind)
		}
	}
	if _, script := b.get("/worker.js"); strings.Contains(script, "{{") || !strings.Contains(script, "leat-") {
		t.Error("the worker has no version")
	}
}

// The farm goes away while a change is typed: our page answers, no figure is on the phone,
// and nothing waits to be sent.
func TestWithoutAConnectionOurPageAnswersAndNothingIsKeptButTheShell(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	waitFor(t, ctx, "the worker", `navigator.serviceWorker.controller !== null`)
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
	waitFor(t, ctx, "the page", `document.getElementById("stop") !== null`)
	_ = h.doors[0].server.Close()
	unfold(t, ctx)
	do(t, ctx, chromedp.SendKeys("#stop button:not([hidden])", "\r"))
	waitFor(t, ctx, "our page", `document.getElementById("offline") !== null`)
	if told := ask[string](t, ctx, "document.body.textContent"); strings.Contains(told, "5.93") || !strings.Contains(told, "Nothing is kept to be sent later") {
		t.Error(told)
	}
	waitFor(t, ctx, "what is kept", `(caches.keys().then(k => caches.open(k[0])).then(c => c.keys()).then(all => window.kept = all.map(r => new URL(r.url).pathname).sort().join()), window.kept !== undefined)`)
	if kept := ask[string](t, ctx, "window.kept"); kept != "/icon.svg,/live.js,/offline,/style.css" {
		t.Errorf("the phone keeps %s", kept)
	}
	if n := h.count.Load(); n != 0 {
		t.Errorf("the core was asked %d times", n)
	}
}

// The first view of a phone that was never here: the page with all that it loads.
func TestTheFirstViewIsAtMost40KB(t *testing.T) {
	h := newHouse(t)
	h.show(fourTanks())
	b := h.browser(t)
	b.signIn("mara", password)
	total := 0
	for _, path := range []string{"/", "/style.css", "/live.js", "/icon.svg", "/manifest.webmanifest", "/worker.js"} {
		request, err := http.NewRequest(http.MethodGet, b.base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		request.Header.Set("Accept-Encoding", "gzip") // as a browser; what comes is counted as it comes
		_, text := b.read(b.Do(request))
		total += len(text)
	}
	t.Logf("%.1f KB", float64(total)/1000)
	if total > 40_000 {
		t.Errorf("the first view is %d bytes", total)
	}
}
