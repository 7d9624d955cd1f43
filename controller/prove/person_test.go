package prove_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller/payload"
	"leat/controller/prove"
	"leat/safety/ledger"
)

// verdicts are those of a sheet by rule.
func verdicts(s *prove.Sheet) map[string]string {
	all := map[string]string{}
	for _, f := range s.Rules {
		all[f.Rule] = f.Verdict
	}
	return all
}

// A broker's client id that is not the node's shows nothing of kept orders, and a proof that
// lacks something is no pass.
func TestWhatCouldNotBeSeenIsNoPass(t *testing.T) {
	w := newCWorld(t, 0)
	w.wrongID = true
	sheet, err := prove.Run(w, w.station, false)
	if err != nil {
		t.Fatal(err)
	}
	if got := verdicts(&sheet)["retained"]; got != prove.NotShown || sheet.Holds {
		t.Errorf("kept order: %q, holds %v", got, sheet.Holds)
	}
	for topic, body := range w.kept {
		if body != "" {
			t.Errorf("the broker still keeps an order on %s", topic)
		}
	}
}

func TestACylinderThatHoldsMoreThanTheNodeToldOfFails(t *testing.T) {
	w := newCWorld(t, 0)
	w.secret = 40
	sheet, err := prove.Run(w, w.station, false)
	if err != nil {
		t.Fatal(err)
	}
	if got := verdicts(&sheet)["cylinder"]; got != prove.Failed || sheet.Holds {
		t.Errorf("cylinder: %q, holds %v", got, sheet.Holds)
	}
}

func TestALoadThatMovesAProbeIsNamed(t *testing.T) {
	w := newCWorld(t, 0)
	w.loads = []string{"ballast"}
	sheet, err := prove.Run(w, w.station, false)
	if err != nil {
		t.Fatal(err)
	}
	moved := strings.Join(sheet.Probes[0].Moved, "; ")
	if !strings.Contains(moved, "ballast by +0.3") || !strings.Contains(moved, "pump feed by -0.") || strings.Contains(moved, "acid") {
		t.Errorf("moved by %q", moved)
	}
	if sheet.Pumps[0].PerMinute < 29.5 || sheet.Pumps[0].PerMinute > 30.5 {
		t.Errorf("rate of acid %+v", sheet.Pumps[0])
	}
}

func TestTheWeeklyProofRunsNothing(t *testing.T) {
	w := newCWorld(t, 0)
	sheet, err := prove.Run(w, w.station, true)
	if w.count(); err != nil || !sheet.Holds || w.given != 0 || sheet.Given != 0 {
		t.Errorf("%v, holds %v, %.2f mL given\n%s", err, sheet.Holds, w.given, sheet.Text())
	}
	for rule, want := range rules {
		if want != "lease" && want != "stop-input" && want != "float-switch" {
			continue
		}
		w := newCWorld(t, rule)
		sheet, err := prove.Run(w, w.station, true)
		if err != nil || verdicts(&sheet)[want] != prove.Failed || sheet.Holds || w.given > 1.1 {
			t.Errorf("without rule %d: %v, %.2f mL given\n%s", rule, err, w.given, sheet.Text())
		}
	}
}

// Whoever has no stop and no float switch is told what that means, and proves the rest.
func TestWhatIsNotFittedIsSaidSo(t *testing.T) {
	w := newCWorld(t, 0)
	w.fitted = false
	sheet, err := prove.Run(w, w.station, true)
	if got := verdicts(&sheet); err != nil || got["stop-input"] != prove.Waived || got["float-switch"] != prove.Waived {
		t.Errorf("%v\n%s", err, sheet.Text())
	}
}

func TestAProofBeginsOnlyWhereItMay(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*cWorld)
		want  string
	}{
		{"a daemon gives leases", func(w *cWorld) {
			w.waiting = append(w.waiting, prove.Happening{Topic: w.station.Topics.Lease(), Body: payload.AppendLease(nil, 6, 9)})
		}, "stop the daemon"},
		{"the node is silent", func(w *cWorld) { w.station.Node = "other" }, "was not heard"},
		{"the ledger is behind", func(w *cWorld) { w.station.Epoch = 7; w.tell("lease %d 0 %x", w.now, `{"epoch":9,"beat":1}`) }, "behind the node"},
		{"an order that nobody knows", func(w *cWorld) {
			w.tell("lease %d 0 %x", w.now, `{"epoch":6,"beat":1}`)
			m := payload.OrderMessage{ID: ledger.OrderID{Epoch: 6, Number: 4}, Outlet: "north", Volume: 500, Run: time.Second, Boot: "boot0001", BeforeTick: time.Hour, Expires: time.Unix(2e9, 0)}
			w.tell("order %d 0 0 %x", w.now, m.Append(nil))
		}, "knows nothing"},
	} {
		w := newCWorld(t, 0)
		c.spoil(w)
		w.count()
		before := w.given
		if _, err := prove.Run(w, w.station, false); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
		if c.name != "an order that nobody knows" && w.given != before {
			t.Errorf("%s: %.2f mL were given", c.name, w.given)
		}
	}
}

func TestWhoArmsIsTold(t *testing.T) {
	now := time.Date(2031, 3, 4, 9, 0, 0, 0, time.UTC)
	good := prove.Sheet{At: now.AddDate(0, 0, -30), Holds: true}
	week := prove.Sheet{At: now.AddDate(0, 0, -3), Holds: true, Weekly: true}
	bad := prove.Sheet{At: now.AddDate(0, 0, -1), Rules: []prove.Finding{{Title: "A stop ends a run at once", Verdict: prove.Failed}}}
	for _, c := range []struct {
		name          string
		proof, weekly prove.Sheet
		want          string
	}{
		{"never", prove.Sheet{}, prove.Sheet{}, "never proved"},
		{"only weekly", prove.Sheet{}, week, "never proved"},
		{"failed", bad, week, "did not hold when"},
		{"weekly failed", good, bad, "did not hold in its weekly"},
		{"weekly due", good, prove.Sheet{}, "30 days ago"},
		{"all well", good, week, ""},
	} {
		got := prove.Reminder("pumps", c.proof, c.weekly, now)
		if got == "" != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q", c.name, got)
		}
	}
}
