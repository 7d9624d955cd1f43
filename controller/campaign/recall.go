package campaign

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

// Sighting is what became of one injected fault.
type Sighting struct {
	Fault string
	// Cause named it After it began; CauseNone when nothing that should did.
	Cause safety.Cause
	After time.Duration
	// Unshown says why it could not show; "" = it could.
	Unshown string
	// Away is how much farther from its setpoint true pH went than it was when the fault
	// began, whatever drove it: doses, the fault itself or plants while doses stood.
	Away float64
}

// afterEnd is how long after a fault has gone it may still be named: a pool of doses
// is judged when it has settled.
const afterEnd = 15 * time.Minute

// sightings judges each fault of a night by what should name it.
func (t *Trace) sightings(faults []sim.Injection) []Sighting {
	all := make([]Sighting, 0, len(faults))
	for i := range faults {
		all = append(all, t.sighting(&faults[i]))
	}
	return all
}

func (t *Trace) sighting(in *sim.Injection) Sighting {
	g := signs[in.Fault]
	out := Sighting{Fault: in.Fault, Unshown: g.unshown(t, in)}
	from, until := t.lasts(in)
	until += max(afterEnd, 2*t.Settings.Safety.Tanks[in.Tank].MixingTime())
	first := time.Duration(-1)
	see := func(at time.Duration, cause safety.Cause) {
		if at >= from && at <= until && (first < 0 || at < first) && slices.Contains(g.causes, cause) {
			first, out.Cause = at, cause
		}
	}
	stood := ""
	standing := map[safety.Cause]bool{}
	for _, trip := range t.Trips {
		if trip.At < from {
			standing[trip.Cause] = trip.Active
		}
		if trip.Active {
			see(trip.At, trip.Cause)
		}
	}
	for _, cause := range g.causes {
		if standing[cause] {
			stood = "another fault had raised " + cause.String() + " already"
		}
	}
	for i := range t.Minutes {
		for _, a := range t.Minutes[i].Alarms {
			if a.State.Stands() {
				see(a.Since.Up, a.Cause)
			}
		}
	}
	out.Away = t.away(in.Tank, from)
	if out.After = first - from; first < 0 {
		out.After, out.Cause = 0, safety.CauseNone
	}
	if out.Cause == safety.CauseNone && out.Unshown == "" {
		out.Unshown = stood
	}
	return out
}

// away is how much farther from its setpoint the true pH of a tank went after a moment
// than it was then.
func (t *Trace) away(tank dosing.TankID, from time.Duration) float64 {
	before, most := math.NaN(), 0.0
	for i := range t.Samples {
		s := &t.Samples[i]
		if s.Tank != tank || s.At < from {
			continue
		}
		off := math.Abs(s.PH - float64(s.Target.PH))
		if math.IsNaN(before) {
			before = off
		}
		most = max(most, off-before)
	}
	return most
}

// KindReport is what became of one kind of fault over all nights.
type KindReport struct {
	Fault string `json:"fault"`
	Row   int    `json:"row,omitempty"` // of the table of faults
	Times int    `json:"times"`         // injected
	// Could is how often it could show, Found how often it was then named.
	Could  int    `json:"could"`
	Found  int    `json:"found"`
	Median *Ratio `json:"median_min"` // until it was named
	Worst  *Ratio `json:"worst_min"`
	Away   *Ratio `json:"ph_away_median"` // how much farther from the setpoint true pH went
	Far    *Ratio `json:"ph_away_worst"`
	// By is what named it, Unshown why it could not show, each with how often; Missed
	// are the seeds of nights in which it could and was not named.
	By      map[string]int `json:"by,omitempty"`
	Unshown map[string]int `json:"unshown,omitempty"`
	Missed  []uint64       `json:"missed_seeds,omitempty"`
}

