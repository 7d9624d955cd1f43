package metrics

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"leat/controller"
	"leat/safety"
	"leat/safety/alarm"
)

// faster is by how much the shipped times are shortened for the test.
const faster = 50

var shortWait = regexp.MustCompile(`group_wait: \d{2,3}ms`)

var span = regexp.MustCompile(`\b(\d+)([smhd])\b`)

// hurried is a shipped file with its times shortened; times of day have no unit and stay.
func hurried(text string) string {
	unit := map[string]int{"s": 1000, "m": 60_000, "h": 3600_000, "d": 86400_000}
	text = strings.ReplaceAll(text, "timestamp_seconds > 30", "timestamp_seconds > 1") // has no unit
	return span.ReplaceAllStringFunc(text, func(s string) string {
		m := span.FindStringSubmatch(s)
		n, _ := strconv.Atoi(m[1])
		return fmt.Sprintf("%dms", max(n*unit[m[2]]/faster, 0))
	})
}

// posted is what a webhook was sent: who, what, of which cause.
type posted struct {
	Receiver, Status string
	Came             time.Time
	Alerts           []struct{ Labels, Annotations map[string]string }
}

// phoneBook is the webhooks of all receivers.
type phoneBook struct {
	mu   sync.Mutex
	came []posted
}

func (p *phoneBook) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	var m posted
	body, _ := io.ReadAll(r.Body)
	if json.Unmarshal(body, &m) == nil {
		p.mu.Lock()
		m.Came = time.Now()
		p.came = append(p.came, m)
		p.mu.Unlock()
	}
}

// rings are the messages of a receiver by alert, instance and cause.
func (p *phoneBook) rings(receiver string) map[string]int {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := map[string]int{}
	for _, m := range p.came {
		if m.Receiver == receiver {
			l := m.Alerts[0].Labels
			out[strings.TrimSpace(l["alertname"]+" "+l["station"]+" "+l["cause"])]++
		}
	}
	return out
}

// testFarm is one daemon's metrics as served; its views are set by the test.
type testFarm struct {
	station string
	view    atomic.Pointer[controller.View]
	server  *httptest.Server
	frozen  atomic.Bool
}

func startFarm(t *testing.T, station string) *testFarm {
	f := &testFarm{station: station}
	f.say(7)
	m := New(station, f.view.Load)
	f.server = httptest.NewServer(m.Handler())
	done := make(chan struct{})
	go func() {
		for {
			select {
			case <-done:
				return
			case <-time.After(20 * time.Millisecond):
				if !f.frozen.Load() {
					m.LoopStep(time.Microsecond)
				}
			}
		}
	}()
	t.Cleanup(func() { close(done); f.server.Close() })
	return f
}

// say makes the causes stand as alarms in both tanks.
func (f *testFarm) say(epoch uint32, causes ...safety.Cause) {
	v := farmView()
	v.Station, v.Epoch = f.station, epoch
	for i := range v.Tanks {
		v.Tanks[i].Holds, v.Tanks[i].Alarms = nil, nil
		for _, c := range causes {
			v.Tanks[i].Alarms = append(v.Tanks[i].Alarms, controller.AlarmView{Cause: c, State: alarm.Acknowledged, Priority: safety.Of(c).Priority})
		}
	}
	f.view.Store(v)
}

func (f *testFarm) die() {
	f.server.CloseClientConnections()
	f.server.Close()
}

// monitoring is Debian's Prometheus and Alertmanager with the shipped files.
type monitoring struct {
	t      *testing.T
	book   *phoneBook
	prom   *exec.Cmd
	again  []string // how Prometheus is started
	output *strings.Builder
}

func freePort(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return port
}

// twelve faults, of each kind that calls at night.
var twelve = []safety.Cause{safety.CauseLeak, safety.CauseLevelHigh, safety.CauseUncommandedRun, safety.CauseUnexplainedChange, safety.CauseSolutionUnconfirmed, safety.CausePHStale,
	safety.CauseNoResponse, safety.CauseWrongDirection, safety.CauseContainerEmpty, safety.CauseNodeOffline, safety.CauseCirculationOff, safety.CauseDisarmed}

