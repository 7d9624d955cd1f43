package web

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"leat/safety"
)

// linked are the links of a test: one is good, one was used, one finds no daemon.
type linked struct{ took []string }

func (l *linked) Look(pass string) (Pass, bool) {
	leak := "north: " + strings.TrimSuffix(safety.Of(safety.CauseLeak).Text, ".")
	return Pass{Words: leak, Why: map[string]string{"used": "Somebody has acknowledged this alarm already.", "over": "This alarm is over, or not yet seen again since a restart. Look at the page.",
		"risen": "This link is of an alarm that is over, or has become more urgent since. Look at the page."}[pass]}, pass != "forged"
}

func (l *linked) Take(_ context.Context, pass string) (Pass, error) {
	l.took = append(l.took, pass)
	if pass == "hangs" {
		return Pass{}, errors.New("no answer")
	}
	return Pass{Words: "north"}, nil
}

// linkPages is every page that a link can lead to.
func linkPages(h *house) string {
	h.options.Passes = &linked{}
	var all strings.Builder
	for _, pass := range []string{"good", "used", "over", "risen", "forged", "hangs"} {
		for _, method := range []string{http.MethodGet, http.MethodPost} {
			w := httptest.NewRecorder()
			h.routes().ServeHTTP(w, httptest.NewRequest(method, "/acknowledge/"+pass, nil))
			all.WriteString(w.Body.String())
		}
	}
	return all.String()
}

// A scanner that follows every link of a mail, a stranger who guesses, another site's form:
// none acknowledges anything.
func TestLinkOfANotificationActsOnlyWhenAPersonPresses(t *testing.T) {
	links := &linked{}
	h := newHouse(t, func(o *Options) { o.Passes = links })
	b := h.browser(t)
	for pass, want := range map[string]int{"good": 200, "used": 410, "over": 410, "forged": 404, "hangs": 200} {
		if status, page := b.get("/acknowledge/" + pass); status != want || strings.Contains(page, "<form method=\"post\"") != (want == 200) {
			t.Errorf("looking at %s: %d\n%s", pass, status, page)
		}
	}
	foreign, err := http.NewRequest(http.MethodPost, h.Address()+"/acknowledge/good", nil)
	if err != nil {
		t.Fatal(err)
	}
	foreign.Header.Set("Origin", "https://elsewhere.invalid")
	foreign.Header.Set("Sec-Fetch-Site", "cross-site")
	if status, _ := b.read(b.Do(foreign)); status != http.StatusForbidden {
		t.Errorf("another site's form: %d", status)
	}
	for pass, want := range map[string]int{"used": 410, "forged": 404} {
		if status, _ := b.post("/acknowledge/"+pass, nil); status != want {
			t.Errorf("pressing %s: %d", pass, status)
		}
	}
	if len(links.took) != 0 {
		t.Fatalf("took %q", links.took)
	}
	if status, _ := b.post("/acknowledge/hangs", nil); status != 503 {
		t.Errorf("a daemon that hangs: %d", status)
	}
	if status, page := b.post("/acknowledge/good", nil); status != 200 || !strings.Contains(page, "Acknowledged") || strings.Contains(page, "<form") {
		t.Errorf("pressing it: %d\n%s", status, page)
	}
	if len(h.asked) != 0 || len(links.took) != 2 {
		t.Errorf("asked %v, took %q", h.asked, links.took)
	}
	if !strings.HasPrefix(h.deeds[len(h.deeds)-1], "link notification acknowledged north") {
		t.Errorf("audited %q", h.deeds)
	}
}
