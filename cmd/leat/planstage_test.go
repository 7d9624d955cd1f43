package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const hall = "../../testdata/config/good/hall.toml"

// written plans a stage or holiday, puts its lines under the tank of the file, and plans
// the same days by that file.
func written(t *testing.T, args ...string) (plan, byFile string) {
	t.Helper()
	code, plan, errs := runPlan(append(args, "-config", hall, "-tank", "main", "-begin", "2031-03-04")...)
	_, lines, found := strings.Cut(plan, "(SIGHUP):\n\n")
	if code != 0 || !found {
		t.Fatalf("%v: exit %d, %s%s", args, code, errs, plan)
	}
	text, err := os.ReadFile(hall)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "hall.toml")
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), "[[tank.zone]]", lines+"\n[[tank.zone]]", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	code, byFile, errs = runPlan("week", "-config", path, "-tank", "main", "-begin", "2031-03-04")
	if code != 0 {
		t.Fatalf("the file with its lines: exit %d, %s", code, errs)
	}
	return days(plan), days(byFile)
}

// days are the lines of a plan's days.
func days(plan string) string {
	plan, _, _ = strings.Cut(plan, "\n\nWhat limits it")
	return plan
}

func TestTheLinesOfAStageGiveTheSetpointsThatWereShown(t *testing.T) {
	plan, byFile := written(t, "stage", "-name", "fruiting", "-ec", "2.2", "-ph", "5.9", "-over", "72h")
	if plan != byFile || !strings.Contains(plan, "1.80 → 2.00") || !strings.Contains(plan, "5.90") {
		t.Errorf("shown\n%s\nby the file\n%s", plan, byFile)
	}
}

func TestTheLinesOfAHolidayGiveTheSetpointsThatWereShown(t *testing.T) {
	plan, byFile := written(t, "holiday", "-name", "summer", "-ec", "1.4", "-days", "7")
	if plan != byFile || !strings.Contains(plan, "1.40              holiday summer until 2031-03-11") {
		t.Errorf("shown\n%s\nby the file\n%s", plan, byFile)
	}
}

func TestAStageThatTheFileWouldRefuseIsRefused(t *testing.T) {
	for _, c := range []struct{ args, tells string }{
		{"stage -name bloom -ec 2.2", "-over 72h"},
		{"stage -name bloom -ec 3.5 -over 72h", "recommended 0.8 to 2.8"},
		{"stage -name bloom", "-ph or -ec"},
		{"stage -ec 1.7", "-name"},
		{"stage -name bloom -ec x", "want a number"},
		{"holiday -name summer", "-begin DAY"},
		{"holiday -name summer -begin 2031-03-04 -over 24h", "no -over"},
	} {
		code, _, errs := runPlan(append(strings.Fields(c.args), "-config", hall, "-tank", "main")...)
		if code != 2 || !strings.Contains(errs, c.tells) {
			t.Errorf("%s: exit %d, %s", c.args, code, errs)
		}
	}
}