// recall makes the table of kinds and the share of faults that were named.
func (r *Report) recall(outcomes []*Outcome) {
	kinds := map[string]*KindReport{}
	after, away := map[string][]float64{}, map[string][]float64{}
	times, could, found, detectable, told := 0, 0, 0, 0, 0
	for _, out := range outcomes {
		for i := range out.Sightings {
			s := &out.Sightings[i]
			k := kinds[s.Fault]
			if k == nil {
				k = &KindReport{Fault: s.Fault, Row: numberOf(s.Fault), By: map[string]int{}, Unshown: map[string]int{}}
				kinds[s.Fault] = k
			}
			times, k.Times = times+1, k.Times+1
			away[s.Fault] = append(away[s.Fault], s.Away)
			named := s.Cause != safety.CauseNone
			shows := signs[s.Fault].hidden == ""
			if shows {
				detectable++
			}
			if named {
				if shows {
					told++
				}
				k.By[s.Cause.String()]++
				after[s.Fault] = append(after[s.Fault], s.After.Minutes())
			}
			switch {
			case s.Unshown != "":
				k.Unshown[s.Unshown]++
			case named:
				could, found = could+1, found+1
				k.Could, k.Found = k.Could+1, k.Found+1
			default:
				could, k.Could = could+1, k.Could+1
				k.Missed = append(k.Missed, out.Seed)
			}
		}
	}
	for name, k := range kinds {
		k.Median, k.Worst = ratio(quantile(after[name], 0.5)), ratio(quantile(after[name], 1))
		k.Away, k.Far = ratio(quantile(away[name], 0.5)), ratio(quantile(away[name], 1))
		r.Alarms.Kinds = append(r.Alarms.Kinds, *k)
	}
	slices.SortFunc(r.Alarms.Kinds, func(a, b KindReport) int { return strings.Compare(a.Fault, b.Fault) })
	r.Alarms.Injected, r.Alarms.Detectable, r.Alarms.Could, r.Alarms.Found = times, detectable, could, found
	if could > 0 {
		r.Alarms.Recall = ratio(float64(found) / float64(could))
	}
	if detectable > 0 {
		r.Alarms.RecallDetectable = ratio(float64(told) / float64(detectable))
	}
}

// kinds prints the table.
func (r *Report) kinds(p *printer) {
	if len(r.Alarms.Kinds) == 0 {
		return
	}
	p.line("faults: recall %s over all %d of kinds that any reading shows; %s of the %d that could show in their night (%d named); %d were injected",
		r.Alarms.RecallDetectable, r.Alarms.Detectable, r.Alarms.Recall, r.Alarms.Could, r.Alarms.Found, r.Alarms.Injected)
	p.line("    %3s %-22s %5s %9s %18s %18s  %s", "row", "fault", "times", "named", "after min (worst)", "pH away (worst)", "")
	for i := range r.Alarms.Kinds {
		k := &r.Alarms.Kinds[i]
		after := ""
		if k.Median != nil {
			after = fmt.Sprintf("%s (%s)", k.Median, k.Worst)
		}
		var words []string
		if len(k.By) > 0 {
			words = append(words, counts(k.By))
		}
		if len(k.Missed) > 0 {
			words = append(words, fmt.Sprintf("missed in night of seed %d", k.Missed[0]))
		}
		if len(k.Unshown) > 0 {
			words = append(words, "could not show: "+counts(k.Unshown))
		}
		p.line("    %3d %-22s %5d %9s %18s %18s  %s", k.Row, k.Fault, k.Times, fmt.Sprintf("%d of %d", k.Found, k.Could), after,
			fmt.Sprintf("%s (%s)", k.Away, k.Far), strings.Join(words, "; "))
	}
}

// counts writes what was counted, the most first.
func counts(of map[string]int) string {
	names := make([]string, 0, len(of))
	for name := range of {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		if of[a] != of[b] {
			return of[b] - of[a]
		}
		return strings.Compare(a, b)
	})
	for i, name := range names {
		names[i] = fmt.Sprintf("%s (%d)", name, of[name])
	}
	return strings.Join(names, ", ")
}
