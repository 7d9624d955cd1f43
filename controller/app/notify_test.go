package app

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/controller/app/apptest"
	"leat/safety/alarm"
)

// The whole way: a wet sensor at the broker, a signed letter at a web server, its link
// followed as a phone does, and the daemon's own word on the alarm.
func TestLeakIsToldByWebhookAndItsLinkAcknowledgesItAndStartsNothing(t *testing.T) {
	t.Parallel()
	type letter struct {
		Event, Cause, Advice string
		Tanks                []struct{ Acknowledge string }
	}
	const secret = "a secret of this very test"
	letters := make(chan letter, 10)
	hook := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		var l letter
		if err := json.Unmarshal(body, &l); err != nil {
			t.Error(err)
		}
		letters <- l
	}))
	t.Cleanup(hook.Close)
	key := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(key, []byte(secret), 0o600); err != nil {
		t.Fatal(err)
	}
	broker := newInner(t)
	path := apptest.Config(t, broker.url, "[tank.input.leak]\nnot_fitted = \"a test\"", "[tank.input.leak]\nevery = \"1s\"",
		"[broker]", "[notify]\npage = \"http://127.0.0.1:1\"\n\n[notify.webhook]\nurl = \""+hook.URL+"\"\nsecret_file = \""+key+"\"\n\n[broker]")
	apptest.NewFarm(t, apptest.Load(t, path))
	d := runs(t, path, Options{})
	apptest.Eventually(t, "the leak is told", func() bool {
		broker.publish(t, "leat/bench/tub/reading/leak", "1")
		return len(letters) > 0
	})
	l := <-letters
	if l.Event != "raised" || l.Cause != "leak" || l.Advice == "" || len(l.Tanks) != 1 {
		t.Fatalf("told %+v", l)
	}
	_, way, _ := strings.Cut(l.Tanks[0].Acknowledge, "http://127.0.0.1:1")
	page := func(method string) (int, string) {
		r, err := http.NewRequest(method, d.Address()+way, nil)
		if err != nil {
			t.Fatal(err)
		}
		answer, err := http.DefaultTransport.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		body, _ := io.ReadAll(answer.Body)
		return answer.StatusCode, string(body)
	}
	defer http.DefaultTransport.(*http.Transport).CloseIdleConnections()
	state := func() alarm.State {
		for _, a := range d.View().Tanks[0].Alarms {
			if a.Cause.String() == "leak" {
				return a.State
			}
		}
		return alarm.Normal
	}
	mode := d.View().Tanks[0].Mode
	if status, text := page("GET"); status != 200 || !strings.Contains(text, "tub: ") || state() != alarm.Unacknowledged {
		t.Errorf("looking at the link: %d, alarm %s\n%s", status, state(), text)
	}
	if status, text := page("POST"); status != 200 || !strings.Contains(text, "Acknowledged") {
		t.Errorf("pressing it: %d\n%s", status, text)
	}
	if s := state(); s != alarm.Latched && s != alarm.Acknowledged {
		t.Errorf("the alarm is %s after it was acknowledged", s)
	}
	if status, _ := page("POST"); status != http.StatusGone {
		t.Errorf("pressing it again: %d, want 410", status)
	}
	way = way[:len(way)-1] + "_"
	if status, _ := page("POST"); status != http.StatusNotFound {
		t.Errorf("a forged link: %d, want 404", status)
	}
	if now := d.View().Tanks[0].Mode; now != mode || len(broker.on("/order/acid")) != 0 {
		t.Errorf("the tank was %s and is %s; orders %v", mode, now, broker.on("/order/acid"))
	}
	if became := d.desk.Try(t.Context()); len(became) != 1 || became["webhook"] != nil {
		t.Errorf("the test through the daemon's own desk: %v", became)
	}
	if l := <-letters; l.Event != "test" {
		t.Errorf("came %+v, want the test", l)
	}
	if err := d.end(); err != nil {
		t.Error(err)
	}
	if kept, err := os.ReadFile(filepath.Join(d.file.State, "notified.json")); err != nil || !strings.Contains(string(kept), "leak") {
		t.Errorf("kept %s, %v", kept, err)
	}
}
