package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"leat/controller"
)

// from signs in as a proxy passes it on from an address, and returns the code.
func (b *browser) from(address, name, password string) int {
	b.t.Helper()
	b.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	request, err := http.NewRequest(http.MethodPost, b.base+"/signin", strings.NewReader(url.Values{"name": {name}, "password": {password}}.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	request.Header.Set("X-Forwarded-For", address)
	code, _ := b.read(b.Do(request))
	return code
}

func TestGuesserBehindTheProxyLocksOutNobodyButHimself(t *testing.T) {
	h := newHouse(t, func(o *Options) { o.Proxied = true })
	b := h.browser(t)
	for i := range attemptsMost {
		// What he puts in front of his address himself is no other address.
		if code := b.from(fmt.Sprintf("10.0.0.%d, 203.0.113.9", i), "mara", "wrong"); code != http.StatusForbidden {
			t.Fatalf("guess %d: %d", i, code)
		}
	}
	if code := b.from("10.0.0.99, 203.0.113.9", "mara", password); code != http.StatusTooManyRequests {
		t.Errorf("the guesser goes on: %d", code)
	}
	if code := b.from("198.51.100.7", "mara", password); code != http.StatusSeeOther {
		t.Errorf("the owner at another address: %d", code)
	}
	if code := b.from("203.0.113.9", "visitor", password); code != http.StatusSeeOther {
		t.Errorf("another person at the guesser's address: %d", code)
	}
	for i := range addressMost {
		b.from("203.0.113.10", fmt.Sprint("name", i), "wrong")
	}
	if code := b.from("203.0.113.10", "visitor", password); code != http.StatusTooManyRequests {
		t.Errorf("one who tried %d names: %d", addressMost, code)
	}
	if len(h.deeds) > 5 {
		t.Errorf("%d lines in the audit: %q", len(h.deeds), h.deeds)
	}
}

func TestForwardedAddressIsNotBelievedWithoutAProxy(t *testing.T) {
	b := newHouse(t).browser(t)
	for i := range attemptsMost {
		b.from(fmt.Sprintf("203.0.113.%d", i), "mara", "wrong")
	}
	if code := b.from("198.51.100.7", "mara", password); code != http.StatusTooManyRequests {
		t.Errorf("who names another address each time goes on: %d", code)
	}
}

func TestFailedSignInsWriteOneLineAMinuteThatCountsThem(t *testing.T) {
	f := failures{said: map[string]time.Time{}, unsaid: map[string]int{}}
	for range 1000 {
		f.note("sign-in refused")
	}
	f.said["sign-in refused"] = time.Now().Add(-failuresEvery)
	if more, due := f.note("sign-in refused"); !due || !strings.Contains(more, "999 more") {
		t.Errorf("a minute later: %q, %t", more, due)
	}
}

func TestProxiedPageShowsNoMetricsAndTheirOwnAddressDoes(t *testing.T) {
	h := newHouse(t, func(o *Options) { o.Proxied, o.Monitoring = true, "127.0.0.1:0" })
	b := h.browser(t)
	if code, body := b.get("/metrics"); code != http.StatusNotFound {
		t.Errorf("the page: %d %s", code, body)
	}
	if code, _ := b.get("/healthz"); code != http.StatusOK {
		t.Errorf("health: %d", code)
	}
	b.base = "http://" + h.doors[1].listener.Addr().String()
	if code, body := b.get("/metrics"); code != http.StatusOK || !strings.Contains(body, "leat_up") {
		t.Errorf("their own address: %d %s", code, body)
	}
}

func TestRecordSaysWhichUserOfTheMachineAskedOverTheSocket(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("only Linux tells")
	}
	path := filepath.Join(t.TempDir(), "s")
	h := newHouse(t, func(o *Options) { o.Socket = path })
	client := http.Client{Transport: &http.Transport{DisableKeepAlives: true, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", path)
	}}}
	response, err := client.PostForm("http://leat/ask", url.Values{"do": {"stop"}, "tank": {"north"}, "by": {"somebody else"}})
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	var answer controller.Answer
	if err := json.NewDecoder(response.Body).Decode(&answer); err != nil || !answer.Accepted {
		t.Fatalf("%+v, %v", answer, err)
	}
	if got, want := h.asked[0].From, fmt.Sprintf("socket user %d", os.Getuid()); got != want {
		t.Errorf("from %q, want %q", got, want)
	}
}
