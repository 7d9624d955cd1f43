package web

import (
	"cmp"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"leat/controller"
	"leat/safety"
	"leat/safety/alarm"
)

// Station is one of the stations of which a process knows.
type Station struct {
	Name    string
	Owner   string // the daemon that has it; empty = this one, or none that is known
	Trouble string // why this daemon does not run it; empty = it runs here, or waits for its turn
	View    *controller.View
	Server  *Server // its pages; nil = they are elsewhere
}

// StationPath is where a station's pages are, in a process of several.
func StationPath(name string) string { return "/station/" + url.PathEscape(name) }

// fleet shows all stations of a process, those that need somebody first.
type fleet struct{ server *Server }

// stationRow is a station as the page and the API tell it.
type stationRow struct {
	Name    string     `json:"station"`
	Path    string     `json:"path"`
	Runs    bool       `json:"runs_here"`
	Owner   string     `json:"owner"`
	Trouble string     `json:"trouble"`
	Epoch   float64    `json:"epoch"`
	Link    bool       `json:"broker_connected"`
	Verdict apiVerdict `json:"verdict"`
	Tanks   float64    `json:"tanks"`
	Armed   float64    `json:"armed"`
	Alarms  float64    `json:"alarms"`
	Held    []heldRow  `json:"held"`
	Due     []dueRow   `json:"due_today"`
}

// fleetRow is a station as the page of all shows it.
type fleetRow struct {
	stationRow
	Told controller.Verdict
}

// heldRow is what withholds doses of a tank.
type heldRow struct {
	Tank  string    `json:"tank"`
	Cause string    `json:"cause"`
	Text  string    `json:"text"`
	Since time.Time `json:"since"`
}

// dueRow is what a person has to do within a day.
type dueRow struct {
	What string `json:"what"`
	Text string `json:"text"`
}

type fleetData struct {
	Who      string
	Role     controller.Role
	Path     string
	At       time.Time
	Stations []fleetRow
	Calls    int
}

// properNames are the names on the page, which no language translates.
func (d *fleetData) properNames() map[string]bool {
	names := map[string]bool{}
	for i := range d.Stations {
		s := &d.Stations[i]
		names[s.Name], names[s.Owner], names[s.Trouble] = true, true, true
		for _, h := range s.Held {
			names[h.Tank] = true
		}
		for _, due := range s.Due {
			names[due.What] = true
		}
	}
	return names
}

// rows are the stations, the one whose need is greatest first.
func (f *fleet) rows() []fleetRow {
	rows := []fleetRow{}
	for _, s := range f.server.options.Stations() {
		rows = append(rows, rowOf(&s))
	}
	slices.SortStableFunc(rows, func(a, b fleetRow) int {
		return cmp.Or(cmp.Compare(a.need(), b.need()), cmp.Compare(a.Name, b.Name))
	})
	return rows
}

// need orders stations: what nobody runs comes first, what another daemon runs last.
func (r *fleetRow) need() int {
	switch {
	case r.Trouble != "":
		return -1
	case !r.Runs && r.Owner != "":
		return int(controller.StandingCount)
	}
	return int(r.Told.Standing)
}

func rowOf(s *Station) fleetRow {
	row := fleetRow{stationRow: stationRow{Name: s.Name, Path: "/", Owner: s.Owner, Trouble: s.Trouble, Held: []heldRow{}, Due: []dueRow{}}}
	if s.Server != nil && s.Server.options.Under != "" {
		row.Path = s.Server.options.Under + "/"
	}
	v := s.View
	if v == nil || s.Trouble != "" || s.Owner != "" {
		row.Path = ""
		return row
	}
	row.Runs, row.Epoch, row.Link, row.Tanks, row.Told = true, float64(v.Epoch), v.LinkUp, float64(len(v.Tanks)), v.Verdict
	row.Verdict = apiVerdict{v.Verdict.Standing.String(), v.Verdict.Text, v.Verdict.Step}
	for i := range v.Tanks {
		t := &v.Tanks[i]
		if t.Mode == safety.ModeArmed || t.Mode == safety.ModeHolding {
			row.Armed++
		}
		row.tank(t, v.At.Wall)
	}
	for i := range v.Pumps {
		if p := &v.Pumps[i]; p.Lasts.Known && p.Left >= 0 && p.Lasts.Days < 1 {
			row.Due = append(row.Due, dueRow{p.Name, "its container is empty within a day"})
		}
	}
	return row
}

