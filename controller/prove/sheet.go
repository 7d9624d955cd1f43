package prove

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// The verdicts of a check.
const (
	Held     = "held"
	Failed   = "failed"
	NotShown = "not shown" // nobody could see whether it holds
	Waived   = "not fitted"
)

// Finding is what became of one check.
type Finding struct {
	Rule    string `json:"rule"`
	Title   string `json:"title"`
	Verdict string `json:"verdict"`
	Words   string `json:"words"`
	Do      string `json:"do,omitempty"` // what cures it, where it did not hold
}

// Sheet is the result of a proof.
type Sheet struct {
	Station string         `json:"station"`
	Node    string         `json:"node"`
	Weekly  bool           `json:"weekly,omitempty"`
	At      time.Time      `json:"at"`
	By      string         `json:"by"`
	Epoch   uint32         `json:"epoch"`
	Holds   bool           `json:"holds"`
	Given   float64        `json:"given_ml"` // by all pumps, as the node told
	Rules   []Finding      `json:"rules"`
	Pumps   []PumpFinding  `json:"pumps,omitempty"`
	Probes  []ProbeFinding `json:"probes,omitempty"`
}

// PumpFinding is a pump's rate by cylinder.
type PumpFinding struct {
	Pump      string  `json:"pump"`
	PerMinute float64 `json:"ml_per_min"`
	File      float64 `json:"file_ml_per_min"`
	Spread    float64 `json:"spread"`
	Words     string  `json:"words"`
}

// ProbeFinding is how quiet a probe is, and which loads move it.
type ProbeFinding struct {
	Probe    string   `json:"probe"`
	Unit     string   `json:"unit"`
	Readings int      `json:"readings"`
	Noise    float64  `json:"noise"` // standard deviation
	Moved    []string `json:"moved_by,omitempty"`
	Words    string   `json:"words"`
}

// judge says whether the sheet holds: every rule held, or is of something that is not fitted.
func (s *Sheet) judge() {
	s.Holds = len(s.Rules) > 0 && !slices.ContainsFunc(s.Rules, func(f Finding) bool { return f.Verdict != Held && f.Verdict != Waived })
}

// Lacking are the rules that did not hold, by their titles.
func (s *Sheet) Lacking() (titles []string) {
	for _, f := range s.Rules {
		if f.Verdict == Failed || f.Verdict == NotShown {
			titles = append(titles, f.Title+" ("+f.Verdict+")")
		}
	}
	return titles
}

// Text is the sheet to print and sign.
func (s *Sheet) Text() string {
	var b strings.Builder
	what := "Proof"
	if s.Weekly {
		what = "Weekly proof"
	}
	fmt.Fprintf(&b, "%s of node %s, station %s, %s, by %s\n\n", what, s.Node, s.Station, s.At.Format("2006-01-02 15:04 MST"), s.By)
	for _, f := range s.Rules {
		fmt.Fprintf(&b, "%-10s  %s\n            %s\n", f.Verdict, f.Title, f.Words)
		if f.Do != "" {
			fmt.Fprintf(&b, "            To do: %s\n", f.Do)
		}
	}
	for _, p := range s.Pumps {
		fmt.Fprintf(&b, "\nPump %s: %s\n", p.Pump, p.Words)
	}
	for _, p := range s.Probes {
		fmt.Fprintf(&b, "\nProbe %s: %s\n", p.Probe, p.Words)
	}
	b.WriteString("\n" + s.Verdict() + "\n")
	return b.String()
}

// FileName is the sheet's name in the state folder, without its ending.
func FileName(node string, weekly bool) string {
	if weekly {
		return "proof-weekly-" + node
	}
	return "proof-" + node
}

// aged is when a weekly proof is overdue.
const aged = 8 * 24 * time.Hour

// Reminder says what is missing of a node's proofs; "" = nothing. The zero value is a
// sheet that is not there.
func Reminder(node string, proof, weekly Sheet, now time.Time) string {
	last := proof.At
	if weekly.At.After(last) {
		last = weekly.At
	}
	switch {
	case proof.At.IsZero():
		return "node " + node + " was never proved: leat prove"
	case !proof.Holds:
		return "node " + node + " did not hold when it was proved: " + strings.Join(proof.Lacking(), "; ")
	case weekly.At.After(proof.At) && !weekly.Holds:
		return "node " + node + " did not hold in its weekly proof: " + strings.Join(weekly.Lacking(), "; ")
	case now.Sub(last) > aged:
		return fmt.Sprintf("stop, lease and float switch of node %s were last proved %d days ago: leat prove -weekly", node, int(now.Sub(last).Hours()/24))
	}
	return ""
}

// Verdict is the sheet in one sentence.
func (s *Sheet) Verdict() string {
	lacking := s.Lacking()
	switch {
	case s.Holds && s.Weekly:
		return fmt.Sprintf("Node %s holds: stop, lease and float switch were seen to work.", s.Node)
	case s.Holds:
		return fmt.Sprintf("Node %s holds. Prove it again after every change of its program, its wiring or its limits.", s.Node)
	case len(lacking) == 0:
		return fmt.Sprintf("Nothing was shown of node %s.", s.Node)
	}
	return fmt.Sprintf("Node %s is not proved: %s. Leave water in its lines until it is.", s.Node, strings.Join(lacking, "; "))
}
