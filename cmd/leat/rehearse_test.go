package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/controller/desk"
)

func rehearse(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = dispatch(append([]string{"rehearse"}, args...), &out, &err)
	return code, out.String(), err.String()
}

func TestRehearsePrintsOneJSONDocumentAndAPicture(t *testing.T) {
	picture := filepath.Join(t.TempDir(), "night.svg")
	code, out, errs := rehearse("-nights", "1", "-seed", "3", "-json", "-picture", picture)
	if code != 0 {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	var report struct {
		Set        string
		Hours      float64
		Invariants struct{ Violations int }
		TraceHash  string `json:"trace_hash"`
	}
	decoder := json.NewDecoder(strings.NewReader(out))
	if err := decoder.Decode(&report); err != nil || decoder.More() {
		t.Fatalf("stdout is not one JSON document (%v):\n%.200s", err, out)
	}
	if report.Set != "standard" || report.Hours != 10 || report.TraceHash == "" || report.Invariants.Violations != 0 {
		t.Errorf("report %+v", report)
	}
	if svg, err := os.ReadFile(picture); err != nil || !bytes.HasPrefix(svg, []byte("<svg")) {
		t.Errorf("picture: %v", err)
	}
	again, out2, _ := rehearse("-seed", "3", "-night", "0")
	if again != 0 || !strings.Contains(out2, "trace hash") {
		t.Errorf("one night: exit code %d, %s", again, out2)
	}
}

// A farm whose valve leat opens: it pulses, and whatever the valve, the gauge or the supply does, every rule holds.
func TestRehearseTopsUpAFarmByItsValve(t *testing.T) {
	const farm = "../../testdata/config/good/valve.toml"
	for fault, wants := range map[string]string{"none": "fill", "top-up-stuck-shut@1h": "top-up-held", "top-up-stuck-open@2h+1h": "level-high", "level-failed-high@1h": "level-stuck"} {
		code, out, errs := rehearse("-config", farm, "-seed", "21", "-night", "0", "-trace", "-faults", fault)
		if code != 0 || !strings.Contains(out, wants) || !strings.Contains(out, "confirmed") {
			t.Errorf("%s: exit code %d, %s; want %q in:\n%.3000s", fault, code, errs, wants, out)
		}
	}
}

func TestRehearseRefusesWhatItDoesNotKnow(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"-set", "moon"}, 2, "standard"},
		{[]string{"-faults", "gremlins", "-nights", "1"}, 2, "pump-dead"},
		{[]string{"-trace"}, 2, "-night K"},
		{[]string{"-nights", "0"}, 2, "at least 1"},
		{[]string{"-config", "no-such-file.toml"}, 1, "no-such-file.toml"},
		{[]string{"-plant", "no-such-program-here", "-nights", "1"}, 1, "no-such-program-here"},
		{[]string{"-from", "somewhere"}, 2, "-config"},
		{[]string{"-config", ownFarm, "-from", "no-such-folder"}, 1, "no-such-folder"},
		{[]string{"-without", "luck", "-nights", "1"}, 2, "feed-forward"},
		{[]string{"-config", ownFarm, "-baselines"}, 1, "baselines are laws"},
		{[]string{"-config", ownFarm, "-set", "day"}, 2, "leave one out"},
		{[]string{"-month", "-nights", "3"}, 2, "does not go with -month"},
		{[]string{"-picture", "no-such-folder/night.svg"}, 1, "a folder that is there"},
		{[]string{"-plant", "true", "-nights", "1"}, 1, "deploy/plant.py"},
		{[]string{"-unheard"}, 2, "-h tells the flags"},
	} {
		code, out, errs := rehearse(c.args...)
		if code != c.code || !strings.Contains(errs, c.says) || out != "" || strings.Count(strings.TrimSpace(errs), "\n") > 0 {
			t.Errorf("%v: exit code %d (want %d), stdout %q, stderr %q (want %q in one line)", c.args, code, c.code, out, errs, c.says)
		}
	}
}

func TestAViolationIsExitCodeOneAndNamesItself(t *testing.T) {
	var errs bytes.Buffer
	if code := exit("leat rehearse", desk.Violated("invariant 4, seed 7, night 2, at 1h0m0s: too much", nil), &errs); code != 1 || !strings.Contains(errs.String(), "invariant 4, seed 7, night 2") {
		t.Errorf("exit code %d, %s", code, errs.String())
	}
}

