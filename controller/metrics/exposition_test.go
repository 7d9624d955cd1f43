package metrics

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"
)

// The outside judge is promtool of Prometheus 2.42, Debian. Its lint asks for base units; those of the trade stay.
func TestPromtoolReadsTheScrapeOfABadNight(t *testing.T) {
	promtool := program(t, "promtool", "prometheus")
	m := newTestMetrics(tenTanks())
	m.Notify([]string{"mail"}, []string{"sent", "failed"})
	m.Notified("mail", "sent")
	check := exec.Command(promtool, "check", "metrics")
	check.Stdin = strings.NewReader(string(m.scrape()))
	out, err := check.CombinedOutput()
	for line := range strings.Lines(string(out)) {
		name, problem, _ := strings.Cut(strings.TrimSpace(line), " ")
		if !strings.HasPrefix(problem, "use base unit") || !unitEnd.MatchString(name) {
			t.Errorf("promtool says: %s", line)
		}
	}
	if _, ended := err.(*exec.ExitError); err != nil && !ended {
		t.Fatal(err)
	}
	if got := samples(t, m, "leat_notifications_total"); got["sent mail"] != 1 || got["failed mail"] != 0 || len(got) != 2 {
		t.Errorf("notifications %v", got)
	}
}

func TestNamesThatNobodyExpectsStayWithinTheirLabel(t *testing.T) {
	for _, name := range []string{`a"} 9` + "\n" + `leat_epoch 3`, `back\slash\n`, "tab\tand ümlaut", "not \xff UTF-8", ""} {
		v := farmView()
		v.Tanks[0].Name = name
		got := samples(t, newTestMetrics(v), "leat_fit_for_plants")
		if _, whole := got[strings.ToValidUTF8(name, "\ufffd")]; !whole || len(got) != 2 {
			t.Errorf("%q is shown as %v", name, got)
		}
	}
}

func TestScrapeIsPackedForWhoTakesIt(t *testing.T) {
	server := httptest.NewServer(newTestMetrics(farmView()).Handler())
	defer server.Close()
	get := func(encoding string) (text string, bytes int64) {
		request, err := http.NewRequest(http.MethodGet, server.URL, nil)
		if err != nil {
			t.Fatal(err)
		}
		request.Header.Set("Accept-Encoding", encoding)
		answer, err := http.DefaultTransport.RoundTrip(request)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = answer.Body.Close() }()
		if kind := answer.Header.Get("Content-Type"); kind != "text/plain; version=0.0.4; charset=utf-8" {
			t.Errorf("served as %s", kind)
		}
		body, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		if answer.Header.Get("Content-Encoding") != "gzip" {
			return string(body), int64(len(body))
		}
		packed, err := gzip.NewReader(strings.NewReader(string(body)))
		if err != nil {
			t.Fatal(err)
		}
		plain, err := io.ReadAll(packed)
		if err != nil {
			t.Fatal(err)
		}
		return string(plain), int64(len(body))
	}
	plain, size := get("identity")
	packed, small := get("gzip")
	if !strings.Contains(plain, "leat_epoch{") || strings.Count(packed, "\n") != strings.Count(plain, "\n") || small*3 > size {
		t.Errorf("%d bytes plain and %d packed", size, small)
	}
}

func TestFifthScrapeAtOnceIsTurnedAway(t *testing.T) {
	m := newTestMetrics(farmView())
	inside, open := make(chan struct{}, 10), make(chan struct{})
	m.add(func(*scrape) { inside <- struct{}{}; <-open })
	handler := m.Handler()
	var all sync.WaitGroup
	for range mostScrapes {
		all.Go(func() {
			handler.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "/metrics", nil))
		})
		<-inside
	}
	refused := httptest.NewRecorder()
	handler.ServeHTTP(refused, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	close(open)
	all.Wait()
	again := httptest.NewRecorder()
	handler.ServeHTTP(again, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if refused.Code != http.StatusServiceUnavailable || again.Code != http.StatusOK {
		t.Errorf("the fifth got %d, one that came later %d", refused.Code, again.Code)
	}
}

func TestProcessTellsWhenItBeganAndWhatItHolds(t *testing.T) {
	m := newTestMetrics(farmView())
	all, err := m.gather()
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]float64{}
	for _, f := range all {
		one := f.GetMetric()[0]
		got[f.GetName()] = one.GetGauge().GetValue() + one.GetCounter().GetValue()
	}
	now := float64(time.Now().Unix())
	if began := got["process_start_time_seconds"]; began < now-3600 || began > now+1 {
		t.Errorf("begun at %v", began)
	}
	names := []string{"go_goroutines", "go_memstats_heap_alloc_bytes"}
	if runtime.GOOS == "linux" {
		names = append(names, "process_cpu_seconds_total", "process_resident_memory_bytes", "process_open_fds")
	}
	for _, name := range names {
		if got[name] <= 0 {
			t.Errorf("%s is %v", name, got[name])
		}
	}
}