// ringOf is how a cause of the station row rings.
func ringOf(c safety.Cause) string {
	if safety.Of(c).Priority == safety.PriorityNow {
		return "LeatAlarmNow row " + c.String()
	}
	return "LeatAlarmTonight row " + c.String()
}

// shipped is the pace of the files as they are.
func shipped(text string) string { return text }

func startMonitoring(t *testing.T, farms ...*testFarm) *monitoring {
	return startMonitoringAs(t, hurried, farms...)
}

// startMonitoringAs starts the servers with the shipped files at a pace.
func startMonitoringAs(t *testing.T, pace func(string) string, farms ...*testFarm) *monitoring {
	prometheus, alertmanager := program(t, "prometheus", "prometheus"), program(t, "prometheus-alertmanager", "prometheus-alertmanager")
	m := &monitoring{t: t, book: &phoneBook{}, output: &strings.Builder{}}
	hook := httptest.NewServer(m.book)
	t.Cleanup(hook.Close)
	dir, webPort, alertPort := t.TempDir(), freePort(t), freePort(t)
	var targets []string
	for _, f := range farms {
		targets = append(targets, strconv.Quote(strings.TrimPrefix(f.server.URL, "http://")))
	}
	routes := read(t, "alertmanager", "example.yml")
	routes, _, _ = strings.Cut(routes, "\nreceivers:\n")
	// Some seconds are some 100 ms here, in which a busy machine does not send both tanks' alarms.
	routes = shortWait.ReplaceAllString(strings.ReplaceAll(pace(routes), "mute_time_intervals: [night]", ""), "group_wait: 2s") + "\nreceivers:\n"
	for _, name := range []string{"dead-man", "phone", "second-person", "phone-quiet", "mail"} {
		routes += fmt.Sprintf("  - name: %s\n    webhook_configs: [{url: %q, send_resolved: %v}]\n", name, hook.URL, name == "mail")
	}
	config := strings.NewReplacer(`"127.0.0.1:8470"`, strings.Join(targets, ","), "127.0.0.1:9093", "127.0.0.1:"+alertPort).Replace(pace(read(t, "prometheus", "prometheus.yml")))
	// Prometheus finds its targets within five seconds, which are 500 here: what it says of none
	// at all is promtool's to judge.
	rules := strings.ReplaceAll(pace(read(t, "prometheus", "rules.yml")), `or absent(up{job="leat"})`, "")
	for name, text := range map[string]string{"prometheus.yml": config, "rules.yml": rules, "alertmanager.yml": routes} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	m.run(alertmanager, "--config.file="+filepath.Join(dir, "alertmanager.yml"), "--storage.path="+dir, "--cluster.listen-address=", "--web.listen-address=127.0.0.1:"+alertPort)
	m.again = []string{prometheus, "--config.file=" + filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path=" + filepath.Join(dir, "data"),
		"--web.listen-address=127.0.0.1:" + webPort, "--rules.alert.resend-delay=1s", "--rules.alert.for-grace-period=0s"}
	m.startPrometheus()
	return m
}

func (m *monitoring) startPrometheus() { m.prom = m.run(m.again[0], m.again[1:]...) }

func (m *monitoring) run(name string, args ...string) *exec.Cmd {
	c := exec.Command(name, args...)
	c.Stderr = m.output
	if err := c.Start(); err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	return c
}

func (m *monitoring) until(what string, holds func() bool) {
	m.t.Helper()
	for end := time.Now().Add(90 * time.Second); !holds(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			m.t.Fatalf("%s: never; phone %v\n%s", what, m.book.rings("phone"), m.output)
		}
	}
}

// settle lets the dead-man speak some times more, so that what was going to ring has rung.
func (m *monitoring) settle(times int) {
	m.t.Helper()
	had := m.deadMan()
	m.until("the dead-man speaks", func() bool { return m.deadMan() >= had+times })
}

func (m *monitoring) deadMan() int { return m.book.rings("dead-man")["LeatWatchdog"] }

func (m *monitoring) rang(receiver string, want ...string) {
	m.t.Helper()
	got := m.book.rings(receiver)
	for what, times := range got {
		if times != 1 || !slices.Contains(want, what) {
			m.t.Errorf("%s rang %d times for %q, wanted once each for %q: %+v", receiver, times, what, want, m.book.of(receiver))
		}
	}
	for _, what := range want {
		if got[what] == 0 {
			m.t.Errorf("%s did not ring for %q", receiver, what)
		}
	}
}

