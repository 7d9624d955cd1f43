package web

import (
	"flag"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
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

// What a form may hold, whoever wrote it: no page fails, no figure that is none reaches the core.
func FuzzFormOfAPage(f *testing.F) {
	for _, body := range []string{"do=setpoint&tank=north&quantity=ph&value=5.9", "do=setpoint&tank=north&quantity=ec&value=NaN&until=6", "do=hand-dose&tank=north&pump=acid-north&ml=1e999", "do=calibrate&tank=north&step=read&standard=label&label=x",
		"do=pump-rate&pump=acid-north&seconds1=60&ml1=9,5", "do=refill&pump=acid-north&litres=-1", "do=shelve&tank=north&cause=leak&until=2 h", "do=confirm-water&tank=north&water=tank:north&replaced=50", "do=analysis&tank=north&sampled=x", "do=%zz", "once=&back=//elsewhere"} {
		f.Add(body)
	}
	h := newHouse(f)
	handler := h.routes()
	p, _ := h.people.Load("mara")
	token := h.sessions.begin(p.(Person), "10.0.0.1", "")
	f.Fuzz(func(t *testing.T, body string) {
		once := h.Server.once.id()
		request := httptest.NewRequest(http.MethodPost, "/ask", strings.NewReader("once="+once+"&"+body))
		request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		request.AddCookie(&http.Cookie{Name: cookieName, Value: token})
		answer := httptest.NewRecorder()
		h.asked = nil
		handler.ServeHTTP(answer, request)
		if answer.Code >= 500 && answer.Code != http.StatusServiceUnavailable {
			t.Errorf("%q is answered with %d", body, answer.Code)
		}
		if to := answer.Header().Get("Location"); strings.HasPrefix(to, "//") || strings.Contains(to, "://") {
			t.Errorf("%q leads to %q", body, to)
		}
		for _, r := range h.asked {
			for _, v := range []float64{r.Value, r.Replaced, r.Calibrating.Celsius, r.Volume.Millilitres()} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%q reaches the core as %+v", body, r)
				}
			}
			if r.Role != controller.RoleEngineer || r.By != "mara" || r.From != "page" {
				t.Errorf("%q speaks for another: %+v", body, r)
			}
		}
	})
}

// A session that somebody planted before the sign-in is not the one after it.
func TestSignInBeginsASessionOfItsOwn(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	base, _ := url.Parse(h.Address())
	const planted = "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
	b.Jar.SetCookies(base, []*http.Cookie{{Name: cookieName, Value: planted, Path: "/"}})
	b.signIn("mara", password)
	for _, cookie := range b.Jar.Cookies(base) {
		if cookie.Name == cookieName && cookie.Value == planted {
			t.Error("the planted session is that of mara now")
		}
	}
	other := h.browser(t)
	other.Jar.SetCookies(base, []*http.Cookie{{Name: cookieName, Value: planted, Path: "/"}})
	if _, page := other.get("/"); !strings.Contains(page, "Sign in") {
		t.Error("who planted it looks on")
	}
}

func TestNoPathLeadsOutOfThePages(t *testing.T) {
	h := newHouse(t)
	b := h.browser(t)
	b.signIn("mara", password)
	for _, path := range []string{"/../../etc/passwd", "/..%2f..%2fetc%2fpasswd", "/page/style.css", "/page/home.html", "/export/..%2f..%2fleat.db", "/export/leat.db", "/tank/..%2fpeople", "/tank/north/../../people/x", "/alarm/north/..%2fleak", "/record/..%2fnight", "/pump/%00", "/language/de.txt", "/%2e%2e/go.mod"} {
		if code, page := b.get(path); code == http.StatusOK || strings.Contains(page, "root:") || strings.Contains(page, "{{define") {
			t.Errorf("%s is answered with %d: %.80s", path, code, page)
		}
	}
}
