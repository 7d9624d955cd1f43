package web

import (
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"leat/controller"
	"leat/controller/report"
)

// records keeps what was read of the record for a minute: many phones cost no more than one.
type records struct {
	mu   sync.Mutex
	read func(period string) (*report.Report, error) // nil = none is kept
	have map[string]*recorded
}

// recorded is the report of one period.
type recorded struct {
	at     time.Time
	report *report.Report
	err    error
}

const recordHolds = time.Minute

func (k *records) of(at time.Time, period string) (*report.Report, error) {
	if k.read == nil {
		return nil, fmt.Errorf("no record is kept here")
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if was := k.have[period]; was != nil && !at.Before(was.at) && at.Sub(was.at) < recordHolds {
		return was.report, was.err
	}
	told, err := k.read(period)
	if k.have == nil {
		k.have = map[string]*recorded{}
	}
	k.have[period] = &recorded{at, told, err}
	return told, err
}

// exports are what is taken away as CSV, and of how many days.
var exports = []struct {
	Kind string
	Days int
}{{"doses", 366}, {"changes", 366}, {"readings", 31}, {"events", 31}}

// export sends a part of the record as CSV.
func (s *Server) export(w http.ResponseWriter, r *http.Request) {
	who, ok := s.who(r)
	if !ok {
		http.Redirect(w, r, signInFor("/record"), http.StatusSeeOther)
		return
	}
	at := slices.IndexFunc(exports, func(e struct {
		Kind string
		Days int
	}) bool {
		return e.Kind+".csv" == r.PathValue("kind")
	})
	view := s.options.View()
	if at < 0 || s.options.Export == nil || view == nil {
		http.Error(w, "there is no such export; /record lists them", http.StatusNotFound)
		return
	}
	s.options.Audit(who.name, "page", "exported", exports[at].Kind)
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", "attachment; filename=\""+exports[at].Kind+".csv\"")
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(exportWithin)) // a connection without deadlines is none of ours
	if err := s.options.Export(w, exports[at].Kind, view.At.Wall.AddDate(0, 0, -exports[at].Days)); err != nil {
		fmt.Fprintf(w, "\n# broken off: %v\n", err)
	}
}

const exportWithin = 5 * time.Minute

// doseGroup is what one pump gave in the last day, the newest first.
type doseGroup struct {
	Pump, Liquid, Words string
	Rows, Older         []doseRow
}

// doseRow is one dose in words. Seen is the reading then and when it had mixed in.
type doseRow struct{ At, Volume, Reason, Expected, Seen, Outcome string }

// A dose has mixed in after mixedAfter; of each pump dosesShown are shown unfolded.
const (
	mixedAfter = 20 * time.Minute
	dosesShown = 12
)

// dosesOf are the doses of a tank with what was expected of them and what was seen.
func dosesOf(t *report.Tank, view *controller.TankView) (groups []doseGroup) {
	for i := range t.Liquids {
		l := &t.Liquids[i]
		g := doseGroup{Pump: l.Pump, Liquid: l.Liquid, Words: millilitres(l.ML+l.HandML) + " in " + report.Counted(l.Count+l.Hand, "dose")}
		pour := slices.IndexFunc(view.Pours, func(p controller.PourView) bool { return p.Pump == l.Pump })
		for _, dose := range slices.Backward(t.Doses) {
			if dose.Pump != l.Pump {
				continue
			}
			row := doseRow{At: dose.At.Format("2 Jan 15:04"), Volume: millilitres(dose.ML), Reason: dose.Reason, Outcome: dose.Outcome}
			if dose.Cause != "" {
				row.Outcome += ": " + dose.Cause
			}
			if pour >= 0 {
				p := view.Pours[pour]
				share := dose.ML / 10
				p.PH, p.EC = p.PH*share, p.EC*share
				row.Expected = effectOf(p)
			}
			row.Seen = seenOf(t, l.Role, dose.At)
			if len(g.Rows) < dosesShown {
				g.Rows = append(g.Rows, row)
			} else {
				g.Older = append(g.Older, row)
			}
		}
		groups = append(groups, g)
	}
	return groups
}

// seenOf is what was read when a dose began and when it had mixed in.
func seenOf(t *report.Tank, role string, at time.Time) string {
	name, line := "pH", t.PH.Line
	if role == "stock" {
		name, line = "EC", t.EC.Line
	}
	before, after := -1, -1
	for i := range line {
		if !line[i].At.After(at) && at.Sub(line[i].At) < stripGap {
			before = i
		}
		if after < 0 && !line[i].At.Before(at.Add(mixedAfter)) && line[i].At.Sub(at) < mixedAfter+stripGap {
			after = i
		}
	}
	if before < 0 || after < 0 {
		return ""
	}
	return fmt.Sprintf("%s %.2f → %.2f", name, line[before].Value, line[after].Value)
}
