package web

import (
	"bufio"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

func TestTheLivePartsOfAPageAreFoundWhole(t *testing.T) {
	page := `<head><title id="title" data-live>a &amp; b</title></head><p><span class="x" id="one" data-live>1 <span>in <span>deep</span></span></span> not <b id="two" data-live></b></p>`
	found, err := partsOf(page)
	if err != nil || len(found) != 3 || found["title"] != "a &amp; b" || found["one"] != "1 <span>in <span>deep</span></span>" || found["two"] != "" {
		t.Errorf("found %q, %v", found, err)
	}
	for _, broken := range []string{`<p data-live>x</p>`, `<p id="x" data-live>never ends`, `<p" data-live>`} {
		if found, err := partsOf(broken); err == nil && len(found) > 0 {
			t.Errorf("%s: found %q", broken, found)
		}
	}
}

// anHourOf plays an hour of the farm: readings with noise every 5 s, now and then a wait,
// an alarm that comes, a forecast that wanders; it returns the bytes that a page is sent.
func anHourOf(t *testing.T, h *house, path string) (bytes int) {
	t.Helper()
	noise := rand.New(rand.NewPCG(1, 2))
	f := &feed{}
	for step := range int(time.Hour / liveEvery) {
		v := fourTanks()
		v.At.Wall = v.At.Wall.Add(time.Duration(step) * liveEvery)
		for i := range v.Tanks {
			tank := &v.Tanks[i]
			for k := range tank.Inputs {
				if in := &tank.Inputs[k]; !in.Quantity.Switch() {
					in.Value += float64(0.01 * noise.NormFloat64())
					in.Age = time.Duration(noise.IntN(8)) * time.Second
				}
			}
			if tank.Ions != nil { // the account is made anew each minute
				tank.Ions.At = v.At
				for k := range tank.Ions.Ions {
					tank.Ions.Ions[k].Amount *= 1 - float64(1e-4*float64(step/12))
				}
			}
			tank.Settled.PH += float64(0.01 * noise.NormFloat64())
			tank.LeavesWarn += time.Duration(noise.IntN(240)-120) * time.Second
			if step%40 > 30 { // the water is given time to mix after a dose
				row := safety.Of(safety.CauseMixingWait)
				tank.Holds = append(tank.Holds, controller.HoldView{Cause: row.Cause, Action: row.Action, Scope: row.Scope, Since: v.At, Text: row.Text, Clears: row.Clears})
			}
			if step > 400 && i == 1 {
				row := safety.Of(safety.CausePHStale)
				tank.Alarms = []controller.AlarmView{{Cause: row.Cause, Priority: row.Priority, State: alarm.Unacknowledged, Text: row.Text, Advice: row.Advice}}
			}
		}
		v.Judge()
		now, err := h.liveParts(v, controller.RoleEngineer, nil, path)
		if err != nil || now == nil {
			t.Fatalf("%s: %v, %v", path, now, err)
		}
		bytes += len(f.next(now, v.At.Wall, 0))
	}
	return bytes
}

func TestAnHourOfAnOpenPageIsAtMost200KB(t *testing.T) {
	h := newHouse(t)
	for _, path := range []string{"/", "/tank/north", "/tank/film/change", "/alarm/film/no-response", "/stocks"} {
		sent := anHourOf(t, h, path)
		t.Logf("%s: %.0f KB in an hour", path, float64(sent)/1000)
		if sent > 200_000 {
			t.Errorf("%s is sent %d bytes in an hour", path, sent)
		}
		if sent < 5_000 {
			t.Errorf("%s is sent %d bytes: nothing moves", path, sent)
		}
	}
}

func TestWhatFollowsAPageIsSentOnlyChangesAndNothingOnceSignedOut(t *testing.T) {
	h := newHouse(t)
	h.every = 10 * time.Millisecond
	b := h.browser(t)
	if _, text := b.get("/live?page=/"); text != "event: out\ndata: signed out\n\n" {
		t.Errorf("a stranger gets %q", text)
	}
	b.signIn("mara", password)
	if _, text := b.get("/live?page=/tank/nowhere"); !strings.HasPrefix(text, "event: out") {
		t.Errorf("a page that is not there: %q", text)
	}
	response, err := b.Get(b.base + "/live?page=/tank/north")
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if kind := response.Header.Get("Content-Type"); kind != "text/event-stream" || response.StatusCode != http.StatusOK {
		t.Errorf("%d %s", response.StatusCode, kind)
	}
	lines := bufio.NewScanner(response.Body)
	next := func(about string) string {
		t.Helper()
		for lines.Scan() {
			if strings.Contains(lines.Text(), about) {
				return lines.Text()
			}
		}
		t.Fatalf("the stream ended before %q", about)
		return ""
	}
	next(`"pH":"5.93"`)
	if quiet := next("data: "); strings.Contains(quiet, "parts") {
		t.Errorf("nothing changed, and it is sent %s", quiet)
	}
	fresh := sampleView()
	fresh.Tanks[0].Inputs[0].Value = 5.91
	fresh.Judge()
	h.show(fresh)
	if changed := next(`"pH":"5.91"`); len(changed) > 120 {
		t.Errorf("one reading is %d bytes: %s", len(changed), changed)
	}
	h.people.Delete("mara")
	next("event: out")
}

func TestAnOpenPageIsLiveByTheLoopAndIsPaintedOldOnWaking(t *testing.T) {
	h := newHouse(t)
	h.every = 50 * time.Millisecond
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north"))
	fresh := sampleView()
	fresh.Tanks[0].Inputs[0].Value = 6.11
	fresh.Judge()
	h.show(fresh)
	waitFor(t, ctx, "a new reading did not reach the open page", `document.getElementById("pH").textContent === "6.11"`)
	live := `document.getElementById("live").textContent.startsWith("live ") && !document.body.classList.contains("old")`
	waitFor(t, ctx, "live", live)
	// A loop that hangs behind a server that answers.
	h.loop.Store(int64(9 * time.Second))
	waitFor(t, ctx, "a loop that stands makes the figures old", `document.body.classList.contains("old") && document.getElementById("live").textContent.includes("control loop has stood for 9 s")`)
	h.loop.Store(0)
	waitFor(t, ctx, "live again", live)
	// The phone sleeps and wakes: what is painted first is marked old.
	const look = `(hidden => { Object.defineProperty(document, "hidden", { value: hidden, configurable: true }); document.dispatchEvent(new Event("visibilitychange")); return document.body.classList.contains("old") })`
	if old := ask[bool](t, ctx, look+"(true)"); !old {
		t.Error("a page that nobody sees is not marked old")
	}
	if old := ask[bool](t, ctx, look+"(false)"); !old {
		t.Error("on waking the figures are not marked old")
	}
	waitFor(t, ctx, "live after waking", live)
	// Someone else is signed out.
	h.sessions.mu.Lock()
	clear(h.sessions.byToken)
	h.sessions.mu.Unlock()
	waitFor(t, ctx, "signed out", `document.body.classList.contains("old") && document.querySelector('#live a[href="/signin?to=%2Ftank%2Fnorth"]') !== null`)
}

func TestUpdatesKeepTheFocusAndMoveNoControl(t *testing.T) {
	h := newHouse(t)
	h.every = 50 * time.Millisecond
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	calm := func() *controller.View {
		v := fourTanks()
		for i := range v.Tanks {
			v.Tanks[i].Alarms, v.Tanks[i].Holds, v.Tanks[i].Mode = nil, nil, safety.ModeArmed
		}
		v.Judge()
		return v
	}
	for path, focus := range map[string]string{"/": `.tank[href="/tank/film"]`, "/tank/film": `.buttons a`, "/tank/film/change": `#pause input[name=until]`, "/alarm/film/no-response": `.back`, "/stocks": `.buttons a`} {
		h.show(fourTanks())
		do(t, ctx, chromedp.Navigate(h.Address()+path))
		unfold(t, ctx)
		ask[int](t, ctx, `document.querySelector('`+focus+`').focus(), 0`)
		const where = `[...document.querySelectorAll("main a, main button, main input, main select")].filter(e => e.checkVisibility() && !e.closest(".alarms, footer")).map(e => Math.round(e.getBoundingClientRect().top)).join()`
		waitFor(t, ctx, "live", `document.getElementById("live").textContent.startsWith("live ")`)
		before := ask[string](t, ctx, where)
		for step := range 4 {
			v := calm()
			if step%2 == 1 {
				v = fourTanks()
			}
			v.Tanks[0].Inputs[0].Value, v.At.Wall = 5.5+float64(step)/10, v.At.Wall.Add(time.Duration(step)*time.Minute)
			v.Pumps[0].Hour = dosing.Volume(step) * dosing.Millilitre
			h.show(v)
			waitFor(t, ctx, "the update came", `document.getElementById("live").textContent.startsWith("live `+v.At.Wall.Format("15:04:05")+`")`)
			if after := ask[string](t, ctx, where); after != before {
				t.Errorf("%s: controls moved from %s to %s", path, before, after)
			}
			if held := ask[bool](t, ctx, `document.activeElement === document.querySelector('`+focus+`')`); !held {
				t.Errorf("%s: the focus was lost", path)
			}
		}
	}
}
