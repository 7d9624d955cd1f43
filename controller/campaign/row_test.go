package campaign

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leat/controller/sim"
	"leat/safety"
)

func TestEveryRowOfTheTableOfFaultsIsPlayedOrSaysWhatToFit(t *testing.T) {
	numbers := map[int]bool{}
	last := 0
	for i := range rows {
		r := &rows[i]
		if r.number < last || !strings.HasSuffix(r.text, ".") || r.why != "" && !strings.HasSuffix(r.why, ".") {
			t.Errorf("row %d, after %d: %q, %q", r.number, last, r.text, r.why)
		}
		numbers[r.number], last = true, r.number
		// One that nothing shows is not played; what is played is named or says why not.
		if (len(r.named) == 0) != (r.why != "") || len(r.played) == 0 && !strings.Contains(r.why, "Fit ") {
			t.Errorf("row %d is played by %v, named by %v, and says %q", r.number, r.played, r.named, r.why)
		}
		for _, played := range r.played {
			fault := slices.IndexFunc(sim.Faults(), func(f sim.Fault) bool { return f.Name == played })
			switch {
			case fault < 0 && !playedBy(t, played):
				t.Errorf("row %d: there is no %s", r.number, played)
			case fault >= 0 && (sim.Faults()[fault].Row != r.number || !sim.Faults()[fault].Outside && len(r.played) != 1):
				t.Errorf("row %d is played by %v; the farm's %s is of row %d", r.number, r.played, played, sim.Faults()[fault].Row)
			}
		}
	}
	for number := 1; number <= faultRows; number++ {
		if !numbers[number] {
			t.Errorf("row %d is nowhere", number)
		}
	}
	if len(numbers) != faultRows {
		t.Errorf("%d rows", len(numbers))
	}
	for _, f := range sim.Faults() {
		if f.Row > 0 && !f.Outside && rowOf(f.Name) == nil {
			t.Errorf("%s is said to play row %d, which says nothing of it", f.Name, f.Row)
		}
	}
}

// playedBy says that a test, as safety.TestName, or a scenario is there.
func playedBy(t *testing.T, name string) bool {
	if strings.HasSuffix(name, ".txt") {
		_, err := os.Stat(filepath.Join("..", "..", name))
		return err == nil
	}
	folder, test, _ := strings.Cut(name, ".")
	if test == "Run" { // a suite of each store, not a test of its own
		return folder == "safety/ledger/ledgertest"
	}
	return testIsThere(t, folder, test)
}

// What the table states of each alarm is what the daemon's interlocks do; and what should
// name a fault in the rehearsal is what the table states, in its order.
func TestEachAlarmOfTheTableOfFaultsIsTheDaemons(t *testing.T) {
	causes := map[string]safety.Cause{}
	for _, c := range safety.Causes() {
		causes[c.String()] = c
	}
	for i := range rows {
		r := &rows[i]
		var stated []safety.Cause
		for _, n := range r.named {
			cause, known := causes[n.cause]
			if is := safety.Of(cause); !known || n.reaction != reactionOf(is) || n.priority != is.Priority.String() {
				t.Errorf("row %d: %s; the daemon: %s, %s (known %v)", r.number, n, reactionOf(is), is.Priority, known)
			}
			stated = append(stated, cause)
		}
		if len(r.played) != 1 || !slices.Contains(injectable(), r.played[0]) {
			continue
		}
		g := signs[r.played[0]]
		expected := slices.DeleteFunc(slices.Clone(g.causes), func(c safety.Cause) bool { return c == safety.CauseUnconfirmedLong })
		if g.hidden == "" && !slices.Equal(stated, expected) {
			t.Errorf("row %d: %s is stated to be named by %v, and is looked for by %v", r.number, r.played[0], r.named, expected)
		}
	}
}

func reactionOf(is safety.Interlock) string {
	if is.Action == safety.Run {
		return "goes on"
	}
	return is.Action.String() + " " + is.Scope.String()
}

func TestATableOfFaultsThatCannotBeReadIsTold(t *testing.T) {
	const head = "row,fault,played by,named by,why\n"
	for _, bad := range []string{"x,A.,b,,c.\n", "1,A.,b,leak,\n", "1,A.,b,leak: stop tank,\n", "1,A.\n"} {
		if _, err := readRows([]byte(head + bad)); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}
