package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"leat/controller/web/webtest"
)

const isLive = `document.getElementById("live") !== null && document.getElementById("live").textContent.startsWith("live ") && !document.body.classList.contains("old")`

// signIn types a person's name and password into the sign-in that is shown.
func signIn(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	webtest.Do(t, ctx, chromedp.WaitVisible("input[name=name]"))
	webtest.Ask[int](t, ctx, `document.querySelector("input[name=name]").value = "", 0`)
	webtest.Do(t, ctx, chromedp.SendKeys("input[name=name]", name))
	webtest.Do(t, ctx, chromedp.SendKeys("input[name=password]", password+"\r"))
}

// another person with a browser of their own sets a pH.
func (s *stand) another(t *testing.T, name, tank, value string) {
	t.Helper()
	jar, _ := cookiejar.New(nil)
	client := &http.Client{Jar: jar, Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	post := func(path string, form url.Values) string {
		t.Helper()
		answer, err := client.PostForm(s.app.Address()+path, form)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = answer.Body.Close() }()
		body, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(body)
	}
	post("/signin", url.Values{"name": {name}, "password": {password}})
	shown, err := client.Get(s.app.Address() + "/tank/" + tank + "/change")
	if err != nil {
		t.Fatal(err)
	}
	page, err := io.ReadAll(shown.Body)
	_ = shown.Body.Close()
	if err != nil {
		t.Fatal(err)
	}
	once := regexp.MustCompile(`name="once" value="([^"]+)"`).FindSubmatch(page)
	if once == nil {
		t.Fatalf("no form: %.600s", page)
	}
	if answer := post("/ask", url.Values{"once": {string(once[1])}, "do": {"setpoint"}, "tank": {tank}, "quantity": {"ph"}, "value": {value}}); !strings.Contains(answer, "<h2>Accepted") {
		t.Fatalf("the other's change was answered %.900s", answer)
	}
}

// said is what the page answers.
func said(t *testing.T, ctx context.Context) string {
	t.Helper()
	return webtest.Ask[string](t, ctx, `[...document.querySelectorAll("section.answer, .refused")].map(e => e.innerText).join(" ")`)
}