// A farm's own gas exchange is what its rehearsal plays: where ten times as much CO2 passes, the
// same night is another.
func TestTheRehearsalOfAFarmPlaysItsOwnGasExchange(t *testing.T) {
	text, err := os.ReadFile("../../deploy/leat.toml")
	if err != nil {
		t.Fatal(err)
	}
	trace := func(rate string) string {
		path := filepath.Join(t.TempDir(), "farm.toml")
		own := strings.Replace(string(text), "gas_exchange = \"3 /h\"", "gas_exchange = \""+rate+"\"", 1)
		if err := os.WriteFile(path, []byte(own), 0o600); err != nil {
			t.Fatal(err)
		}
		code, out, errs := rehearse("-config", path, "-nights", "1", "-workers", "1")
		_, hash, found := strings.Cut(out, "trace hash ")
		if code != 0 || !found {
			t.Fatalf("exit code %d, %s\n%s", code, errs, out)
		}
		return strings.TrimSpace(hash)
	}
	// 72 /d is 3 /h: the version of the configuration is another, the water is not.
	if stated := trace("3 /h"); stated != trace("72 /d") {
		t.Error("the same rate in another unit gives another night")
	} else if stated == trace("0.3 /h") {
		t.Errorf("trace hash %s at 3 /h and at 0.3 /h", stated)
	}
}

func TestTheReportForAPersonHasARowForEachLawAndNamesTheTanksOfAFarm(t *testing.T) {
	code, out, errs := rehearse("-nights", "2", "-baselines")
	if code != 0 {
		t.Fatal(errs)
	}
	for _, law := range []string{"leat", "timer", "wait-and-look", "perfect-knowledge"} {
		row := ""
		for _, line := range strings.Split(out, "\n") {
			if strings.HasPrefix(line, law+" ") && strings.Count(line, " / ") == 4 {
				row = line
			}
		}
		if row == "" {
			t.Errorf("no row of %s in\n%s", law, out)
		}
	}
	if !strings.Contains(out, "leat ÷ perfect-knowledge") {
		t.Errorf("no comparison in\n%s", out)
	}
	code, out, errs = rehearse("-config", "../../deploy/leat.toml", "-nights", "1")
	if code != 0 || !strings.Contains(out, "in night 0 of north") || !strings.Contains(out, "in night 0 of nursery") || strings.Contains(out, "÷") {
		t.Errorf("%d %s\n%s", code, errs, out)
	}
}

func TestRehearseReplaysARecording(t *testing.T) {
	const recording = "../../testdata/recording/tank.csv"
	code, out, errs := rehearse("-replay", recording)
	if code != 0 || !strings.Contains(out, "ph: 1404 of 1410 readings fit") || !strings.Contains(out, "alarm ph-stale") {
		t.Errorf("exit code %d, %s\n%s", code, errs, out)
	}
	code, out, errs = rehearse("-replay", recording, "-config", ownFarm, "-json")
	if code != 0 || !json.Valid([]byte(out)) {
		t.Errorf("with a configuration: exit code %d, %s\n%s", code, errs, out)
	}
	bad := filepath.Join(t.TempDir(), "bad.csv")
	if err := os.WriteFile(bad, []byte("time,ph\n2026-03-01 06:00,6\nnoon,6\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs = rehearse("-replay", bad); code != 1 || !strings.Contains(errs, "line 3") {
		t.Errorf("a bad recording: exit code %d, %q", code, errs)
	}
	if code, _, errs = rehearse("-replay", recording, "-nights", "3"); code != 2 || !strings.Contains(errs, "-nights does not go with -replay") {
		t.Errorf("with nights: exit code %d, %q", code, errs)
	}
}

func TestTheRulesArePrintedWithTheFaults(t *testing.T) {
	code, out, errs := rehearse("-rules")
	if code != 0 || !strings.Contains(out, "  2  intent first. ") || !strings.Contains(out, "pump-dead: ") || !strings.Contains(out, "named by no-response") {
		t.Errorf("exit code %d, %s\n%.300s", code, errs, out)
	}
	if code, _, errs = rehearse("-rules", "-nights", "3"); code != 2 || !strings.Contains(errs, "-rules goes alone") {
		t.Errorf("with nights: exit code %d, %q", code, errs)
	}
}
