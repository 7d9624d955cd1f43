package metrics

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"syscall"
	"testing"
	"time"
)

// processor is the time that this process has had of any processor.
func processor(t *testing.T) time.Duration {
	t.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		t.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// By the processor's time: what others do on this machine is not the scrape's.
func TestScrapeOfTenTanksTakesAtMostTenMilliseconds(t *testing.T) {
	handler := newTestMetrics(tenTanks()).Handler()
	const scrapes = 50
	scrape := func() {
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		if n := strings.Count(w.Body.String(), "\n"); w.Code != http.StatusOK || n < 1000 {
			t.Fatalf("status %d, %d lines", w.Code, n)
		}
	}
	scrape()
	began := processor(t)
	for range scrapes {
		scrape()
	}
	each := (processor(t) - began) / scrapes
	t.Logf("a scrape of ten tanks takes %s of a processor", each)
	if each > 10*time.Millisecond {
		t.Errorf("a scrape takes %s, want at most 10 ms", each)
	}
}