// What goes wrong at night goes wrong on the demo farm, under an open page.
func TestTheNightsMishapsOnAnOpenPageOfTheDemoFarm(t *testing.T) {
	s := farm(t)
	ctx := webtest.Phone(t)
	webtest.Do(t, ctx, chromedp.Navigate(s.app.Address()+"/tank/nursery/change"))
	signIn(t, ctx, "mara")
	webtest.WaitFor(t, ctx, "live", isLive)

	t.Run("two people change at once", func(t *testing.T) {
		webtest.Unfold(t, ctx)
		webtest.Do(t, ctx, chromedp.SendKeys("#setpoint-ph input[name=note]", "bench 2"))
		s.another(t, "odo", "nursery", "5.9")
		webtest.WaitFor(t, ctx, "the other's change", `document.querySelector("#ph-from").textContent === "5.90"`)
		if typed := webtest.Ask[string](t, ctx, `document.querySelector("#setpoint-ph input[name=note]").value`); typed != "bench 2" {
			t.Errorf("what was typed is now %q", typed)
		}
		webtest.Do(t, ctx, chromedp.SendKeys("#setpoint-ph input[name=value]", "5,85"))
		webtest.Press(t, ctx, "#setpoint-ph")
		if answer := said(t, ctx); !strings.Contains(answer, "pH 5.9 → 5.85") {
			t.Errorf("answered %q", answer)
		}
	})
	t.Run("the answer is loaded again", func(t *testing.T) {
		s.show(t, ctx, "/tank/nursery/enter")
		hands := func() int { return len(s.app.View().Tanks[1].Hands) }
		was := hands()
		webtest.Type(t, ctx, "#hand-dose", words{"pump": "acid-nursery", "ml": "2"})
		webtest.Press(t, ctx, "#hand-dose")
		for range 3 {
			webtest.Do(t, ctx, chromedp.Reload())
			webtest.WaitFor(t, ctx, "the answer", `document.querySelector("section.answer") !== null`)
		}
		s.turn(func() { s.tick() }) // the view of after it
		if now := hands(); now != was+1 {
			t.Errorf("%d entries were booked, want one", now-was)
		}
	})
	t.Run("the session ends while somebody types", func(t *testing.T) {
		s.show(t, ctx, "/tank/nursery/change")
		webtest.Type(t, ctx, "#setpoint-ec", words{"value": "1,15", "note": "before dawn"})
		other := webtest.Tab(t)
		s.show(t, other, "/people")
		webtest.Press(t, other, `footer form[action="/signout"]`)
		webtest.Press(t, ctx, "#setpoint-ec")
		signIn(t, ctx, "mara")
		webtest.WaitFor(t, ctx, "what was typed", `document.querySelector("#setpoint-ec input[name=value]") !== null && document.querySelector("#setpoint-ec input[name=value]").value === "1,15" && document.querySelector("#setpoint-ec input[name=note]").value === "before dawn"`)
		if final := s.app.View().Tanks[1].EC.Final; final != 1.2 {
			t.Errorf("EC is %v before anybody sent it again", final)
		}
		webtest.Press(t, ctx, "#setpoint-ec")
		if answer := said(t, ctx); !strings.Contains(answer, "→ 1.15") {
			t.Errorf("answered %q", answer)
		}
	})
	t.Run("the loop hangs behind a live server", func(t *testing.T) {
		s.show(t, ctx, "/tank/nursery")
		webtest.WaitFor(t, ctx, "live", isLive)
		s.turn(func() { s.held = true })
		webtest.WaitFor(t, ctx, "the page says so", `document.body.classList.contains("old") && document.getElementById("live").textContent.includes("control loop has stood")`)
		s.turn(func() { s.held = false })
		webtest.WaitFor(t, ctx, "live again", isLive)
	})
	t.Run("the phone slept", func(t *testing.T) {
		webtest.Ask[bool](t, ctx, `(window.said = [], new MutationObserver(() => window.said.push(document.body.classList.contains("old"))).observe(document.body, { attributes: true, attributeFilter: ["class"] }), Date.now = (was => () => was() + 3600000)(Date.now.bind(Date)), true)`)
		webtest.WaitFor(t, ctx, "old after a sleep of which nobody told", `window.said.includes(true)`)
		webtest.WaitFor(t, ctx, "live again", isLive)
	})
	t.Run("the daemon is started anew", func(t *testing.T) {
		webtest.Ask[bool](t, ctx, `navigator.serviceWorker.ready.then(() => true)`)
		address := s.app.Address()
		final := s.app.View().Tanks[1].PH.Final
		s.restart(t, func() {
			webtest.WaitFor(t, ctx, "the link is cut", `document.body.classList.contains("old") && document.getElementById("live").textContent.includes("no connection")`)
			webtest.Do(t, ctx, chromedp.Navigate(address+"/tank/nursery"))
			webtest.WaitFor(t, ctx, "our page answers offline", `document.title !== "" && document.querySelector("main") !== null && location.pathname === "/tank/nursery"`)
			if page := webtest.Ask[string](t, ctx, "document.body.innerText"); !strings.Contains(page, "cannot be reached") && !strings.Contains(page, "No connection") {
				t.Errorf("offline it says %.400s", page)
			}
		})
		s.show(t, ctx, "/tank/nursery")
		signIn(t, ctx, "mara")
		webtest.WaitFor(t, ctx, "live at the new daemon", `location.pathname === "/tank/nursery" && `+isLive)
		if now := s.app.View().Tanks[1].PH.Final; now != final {
			t.Errorf("the setpoint was %v and is %v", final, now)
		}
	})
	for _, wrong := range s.wrongs {
		t.Error(wrong)
	}
}

// restart ends the daemon, lets something happen while there is none, and starts it anew.
func (s *stand) restart(t *testing.T, between func()) {
	t.Helper()
	var err error
	s.turn(func() {
		s.held = true
		s.file.Web.Listen = strings.TrimPrefix(s.app.Address(), "http://")
		err = errors.Join(s.stopDaemon(), <-s.ended)
	})
	if err != nil {
		t.Fatal(err)
	}
	between()
	s.turn(func() {
		if err = s.prepareDaemon(); err != nil {
			return
		}
		s.startDaemon()
		err = s.connect(context.Background())
		s.held = false
	})
	if err != nil {
		t.Fatal(fmt.Errorf("the new daemon: %w", err))
	}
}
