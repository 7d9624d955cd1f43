// Package metrics shows the daemon to Prometheus: parts that read the view which
// the event loop publishes, and a few histograms and counters that the rim observes
// itself. It sees a read-only snapshot and decides nothing.
//
// Decision: the text format is written here, in two hundred lines, and judged by Prometheus' own client library,
// promtool and Prometheus in the tests. The library in the program would bring its second format, Protocol Buffers, with
// the reflection that this takes: 2.4 MB of a program that shall have at most 25, and three times the time of a scrape.
// Given up with it: OpenMetrics, native histograms and some forty figures of the Go runtime.
package metrics

import (
	"math"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"leat/controller"
)

// Kinds of messages, as counted. A kind that is not among them counts as other, so
// that a wrong word cannot grow the number of series.
var messageKinds = []string{"reading", "heartbeat", "report", "setpoint", "taken", "ignored", "refused", "other"}

// Metrics is everything that the daemon shows on /metrics. Its methods may be
// called from any goroutine.
type Metrics struct {
	station string
	under   string // path of the station's pages
	now     func() time.Time
	beat    atomic.Int64 // Unix nanoseconds of the last step of the event loop

	mu    sync.Mutex // of parts: they are added while the page may answer already
	parts []func(*scrape)

	append   *spread
	step     *spread
	messages *tally
	dropped  atomic.Uint64
	reloads  *tally
	refused  atomic.Bool // the configuration that was read last
	notified []*notices
}

var (
	droppedFamily = &family{name: "leat_messages_dropped_total", help: "Messages that a newer one of the same topic replaced before they were looked at.", kind: counter}
	loadedFamily  = &family{name: "leat_config_last_reload_successful", help: "Whether the last configuration that was read was valid and is in force.", kind: gauge}
	beatFamily    = &family{name: "leat_heartbeat_timestamp_seconds", help: "Unix time of the event loop's last step. It stands still when the loop hangs, while the page may still answer.", kind: gauge}
	buildFamily   = &family{name: "leat_build_info", help: "Always 1; the labels say which build runs.", kind: gauge, labels: []string{"goversion", "revision", "version"}}
	toldFamily    = &family{name: "leat_notifications_total", help: "Notifications by way and outcome: sent, failed (and tried again) or dropped.", kind: counter, labels: []string{"way", "outcome"}}
)

// New makes the metrics of a daemon. Every series of leat carries the station's name. View returns
// the newest snapshot or nil; it is called at each scrape. A version of the program may be
// given for the build info.
func New(station string, view func() *controller.View, version ...string) *Metrics {
	m := &Metrics{station: station, now: time.Now,
		append:   newSpread("leat_ledger_append_seconds", "Time from handing a record to the ledger until it is durable.", 0.0001, 2.5, 12),
		step:     newSpread("leat_event_loop_seconds", "Time that the event loop took for one event.", 0.000001, 4, 12),
		messages: newTally("leat_messages_total", "Messages received from the broker, by what became of them.", "kind", messageKinds),
		reloads:  newTally("leat_config_reloads_total", "Configurations read again, by outcome.", "outcome", []string{"taken", "refused"})}
	m.beat.Store(m.now().UnixNano())
	m.parts = []func(*scrape){m.append.send, m.step.send, m.messages.send, m.reloads.send, m.sendOwn, buildInfo(version), (&snapshot{view, &m.under}).send}
	return m
}

func (m *Metrics) add(part func(*scrape)) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.parts = append(m.parts, part)
}

func (m *Metrics) sendOwn(out *scrape) {
	out.send(droppedFamily, float64(m.dropped.Load()))
	out.send(loadedFamily, number(!m.refused.Load()))
	out.send(beatFamily, float64(m.beat.Load())/1e9)
}

// buildInfo says which program this is.
func buildInfo(version []string) func(*scrape) {
	says, revision := "development", "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				revision = s.Value
			}
		}
	}
	if len(version) > 0 && version[0] != "" {
		says = version[0]
	}
	return func(out *scrape) { out.send(buildFamily, 1, runtime.Version(), revision, says) }
}

// LedgerAppend observes one durable append.
func (m *Metrics) LedgerAppend(d time.Duration) { m.append.observe(d.Seconds()) }

// LoopStep observes one step of the event loop and keeps the heartbeat going.
func (m *Metrics) LoopStep(d time.Duration) {
	m.beat.Store(m.now().UnixNano())
	m.step.observe(d.Seconds())
}

// Message counts a message by what became of it.
func (m *Metrics) Message(kind string) { m.messages.add(kind) }

// Dropped counts messages that were never looked at.
func (m *Metrics) Dropped(n uint64) { m.dropped.Add(n) }

// Reload counts a configuration that was read again, and whether it was taken.
func (m *Metrics) Reload(taken bool) {
	m.reloads.add(map[bool]string{true: "taken", false: "refused"}[taken])
	m.refused.Store(!taken)
}

// notices counts what one way was told.
type notices struct {
	way      string
	outcomes []string
	counts   []atomic.Uint64
}

// Notify adds the counters of what was told, by each way there is. Nobody is told before.
func (m *Metrics) Notify(ways, outcomes []string) {
	for _, way := range ways {
		m.notified = append(m.notified, &notices{way, outcomes, make([]atomic.Uint64, len(outcomes))})
	}
	told := m.notified
	m.add(func(out *scrape) {
		for _, n := range told {
			for i, outcome := range n.outcomes {
				out.send(toldFamily, float64(n.counts[i].Load()), n.way, outcome)
			}
		}
	})
}

// Notified counts a notification.
func (m *Metrics) Notified(way, outcome string) {
	for _, n := range m.notified {
		for i := range n.outcomes {
			if n.way == way && n.outcomes[i] == outcome {
				n.counts[i].Add(1)
			}
		}
	}
}

func number(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

var unknown = math.NaN()
