package metrics

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// process is what a scrape tells of the process, whatever stations it has.
var process = func() *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return r
}()

// Station is one of several in a process; nil Metrics = it does not run here now.
type Station struct {
	Name    string
	Failed  bool
	Metrics *Metrics
}

// Together serves the metrics of all stations of a process, each with its label, the
// process's own once, and of each station whether it runs here.
func Together(all func() []Station) http.Handler {
	gather := func() prometheus.Gatherer {
		runs := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "leat_station_runs", Help: "1 for a station that this daemon runs, 0 for one that has ended by a fault or waits for its turn."}, []string{"station"})
		failed := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "leat_station_failed", Help: "1 for a station that has ended by a fault; the log and /fleet say by which."}, []string{"station"})
		own := prometheus.NewRegistry()
		own.MustRegister(runs, failed)
		together := prometheus.Gatherers{own, process}
		for _, s := range all() {
			runs.WithLabelValues(s.Name).Set(number(s.Metrics != nil))
			failed.WithLabelValues(s.Name).Set(number(s.Failed))
			if s.Metrics != nil {
				together = append(together, s.Metrics.registry)
			}
		}
		return together
	}
	scrapes := make(chan struct{}, 4) // at once
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case scrapes <- struct{}{}:
			defer func() { <-scrapes }()
		default:
			http.Error(w, "four scrapes are under way; try again", http.StatusServiceUnavailable)
			return
		}
		promhttp.HandlerFor(gather(), promhttp.HandlerOpts{EnableOpenMetrics: true, Registry: process}).ServeHTTP(w, r)
	})
}

// Below says below which path the station's pages are, for the links of its alarms.
func (m *Metrics) Below(path string) { m.snapshot.under = path }
