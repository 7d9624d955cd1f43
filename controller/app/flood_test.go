//go:build unix

package app

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/dosing"
)

// flood publishes so many messages a second for so long, each made by its number, or
// as many as the broker takes.
func flood(t *testing.T, broker string, perSecond int, lasts time.Duration, each func(i int) (topic, body string)) {
	t.Helper()
	link := client(t, mqtt.Options{URL: broker, ClientID: "flood", WriteTimeout: time.Minute})
	began := time.Now()
	for i := 0; time.Since(began) < lasts; {
		for due := int(time.Since(began).Seconds() * float64(perSecond)); i < due; i++ {
			topic, body := each(i)
			if err := link.Publish(topic, 0, false, []byte(body)); err != nil {
				apptest.Eventually(t, "the flood goes on", link.Open)
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
			w, calm := watch(t, broker, c.disk), watch(t, anyBroker(t), 0)
			began := time.Now()
			topic := w.file.Topics.Ask(0, dosing.QuantityPH)
			flood(t, broker, c.perSecond, 12*time.Second, func(i int) (string, string) {
				return topic, fmt.Sprintf(`{"value":%.3f}`, 5.70+float64(i%200)/1000)
			})
			w.alive(began, calm)
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
			w, calm := watch(t, broker, disk), watch(t, anyBroker(t), 0)
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
			w.alive(began, calm)
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
		case routeCalibration:
			good = func(i int) string {
				return fmt.Sprintf(`{"probe":"ph","step":"%s","standard":"7.00","celsius":25,"found":"7.00=7.0%d"}`, []string{"entered", "read", "cancel", "accept"}[i%4], i%5)
			}
		case routeOwner:
			good = func(i int) string { return fmt.Sprintf(`{"instance":"f%d","epoch":7}`, i%20) }
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
	w, calm := watch(t, broker, 0), watch(t, anyBroker(t), 0)
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
	w.alive(began, calm)
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
// on, a stop is answered, and the daemon ends in time. On a machine that is so busy
// that a daemon whom nobody disturbs is late with its leases, it may be twice as late.
func (w *watched) alive(began time.Time, calm *watched) {
	w.t.Helper()
	time.Sleep(6 * time.Second)                                                    // a loop that hangs now has been silent for longer than it may
	bearable := 5*time.Second + 2*max(0, calm.longestSilence(began)-3*time.Second) // a lease goes out every 2 s
	if silence := w.longestSilence(began); silence > bearable {
		w.t.Errorf("no lease for %s; at most %s here", silence.Round(time.Second), bearable.Round(time.Second))
	}
	asked := time.Now()
	if answer, err := w.ask("stop"); err != nil || !answer.Accepted {
		w.t.Errorf("stop: %+v, %v", answer, err)
	} else if took := time.Since(asked); took > bearable {
		w.t.Errorf("stop was answered after %s", took)
	}
	w.endsInTime()
}
