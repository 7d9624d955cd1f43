//go:build unix

package app

import (
	"context"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/app/apptest"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/controller/payload"
)

// watched is a daemon as a process of its own, seen from outside: by its leases, its
// page and its local socket.
type watched struct {
	t       *testing.T
	process *apptest.Process
	file    *config.File
	state   string
	disk    string // the file that says how slow its disk is
	page    string

	mu     sync.Mutex
	leases []time.Time
}

// watch starts a daemon whose disk takes so long for each append.
func watch(t *testing.T, broker string, disk time.Duration) *watched {
	t.Helper()
	return watchUntil(t, broker, disk, alone)
}

// watchUntil starts one that dies or hangs at a point.
func watchUntil(t *testing.T, broker string, disk time.Duration, point string) *watched {
	t.Helper()
	// A path in the test's folder may be longer than a socket's name can be.
	folder, err := os.MkdirTemp("", "leat")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	w := &watched{t: t, state: filepath.Join(folder, "state"), disk: filepath.Join(folder, "disk")}
	port := apptest.Port(t)
	path := apptest.Config(t, broker, "listen = \"127.0.0.1:0\"", "listen = \"127.0.0.1:"+port+"\"")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	apptest.Rewrite(t, path, string(text), apptest.State(path), w.state)
	w.page, w.file = "http://127.0.0.1:"+port, apptest.Load(t, path)
	w.slow(disk)
	w.listen(broker)
	w.process = apptest.Start(t, []string{childConfig + "=" + path, childPoint + "=" + point, childDisk + "=" + w.disk})
	apptest.Eventually(t, "leases go out", func() bool { return w.count() > 0 || w.process.Ended() })
	return w
}

// slow makes each append to the record take so long from now on.
func (w *watched) slow(delay time.Duration) {
	w.t.Helper()
	fresh := w.disk + ".new"
	if err := os.WriteFile(fresh, []byte(delay.String()), 0o600); err != nil {
		w.t.Fatal(err)
	}
	if err := os.Rename(fresh, w.disk); err != nil {
		w.t.Fatal(err)
	}
}

// listen notes when the daemon's leases arrive; those of a flood have another epoch.
func (w *watched) listen(broker string) {
	topic := w.file.Topics.Lease()
	link := client(w.t, mqtt.Options{URL: broker, ClientID: "listener", Queued: []string{topic}, QueuePerItem: 1 << 16})
	ended := make(chan struct{})
	w.t.Cleanup(func() { close(ended) })
	go func() {
		for {
			select {
			case <-ended:
				return
			case <-link.Changed():
			case <-link.Ready():
				for m, ok := link.Next(); ok; m, ok = link.Next() {
					if epoch, _, err := payload.ParseLease(m.Body); err == nil && epoch == 1 {
						w.mu.Lock()
						w.leases = append(w.leases, m.Arrived)
						w.mu.Unlock()
					}
				}
			}
		}
	}()
}

func client(t *testing.T, options mqtt.Options) *mqtt.Link {
	t.Helper()
	link := mqtt.New(options)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { _ = link.Run(ctx); close(ended) }()
	t.Cleanup(func() { stop(); <-ended })
	apptest.Eventually(t, options.ClientID+" is connected", link.Open)
	return link
}

func (w *watched) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.leases)
}

// longestSilence is the longest time between two leases since from, and until now.
func (w *watched) longestSilence(from time.Time) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	longest, last := time.Duration(0), from
	for _, at := range append(append([]time.Time(nil), w.leases...), time.Now()) {
		if at.After(from) {
			longest, last = max(longest, at.Sub(last)), at
		}
	}
	return longest
}

// get asks the page and returns code and body; 0 = no answer within five seconds.
func (w *watched) get(path string) (int, string) {
	client := http.Client{Timeout: 5 * time.Second}
	response, err := client.Get(w.page + path)
	if err != nil {
		return 0, err.Error()
	}
	defer response.Body.Close()
	body, _ := io.ReadAll(response.Body) // what came is what is judged
	return response.StatusCode, string(body)
}

// ask asks over the local socket, as leat mode does.
func (w *watched) ask(do string) (controller.Answer, error) {
	return Ask(w.state, url.Values{"do": {do}, "tank": {"tub"}, "by": {"test"}, "note": {"test"}})
}

// metric reads one value of /metrics.
func (w *watched) metric(name string) float64 {
	w.t.Helper()
	_, body := w.get("/metrics")
	for line := range strings.SplitSeq(body, "\n") {
		if rest, ok := strings.CutPrefix(line, name+" "); ok {
			value, err := strconv.ParseFloat(rest, 64)
			if err != nil {
				w.t.Fatal(err)
			}
			return value
		}
	}
	w.t.Errorf("no %s in the metrics", name)
	return 0
}

// endsInTime sends SIGTERM and checks that the daemon ends as promised.
func (w *watched) endsInTime() {
	w.t.Helper()
	began := time.Now()
	w.process.Signal(syscall.SIGTERM)
	for !w.process.Ended() && time.Since(began) < time.Minute {
		time.Sleep(10 * time.Millisecond)
	}
	if took := time.Since(began); took > 10*time.Second {
		w.t.Errorf("SIGTERM was sent %s ago; want an end within 10 s", took.Round(time.Second))
	}
}
