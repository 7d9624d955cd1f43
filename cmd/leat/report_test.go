package main

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func runReport(args ...string) (code int, out, errs string) {
	var stdout, stderr bytes.Buffer
	code = dispatch(append([]string{"report"}, args...), &stdout, &stderr)
	return code, stdout.String(), stderr.String()
}

func TestReportTellsTheEveningOfAStoppedFarm(t *testing.T) {
	dir := farmLedger(t)
	code, out, errs := runReport("-state", dir, "-from", "2031-03-04T18:00:00Z", "-to", "2031-03-05T08:00:00Z")
	if code != 0 || errs != "" {
		t.Fatalf("exit %d: %s", code, errs)
	}
	for _, want := range []string{"north", "15.2 mL", "2 doses", "by hand 5.00 mL", "40.0 mL of calcium (1-000002)", "no report", "setpoint ph 5.8 → 5.9, by ada from page"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in:\n%s", want, out)
		}
	}
	if strings.Contains(out, "\x1b") {
		t.Error("a note moves the terminal's cursor")
	}
}

func TestReportAsJSONIsOneDocument(t *testing.T) {
	dir := farmLedger(t)
	_, out, _ := runReport("-state", dir, "-from", "2031-03-04T18:00:00Z", "-json")
	var document struct {
		Verdict string
		Tanks   []struct{ Tank string }
	}
	if err := json.Unmarshal([]byte(out), &document); err != nil || document.Verdict == "" || len(document.Tanks) != 2 {
		t.Errorf("%+v, %v in %s", document, err, out)
	}
}

func TestReportForABrowserNeedsNoOtherFile(t *testing.T) {
	dir := farmLedger(t)
	file := filepath.Join(t.TempDir(), "night.html")
	if code, out, errs := runReport("-state", dir, "-from", "2031-03-04T18:00:00Z", "-html", file); code != 0 || out != "" {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	page, err := os.ReadFile(file)
	if err != nil || !bytes.Contains(page, []byte("<svg")) || !bytes.Contains(page, []byte("prefers-color-scheme")) {
		t.Fatalf("%v, %.200s", err, page)
	}
	for _, foreign := range []string{"src=", "href=", "url(", "@import", "<script"} {
		if bytes.Contains(page, []byte(foreign)) {
			t.Errorf("the page asks for %s", foreign)
		}
	}
}

func TestReportExportsTheRecordOrATimeOfIt(t *testing.T) {
	dir := farmLedger(t)
	t.Chdir(t.TempDir())
	if code, out, errs := runReport("-state", dir, "-export", "whole.sqlite"); code != 0 || out+errs != "" {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	if code, _, errs := runReport("-state", dir, "-export", "part.sqlite", "-from", "2031-03-05T00:00:00Z"); code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	sizes := map[string]int{}
	for _, name := range []string{"whole.sqlite", "part.sqlite"} {
		file, err := sql.Open("sqlite", name)
		if err != nil {
			t.Fatal(err)
		}
		var doses int
		if err := errors.Join(file.QueryRow(`SELECT count(*) FROM doses`).Scan(&doses), file.Close()); err != nil {
			t.Fatal(err)
		}
		sizes[name] = doses
	}
	if sizes["whole.sqlite"] != 4 || sizes["part.sqlite"] != 1 {
		t.Errorf("doses %v", sizes)
	}
	if code, _, errs := runReport("-state", dir, "-export", "whole.sqlite"); code != 1 || !strings.Contains(errs, "exists already") {
		t.Errorf("a second time: exit %d, %s", code, errs)
	}
}

func TestReportSaysWhatIsWrongWithTheQuestion(t *testing.T) {
	dir := farmLedger(t)
	for _, c := range []struct {
		args string
		code int
		want string
	}{
		{"", 2, "name the daemon"},
		{"-state " + dir + " year", 2, "night, week or month"},
		{"-state " + dir + " -from tomorrow", 2, "-from"},
		{"-state " + dir + " week -from 3h", 2, "contradict"},
		{"-state " + dir + " stocks -html x.html", 2, "stocks is printed"},
		{"-state " + dir + " -json -html x.html", 2, "one or the other"},
		{"-state " + dir + " stocks", 1, "start the daemon once"},
		{"-state " + dir + " -from 2031-03-05 -to 2031-03-04", 2, "not before"},
		{"-state " + t.TempDir(), 1, "holds no ledger"},
	} {
		if code, out, errs := runReport(strings.Fields(c.args)...); code != c.code || out != "" || !strings.Contains(errs, c.want) {
			t.Errorf("%s: exit %d, %q, want %d with %q", c.args, code, errs, c.code, c.want)
		}
	}
}