// One session of the real servers with all cases, in the order in which a bad night has
// them. The outside judges are Prometheus 2.42 and Alertmanager 0.25, Debian.
func TestPhoneRingsOnceForEachCauseAndOnlyTheDaemonEndsIt(t *testing.T) {
	if os.Getenv("LEAT_REAL") != "1" {
		t.Skip("starts Prometheus and Alertmanager; LEAT_REAL=1")
	}
	row, shelf, loft := startFarm(t, "row"), startFarm(t, "shelf"), startFarm(t, "loft")
	m := startMonitoring(t, row, shelf, loft)
	m.settle(2)
	m.rang("phone")

	// Twelve faults at once, in both tanks.
	faults := twelve
	var want []string
	for _, c := range faults {
		want = append(want, ringOf(c))
	}
	row.say(7, faults...)
	m.until("twelve rings", func() bool { return len(m.book.rings("phone")) >= len(want) })
	m.settle(3)
	m.rang("phone", want...)
	m.book.mu.Lock()
	for _, p := range m.book.came {
		if a := p.Alerts[0]; a.Labels["cause"] == "leak" && a.Annotations["advice"] != safety.Of(safety.CauseLeak).Advice {
			t.Errorf("the phone reads %q and not what to do", a.Annotations)
		}
	}
	m.book.mu.Unlock()

	// The other daemon leaks and dies; then the first has one more fault.
	shelf.say(3, safety.CauseLeak)
	want = append(want, "LeatAlarmNow shelf leak")
	m.until("the other leak", func() bool { return m.book.rings("phone")["LeatAlarmNow shelf leak"] > 0 })
	shelf.die()
	want = append(want, "LeatDaemonGone shelf")
	m.until("the dead daemon", func() bool { return m.book.rings("phone")["LeatDaemonGone shelf"] > 0 })
	faults = append(slices.Clip(faults), safety.CauseProbesDisagree)
	row.say(7, faults...)
	want = append(want, "LeatAlarmTonight row probes-disagree")
	m.until("a fault while another daemon is dead", func() bool { return m.book.rings("phone")[want[len(want)-1]] > 0 })
	loft.say(5, safety.CauseLeak)
	want = append(want, "LeatAlarmNow loft leak")
	m.until("a leak of a third while another daemon is dead", func() bool { return m.book.rings("phone")["LeatAlarmNow loft leak"] > 0 })

	// What the daemon ends is over; of the dead one nothing is.
	row.say(7, faults[1:]...)
	m.until("the all-clear", func() bool { return len(m.book.rings("phone-quiet")) > 0 })
	row.frozen.Store(true)
	want = append(want, "LeatDaemonHangs row")
	m.until("the daemon that hangs", func() bool { return m.book.rings("phone")["LeatDaemonHangs row"] > 0 })
	m.settle(3)
	m.rang("phone-quiet", "LeatAllClear row leak")
	m.rang("phone", want...)

	// Prometheus ends: the dead-man falls silent, and nobody is told that all is well.
	_ = m.prom.Process.Kill()
	_ = m.prom.Wait()
	last, since := m.deadMan(), time.Now()
	m.until("the dead-man falls silent", func() bool {
		if n := m.deadMan(); n != last {
			last, since = n, time.Now()
		}
		return time.Since(since) > 5*time.Minute/faster
	})
	m.rang("phone", want...)
	m.rang("phone-quiet", "LeatAllClear row leak")

	// It comes back with its disk: the dead-man speaks again, and what stood while nobody looked is not over. What rings then is
	// not judged: Prometheus takes as long to start as ever, and the shortened waits end meanwhile.
	m.startPrometheus()
	m.settle(3)
	m.rang("phone-quiet", "LeatAllClear row leak")
}

// of is what a receiver was sent, for whoever looks for the cause of a failure.
func (p *phoneBook) of(receiver string) (came []posted) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, m := range p.came {
		if m.Receiver == receiver {
			came = append(came, m)
		}
	}
	return came
}
