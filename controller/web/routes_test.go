package web

import (
	"flag"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"leat/controller"
)

var update = flag.Bool("update", false, "write deploy/routes.md anew")

const routesFile = "../../deploy/routes.md"

// routesText is the list of routes as it is published.
func routesText(h *house) string {
	var text strings.Builder
	text.WriteString("# Paths of the page\n\nMade of the code by `go test ./controller/web -run Routes -update`. Who has a role has those before it: view, operate, engineer.\n\n| path | role | what for |\n|---|---|---|\n")
	row := func(pattern, words string, role controller.Role) {
		who := role.String()
		if role == controller.RoleNobody {
			who = "no sign-in"
		}
		fmt.Fprintf(&text, "| `%s` | %s | %s |\n", pattern, who, words)
	}
	for _, r := range h.table() {
		row(r.Pattern, r.Words, r.Role)
	}
	for _, r := range apiRoutes {
		row(r.Method+" "+r.Path, r.Words+"; with a token", r.Role)
	}
	row("GET /api/v1/openapi.json", "the description of what programs may ask", controller.RoleNobody)
	for _, name := range append([]string{"offline", "manifest.webmanifest", "worker.js"}, shellFiles...) {
		row("GET /"+name, "the shell, which tells nothing of the farm", controller.RoleNobody)
	}
	text.WriteString("\nWhat a form or a program may ask for:\n\n| request | role |\n|---|---|\n")
	for kind := controller.RequestNone + 1; kind < controller.RequestCount; kind++ {
		fmt.Fprintf(&text, "| `%s` | %s |\n", kind, kind.Needs())
	}
	return text.String()
}

func TestTheListOfRoutesAndRolesIsThatOfTheCode(t *testing.T) {
	text := routesText(newHouse(t))
	if *update {
		if err := os.WriteFile(routesFile, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if have, err := os.ReadFile(routesFile); err != nil || string(have) != text {
		t.Errorf("%s is not of this code (%v): go test ./controller/web -run Routes -update", routesFile, err)
	}
}

// example is a path that a pattern leads to.
func example(pattern string) (method, path string) {
	method, path, _ = strings.Cut(pattern, " ")
	for from, to := range map[string]string{"{$}": "", "{kind}": "doses.csv", "/tank/": "/tank/north", "/alarm/": "/alarm/north/leak", "/pump/": "/pump/acid-north", "/record/": "/record/week"} {
		if from == path || strings.HasPrefix(from, "{") {
			path = strings.Replace(path, from, to, 1)
		}
	}
	return method, path
}

// Every route of the table, those to come too.
func TestEveryRouteRefusesStrangersOtherOriginsAndLowerRoles(t *testing.T) {
	h := newHouse(t)
	stranger, visitor, mara := h.browser(t), h.browser(t), h.browser(t)
	visitor.signIn("visitor", password)
	mara.signIn("mara", password)
	for _, r := range h.table() {
		method, path := example(r.Pattern)
		send := func(b *browser, header http.Header, body string) (int, string) {
			request, err := http.NewRequest(method, b.base+path, strings.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			if header != nil {
				request.Header = header
			}
			if method == http.MethodPost {
				request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			}
			return b.read(b.Do(request))
		}
		if method == http.MethodPost {
			for _, header := range []http.Header{{"Sec-Fetch-Site": {"cross-site"}}, {"Origin": {"http://elsewhere.example"}}} {
				if code, _ := send(mara, header, "do=stop&tank=north"); code != http.StatusForbidden {
					t.Errorf("%s from another origin: %d", r.Pattern, code)
				}
			}
		}
		if r.Role == controller.RoleNobody {
			continue
		}
		if path == "/live" { // it is a stream
			continue
		}
		code, page := send(stranger, nil, "do=stop&tank=north")
		if let := strings.Contains(page, "5.93") || code == http.StatusOK && !strings.Contains(page, "Sign in"); let {
			t.Errorf("%s lets a stranger in: %d\n%.300s", r.Pattern, code, page)
		}
		if r.Role > controller.RoleView {
			if code, _ := send(visitor, nil, "name=x&role=view&days=3"); code != http.StatusForbidden {
				t.Errorf("%s answers a visitor with %d", r.Pattern, code)
			}
		}
		if method == http.MethodPost {
			if code, page := send(mara, nil, "note="+strings.Repeat("x", 64<<10)); code < 400 || strings.Contains(page, "<h2>Accepted") {
				t.Errorf("%s takes 64 KB: %d", r.Pattern, code)
			}
			if code, page := send(mara, nil, "do=%zz&once=%"); code < 400 || strings.Contains(page, "<h2>Accepted") {
				t.Errorf("%s takes a malformed body: %d", r.Pattern, code)
			}
		}
	}
	if len(h.asked) > 0 {
		t.Errorf("the core was asked %+v", h.asked)
	}
}

func TestNoHeaderOfAnAnswerComesFromWhoAsks(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	b.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	for _, tank := range []string{"north\r\nX-Evil: 1", "/../../elsewhere", "//elsewhere.example"} {
		response, err := b.PostForm(b.base+"/ask", url.Values{"once": {b.once()}, "do": {"stop"}, "tank": {tank}, "back": {"//elsewhere.example/" + tank}})
		if err != nil {
			t.Fatal(err)
		}
		_ = response.Body.Close()
		if to := response.Header.Get("Location"); response.Header.Get("X-Evil") != "" || strings.HasPrefix(to, "//") || strings.Contains(to, "://") {
			t.Errorf("%q leads to %q", tank, to)
		}
	}
}

// A password of a name that nobody has takes as long to refuse as a wrong one.
func TestTheTimeOfARefusalTellsNotWhoThereIs(t *testing.T) {
	h := newHouse(t)
	took := func(name string) time.Duration {
		least := time.Hour
		for range 3 {
			began := time.Now()
			h.browser(t).signIn(name, "wrong")
			least = min(least, time.Since(began))
		}
		return least
	}
	took("first") // the decoy is made
	known, unknown := took("mara"), took("nobody")
	if known > 4*unknown+50*time.Millisecond || unknown > 4*known+50*time.Millisecond {
		t.Errorf("a known name takes %s, an unknown one %s", known, unknown)
	}
}
