package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func ran(args ...string) (code int, stdout, stderr string) {
	var out, errs strings.Builder
	code = dispatch(append([]string{"check"}, args...), &out, &errs)
	return code, out.String(), errs.String()
}

func TestCheckOfTheSampleAndTheMinimalFileFindsNoFault(t *testing.T) {
	for _, path := range []string{"../../deploy/leat.toml", "../../deploy/minimal.toml"} {
		code, stdout, stderr := ran("-config", path)
		if code != 0 || stderr != "" || !strings.Contains(stdout, "No fault found") {
			t.Errorf("%s: code %d, stderr %q, stdout\n%s", path, code, stderr, stdout)
		}
	}
}

func TestCheckOfABadFileNamesEveryFaultAndExitsOne(t *testing.T) {
	path := "../../testdata/config/bad/many_at_once.toml"
	code, stdout, stderr := ran("-config", path)
	if code != 1 || strings.Count(stdout, path+":") < 10 || strings.Count(stderr, "\n") != 1 {
		t.Errorf("code %d, stderr %q, stdout\n%s", code, stderr, stdout)
	}
	code, stdout, _ = ran("-config", path, "-json")
	var report struct {
		OK     bool
		Faults []struct {
			Line         int
			Key, Problem string
		}
	}
	if err := json.Unmarshal([]byte(stdout), &report); err != nil || code != 1 || report.OK || len(report.Faults) != 10 || report.Faults[0].Line == 0 {
		t.Errorf("code %d, %v, %+v", code, err, report)
	}
}

func TestCheckUsedWronglyExitsTwoAndAMissingFileOne(t *testing.T) {
	for _, args := range [][]string{{}, {"-confg", "x"}, {"-config", "a.toml", "b.toml"}} {
		if code, stdout, stderr := ran(args...); code != 2 || stdout != "" || stderr == "" {
			t.Errorf("%q: code %d, stdout %q, stderr %q", args, code, stdout, stderr)
		}
	}
	if code, stdout, stderr := ran("-config", filepath.Join(t.TempDir(), "none.toml")); code != 1 || stdout != "" || strings.Count(stderr, "\n") != 1 {
		t.Errorf("code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
	if code, stdout, _ := ran("-h"); code != 0 || !strings.Contains(stdout, "usage: leat check") {
		t.Errorf("-h: code %d, %q", code, stdout)
	}
}

func TestCheckReadsNoMoreThanAConfiguration(t *testing.T) {
	path := filepath.Join(t.TempDir(), "huge.toml")
	if err := os.WriteFile(path, make([]byte, 2<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := ran("-config", path); code != 1 || !strings.Contains(stderr, "at most") {
		t.Errorf("code %d, %q", code, stderr)
	}
}

func TestCheckRehearsesTheFileThatItPassed(t *testing.T) {
	code, out, errs := ran("-config", ownFarm, "-rehearse", "1")
	if code != 0 {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	for _, says := range []string{"Rehearsal, nights: 1", "in ±0.1", "invariants", "0 violations"} {
		if !strings.Contains(out, says) {
			t.Errorf("no %q in\n%s", says, out)
		}
	}
	for _, args := range [][]string{{"-config", ownFarm, "-rehearse", "-3"}, {"-config", ownFarm, "-rehearse", "2", "-json"}} {
		if code, _, _ := ran(args...); code != 2 {
			t.Errorf("%v: exit code %d", args, code)
		}
	}
}
