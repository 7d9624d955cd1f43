//go:build unix

package app

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
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
	"leat/dosing"
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
	port := freePort(t)
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

func freePort(t *testing.T) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	_, port, _ := net.SplitHostPort(listener.Addr().String())
	return port
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
	client := http.Client{Timeout: 15 * time.Second, Transport: &http.Transport{DisableKeepAlives: true,
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "unix", filepath.Join(w.state, SocketName))
		}}}
	response, err := client.PostForm("http://leat/ask", url.Values{"do": {do}, "tank": {"tub"}, "by": {"test"}, "note": {"test"}})
	if err != nil {
		return controller.Answer{}, err
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(response.Body)
		return controller.Answer{}, fmt.Errorf("%s: %s", response.Status, text)
	}
	var answer controller.Answer
	err = json.NewDecoder(response.Body).Decode(&answer)
	return answer, err
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

// flood publishes so many messages a second for so long, each made by its number.
func flood(t *testing.T, broker string, perSecond int, lasts time.Duration, each func(i int) (topic, body string)) {
	t.Helper()
	link := client(t, mqtt.Options{URL: broker, ClientID: "flood"})
	began := time.Now()
	for i := 0; time.Since(began) < lasts; {
		for due := int(time.Since(began).Seconds() * float64(perSecond)); i < due; i++ {
			topic, body := each(i)
			if err := link.Publish(topic, 0, false, []byte(body)); err != nil {
				t.Errorf("message %d of the flood: %v", i, err)
				return
			}
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// anyBroker is Debian's mosquitto, or where LEAT_REAL is not 1 the broker in this
// process.
func anyBroker(t *testing.T) string {
	if apptest.Real() {
		return apptest.NewBroker(t).URL()
	}
	return newInner(t).url
}

func TestThousandSetpointAsksASecondDoNotHangTheDaemon(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		perSecond int
		disk      time.Duration
	}{{1000, 0}, {60, 40 * time.Millisecond}} {
		t.Run(fmt.Sprintf("%d a second at %s", c.perSecond, c.disk), func(t *testing.T) {
			t.Parallel()
			broker := anyBroker(t)
			w := watch(t, broker, c.disk)
			began := time.Now()
			topic := w.file.Topics.Ask(0, dosing.QuantityPH)
			flood(t, broker, c.perSecond, 12*time.Second, func(i int) (string, string) {
				return topic, fmt.Sprintf(`{"value":%.3f}`, 5.70+float64(i%200)/1000)
			})
			w.alive(began)
		})
	}
}

// TestFloodOfEveryTopicOnASlowDiskKeepsTheDaemonAlive is the invariant "bounded and
// live", seen from outside.
func TestFloodOfEveryTopicOnASlowDiskKeepsTheDaemonAlive(t *testing.T) {
	t.Parallel()
	perSecond, lasts := 300, 6*time.Second
	if apptest.Real() {
		perSecond, lasts = 2000, 15*time.Second
	}
	for _, disk := range []time.Duration{0, 20 * time.Millisecond, 100 * time.Millisecond} {
		t.Run(disk.String(), func(t *testing.T) {
			t.Parallel()
			broker := anyBroker(t)
			w := watch(t, broker, disk)
			before, began := w.metric("process_resident_memory_bytes"), time.Now()
			topics, bodies := everything(w.file)
			flood(t, broker, perSecond, lasts, func(i int) (string, string) {
				topic := topics[i%len(topics)]
				bodies := bodies[topic]
				return topic, bodies[i/len(topics)%len(bodies)](i)
			})
			if code, said := w.get("/readyz"); code == 0 || strings.Contains(said, "last step") {
				t.Errorf("ready says %d %s", code, said)
			}
			if code, said := w.get("/healthz"); code != http.StatusOK {
				t.Errorf("health says %d %s", code, said)
			}
			if more := w.metric("process_resident_memory_bytes") - before; more > 100<<20 {
				t.Errorf("%.0f MB more than before the flood", more/(1<<20))
			}
			if n := w.metric("go_goroutines"); n > 60 {
				t.Errorf("%.0f goroutines", n)
			}
			w.alive(began)
		})
	}
}

// everything is each topic that the daemon listens to, with bodies that it takes and
// bodies that it refuses.
func everything(file *config.File) (topics []string, bodies map[string][]func(i int) string) {
	bodies = map[string][]func(i int) string{}
	rubbish := []func(int) string{
		func(int) string { return "" },
		func(int) string { return "NaN" },
		func(i int) string { return fmt.Sprintf(`{"value":%d,"untill":"06:00"}`, i) },
		func(int) string { return strings.Repeat("[", 5000) },
		func(int) string { return strings.Repeat("x", payload.LargestPayload+1) },
		func(i int) string { return string([]byte{0xff, 0xfe, byte(i), 0}) },
	}
	wires := newWires(file)
	for _, topic := range wires.latest {
		bodies[topic] = append([]func(int) string{func(i int) string { return fmt.Sprintf("%.2f", 5+float64(i%100)/50) }}, rubbish...)
	}
	for topic, r := range wires.routes {
		var good func(i int) string
		switch r.kind {
		case routeReport:
			good = func(i int) string {
				return fmt.Sprintf(`{"order":"1-%06d","phase":"done","run_ms":1000,"volume_ml":0.1}`, i%1000)
			}
		case routeHeartbeat:
			good = func(i int) string { return fmt.Sprintf(`{"boot":"b%d","tick_ms":%d,"idle":true}`, i%50, i) }
		case routeAsk:
			good = func(i int) string {
				return fmt.Sprintf(`{"value":%.3f,"by":"phone"}`, 1.5+4.2*float64(i%2)+float64(i%200)/1000)
			}
		case routeAnalysis:
			good = func(i int) string { return fmt.Sprintf("Ca=%d mg/L, K=%d mg/L", 80+i%20, 100+i%30) }
		case routeLease:
			good = func(i int) string { return fmt.Sprintf(`{"epoch":7,"beat":%d}`, i) }
		}
		bodies[topic] = append([]func(int) string{good, good, good}, rubbish...)
	}
	for topic := range bodies {
		topics = append(topics, topic)
	}
	slices.Sort(topics)
	return topics, bodies
}

func TestLoopThatHangsIsSeenFromOutsideAndTheDaemonStillEndsWithThePumpsOff(t *testing.T) {
	t.Parallel()
	broker := anyBroker(t)
	w := watchUntil(t, broker, 0, hanging)
	apptest.Eventually(t, "the daemon is ready", func() bool { code, _ := w.get("/readyz"); return code == http.StatusOK })
	stops := client(t, mqtt.Options{URL: broker, ClientID: "pumps", Queued: []string{w.file.Topics.Stop()}})
	if err := stops.Publish(w.file.Topics.Report("acid"), 1, false, []byte(`{"order":"1-000001","phase":"done","run_ms":1000,"volume_ml":0.1}`)); err != nil {
		t.Fatal(err)
	}
	apptest.Eventually(t, "the loop hangs", func() bool { return strings.Contains(w.process.Log(), "hangs") })
	for path, words := range map[string]string{"/readyz": "last step", "/healthz": "last step"} {
		apptest.Eventually(t, path+" says so", func() bool {
			code, said := w.get(path)
			return code == http.StatusServiceUnavailable && strings.Contains(said, words)
		})
	}
	if answer, err := w.ask("stop"); err == nil || !strings.Contains(err.Error(), "did not answer") {
		t.Errorf("a stop of a daemon that hangs: %+v, %v; want to be told that it does not answer", answer, err)
	}
	if _, early := stops.Next(); early {
		t.Error("a stop went out before the end")
	}
	w.endsInTime()
	apptest.Eventually(t, "the pumps are told to stop", func() bool { _, ok := stops.Next(); return ok })
	if !strings.Contains(w.process.Log(), "the decision loop did not end") {
		t.Error("the daemon does not say why it did not end in order")
	}
}

func TestDiskThatStallsHoldsTheDosesAndNothingElse(t *testing.T) {
	t.Parallel()
	broker := anyBroker(t)
	w := watch(t, broker, 0)
	apptest.Eventually(t, "the daemon is ready", func() bool { code, _ := w.get("/readyz"); return code == http.StatusOK })
	w.slow(time.Hour)
	began := time.Now()
	if answer, err := w.ask("pause"); err != nil || !answer.Accepted {
		t.Errorf("pause: %+v, %v", answer, err)
	}
	apptest.Eventually(t, "ready says that the record is behind", func() bool {
		code, said := w.get("/readyz")
		return code == http.StatusServiceUnavailable && strings.Contains(said, "behind")
	})
	if code, said := w.get("/healthz"); code != http.StatusOK {
		t.Errorf("health says %d %s: a stalled disk is not cured by a restart", code, said)
	}
	if answer, err := w.ask("arm"); err != nil || answer.Accepted || !strings.Contains(answer.Text, "the record is behind") {
		t.Errorf("arm: %+v, %v; want a refusal that says why", answer, err)
	}
	w.alive(began)
}

func TestDiskThatWasSlowForAWhileLetsDosingGoOnWhenItHasCaughtUp(t *testing.T) {
	t.Parallel()
	w := watch(t, anyBroker(t), 0)
	w.slow(15 * time.Second)
	if answer, err := w.ask("pause"); err != nil || !answer.Accepted {
		t.Errorf("pause: %+v, %v", answer, err)
	}
	apptest.Eventually(t, "ready says that the record is behind", func() bool { _, said := w.get("/readyz"); return strings.Contains(said, "behind") })
	w.slow(0)
	apptest.Eventually(t, "the daemon is ready again", func() bool { code, _ := w.get("/readyz"); return code == http.StatusOK })
	if answer, err := w.ask("arm"); err != nil || !answer.Accepted {
		t.Errorf("arm: %+v, %v", answer, err)
	}
	w.endsInTime()
}

// alive checks what must hold whatever was sent since began: leases and steps go
// on, a stop is answered, and the daemon ends in time.
func (w *watched) alive(began time.Time) {
	w.t.Helper()
	time.Sleep(6 * time.Second) // a loop that hangs now has been silent for longer than it may
	if silence := w.longestSilence(began); silence > 5*time.Second {
		w.t.Errorf("no lease for %s", silence.Round(time.Second))
	}
	asked := time.Now()
	if answer, err := w.ask("stop"); err != nil || !answer.Accepted {
		w.t.Errorf("stop: %+v, %v", answer, err)
	} else if took := time.Since(asked); took > 5*time.Second {
		w.t.Errorf("stop was answered after %s", took)
	}
	w.endsInTime()
}
