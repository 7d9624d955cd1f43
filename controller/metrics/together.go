package metrics

import "net/http"

// Station is one of several in a process; nil Metrics = it does not run here now.
type Station struct {
	Name    string
	Failed  bool
	Metrics *Metrics
}

var (
	runsFamily   = &family{name: "leat_station_runs", help: "1 for a station that this daemon runs, 0 for one that has ended by a fault or waits for its turn.", kind: gauge}
	failedFamily = &family{name: "leat_station_failed", help: "1 for a station that has ended by a fault; the log and /fleet say by which.", kind: gauge}
)

// Together serves the metrics of all stations of a process, each with its label, the
// process's own once, and of each station whether it runs here.
func Together(all func() []Station) http.Handler {
	return handler(func() []byte {
		s := &scrape{blocks: map[string]*block{}}
		for _, station := range all() {
			if station.Metrics != nil {
				station.Metrics.send(s)
			}
			s.station = station.Name
			s.send(runsFamily, number(station.Metrics != nil))
			s.send(failedFamily, number(station.Failed))
		}
		sendProcess(s)
		return s.text()
	})
}

// Below says below which path the station's pages are, for the links of its alarms. It is said
// before the first scrape.
func (m *Metrics) Below(path string) { m.under = path }
