// Package metrics shows the daemon to Prometheus: a collector over the view that
// the event loop publishes, and a few histograms and counters that the rim observes
// itself. It is the only importer of prometheus, sees a read-only snapshot and
// decides nothing.
//
// Decision: the library of the Prometheus project serves the metrics. It is 2.4 MB of the program, for its second format,
// Protocol Buffers; two hundred lines of our own would write the text in a third of its time (tried), and would have to
// be kept in step with a format that is not ours.
package metrics

import (
	"math"
	"net/http"
	"runtime"
	"runtime/debug"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"leat/controller"
)

// Kinds of messages, as counted. A kind that is not among them counts as other, so
// that a wrong word cannot grow the number of series.
var messageKinds = []string{"reading", "heartbeat", "report", "setpoint", "taken", "ignored", "refused", "other"}

// Metrics is everything that the daemon shows on /metrics. Its methods may be
// called from any goroutine.
type Metrics struct {
	registry *prometheus.Registry
	snapshot *snapshot
	register func(...prometheus.Collector) // with the station's label
	now      func() time.Time
	beat     atomic.Int64 // Unix nanoseconds of the last step of the event loop

	append   prometheus.Histogram
	step     prometheus.Histogram
	messages map[string]prometheus.Counter
	dropped  prometheus.Counter
	reloads  map[bool]prometheus.Counter
	loaded   prometheus.Gauge
	notified *prometheus.CounterVec // nil where nobody is told
}

// New makes the metrics of a daemon. Every series of leat carries the station's name. View returns
// the newest snapshot or nil; it is called at each scrape. A version of the program may be
// given for the build info.
func New(station string, view func() *controller.View, version ...string) *Metrics {
	m := &Metrics{registry: prometheus.NewRegistry(), now: time.Now, messages: map[string]prometheus.Counter{}, reloads: map[bool]prometheus.Counter{}}
	m.beat.Store(m.now().UnixNano())
	m.append = histogram("leat_ledger_append_seconds", "Time from handing a record to the ledger until it is durable.",
		prometheus.ExponentialBuckets(0.0001, 2.5, 12))
	m.step = histogram("leat_event_loop_seconds", "Time that the event loop took for one event.",
		prometheus.ExponentialBuckets(0.000001, 4, 12))
	m.dropped = prometheus.NewCounter(prometheus.CounterOpts{Name: "leat_messages_dropped_total",
		Help: "Messages that a newer one of the same topic replaced before they were looked at."})
	m.loaded = prometheus.NewGauge(prometheus.GaugeOpts{Name: "leat_config_last_reload_successful",
		Help: "Whether the last configuration that was read was valid and is in force."})
	m.loaded.Set(1)
	kinds := prometheus.NewCounterVec(prometheus.CounterOpts{Name: "leat_messages_total", Help: "Messages received from the broker, by what became of them."}, []string{"kind"})
	for _, kind := range messageKinds {
		m.messages[kind] = kinds.WithLabelValues(kind)
	}
	reloads := prometheus.NewCounterVec(prometheus.CounterOpts{Name: "leat_config_reloads_total", Help: "Configurations read again, by outcome."}, []string{"outcome"})
	m.reloads[true], m.reloads[false] = reloads.WithLabelValues("taken"), reloads.WithLabelValues("refused")
	heartbeat := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "leat_heartbeat_timestamp_seconds",
		Help: "Unix time of the event loop's last step. It stands still when the loop hangs, while the page may still answer."},
		func() float64 { return float64(m.beat.Load()) / 1e9 })
	m.register = prometheus.WrapRegistererWith(prometheus.Labels{"station": station}, m.registry).MustRegister
	m.register(m.append, m.step, m.dropped, m.loaded, kinds, reloads, heartbeat, buildInfo(version))
	m.snapshot = newSnapshot(station, view)
	m.registry.MustRegister(m.snapshot)
	return m
}

// histogram has classic buckets, which rules use, and native ones for servers that
// store them.
func histogram(name, help string, buckets []float64) prometheus.Histogram {
	return prometheus.NewHistogram(prometheus.HistogramOpts{Name: name, Help: help, Buckets: buckets,
		NativeHistogramBucketFactor: 1.1, NativeHistogramMaxBucketNumber: 100, NativeHistogramMinResetDuration: time.Hour})
}

// buildInfo says which program this is.
func buildInfo(version []string) prometheus.Collector {
	labels := prometheus.Labels{"version": "development", "revision": "unknown", "goversion": runtime.Version()}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				labels["revision"] = s.Value
			}
		}
	}
	if len(version) > 0 && version[0] != "" {
		labels["version"] = version[0]
	}
	return prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "leat_build_info", Help: "Always 1; the labels say which build runs.", ConstLabels: labels},
		func() float64 { return 1 })
}

// Handler serves the metrics over HTTP, in the text format or OpenMetrics.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(prometheus.Gatherers{m.registry, process}, promhttp.HandlerOpts{EnableOpenMetrics: true, MaxRequestsInFlight: 4, Registry: process})
}

// LedgerAppend observes one durable append.
func (m *Metrics) LedgerAppend(d time.Duration) { m.append.Observe(d.Seconds()) }

// LoopStep observes one step of the event loop and keeps the heartbeat going.
func (m *Metrics) LoopStep(d time.Duration) {
	m.beat.Store(m.now().UnixNano())
	m.step.Observe(d.Seconds())
}

// Message counts a message by what became of it.
func (m *Metrics) Message(kind string) {
	counter, ok := m.messages[kind]
	if !ok {
		counter = m.messages["other"]
	}
	counter.Inc()
}

// Dropped counts messages that were never looked at.
func (m *Metrics) Dropped(n uint64) { m.dropped.Add(float64(n)) }

// Reload counts a configuration that was read again, and whether it was taken.
func (m *Metrics) Reload(taken bool) {
	m.reloads[taken].Inc()
	m.loaded.Set(number(taken))
}

// Notify adds the counters of what was told, by each way there is.
func (m *Metrics) Notify(ways, outcomes []string) {
	if len(ways) == 0 {
		return
	}
	m.notified = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "leat_notifications_total",
		Help: "Notifications by way and outcome: sent, failed (and tried again) or dropped."}, []string{"way", "outcome"})
	for _, way := range ways {
		for _, outcome := range outcomes {
			m.notified.WithLabelValues(way, outcome)
		}
	}
	m.register(m.notified)
}

// Notified counts a notification.
func (m *Metrics) Notified(way, outcome string) { m.notified.WithLabelValues(way, outcome).Inc() }

func number(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

var unknown = math.NaN()