func (r *stationRow) tank(t *controller.TankView, now time.Time) {
	for k := range t.Holds {
		if h := &t.Holds[k]; h.Action <= safety.Hold {
			r.Held = append(r.Held, heldRow{t.Name, h.Cause.String(), safety.Of(h.Cause).Text, h.Since.Wall})
			break // the most severe
		}
	}
	for k := range t.Alarms {
		a := &t.Alarms[k]
		if a.State != alarm.Unacknowledged && a.State != alarm.Acknowledged && a.State != alarm.Latched {
			continue
		}
		if a.Priority <= safety.PriorityTonight {
			r.Alarms++
		} else if a.Priority == safety.PriorityTomorrow {
			r.Due = append(r.Due, dueRow{t.Name, safety.Of(a.Cause).Text})
		}
	}
	for k := range t.Inputs {
		in := &t.Inputs[k]
		if c := in.Calibration; c != nil && !c.Due.IsZero() && c.Due.Sub(now) < 24*time.Hour {
			r.Due = append(r.Due, dueRow{t.Name + "/" + in.Name, "its calibration is due"})
		}
	}
}

// show is the page of all stations.
func (f *fleet) show(w http.ResponseWriter, r *http.Request) {
	who, ok := f.server.who(r)
	if !ok {
		http.Redirect(w, r, signInFor("/fleet"), http.StatusSeeOther)
		return
	}
	data := fleetData{Who: who.name, Role: who.role, Path: "/fleet", At: time.Now(), Stations: f.rows()}
	for i := range data.Stations {
		if s := &data.Stations[i]; s.Trouble != "" || s.Told.Standing.Calls() {
			data.Calls++
		}
	}
	f.server.render(w, r, "fleet", http.StatusOK, &data)
}

// stations is the page's twin for programs.
func (a *api) stations(*http.Request, Token) (any, error) {
	if a.server.options.Stations == nil {
		return nil, errors.New("this daemon keeps no list of stations")
	}
	all := []stationRow{}
	for _, row := range (&fleet{a.server}).rows() {
		all = append(all, row.stationRow)
	}
	return all, nil
}

// enter hands a request to the pages of the station that its path names.
func (f *fleet) enter(w http.ResponseWriter, r *http.Request) {
	for _, s := range f.server.options.Stations() {
		if s.Name == r.PathValue("station") && s.Server != nil && s.Server.below != nil {
			s.Server.below.ServeHTTP(w, r)
			return
		}
	}
	http.Error(w, "this daemon does not run a station of that name now; all stations are at /fleet", http.StatusNotFound)
}

// routes adds the paths of all stations. Pages of a process of several begin with /fleet.
func (f *fleet) routes(mux *http.ServeMux) {
	if f.server.options.Several {
		mux.HandleFunc("/station/{station}/", f.enter)
	}
}

// below serves a station's pages below its path.
func below(s *Server) http.Handler {
	inner := http.StripPrefix(s.options.Under, s.routes())
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		inner.ServeHTTP(&lowered{w, s.options.Under}, r)
	})
}

// lowered leads on below a station's path.
type lowered struct {
	http.ResponseWriter
	under string
}

// WriteHeader sends the head with its Location.
func (l *lowered) WriteHeader(status int) {
	if to := l.Header().Get("Location"); strings.HasPrefix(to, "/") {
		l.Header().Set("Location", l.under+to)
	}
	l.ResponseWriter.WriteHeader(status)
}

// Unwrap lets deadlines and flushing through.
func (l *lowered) Unwrap() http.ResponseWriter { return l.ResponseWriter }

// lower moves the links of a page of ours below a station's path. The templates alone write
// these attributes: a quotation mark that came from a person is escaped.
func lower(page []byte, under string) []byte {
	if under == "" {
		return page
	}
	text := string(page)
	for _, attribute := range []string{` href="/`, ` action="/`, ` src="/`} {
		text = strings.ReplaceAll(text, attribute, strings.TrimSuffix(attribute, "/")+under+"/")
	}
	return []byte(text)
}
