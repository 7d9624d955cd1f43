package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

var ledgerEvening = time.Date(2031, 3, 4, 19, 0, 0, 0, time.UTC)

// farmLedger writes the state folder of a short evening: three doses, one of them
// open, a setpoint with a note no format may choke on, and some readings.
func farmLedger(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	db, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var hash [32]byte
	for n, body := range []string{
		`{"kind":"change","change":"start","run":1,"wall":"2031-03-04T19:00:00Z","up_s":0,"value":1,"trusted":true,"text":"c41d"}`,
		`{"kind":"intent","run":1,"wall":"2031-03-04T19:10:00Z","up_s":600,"order":"1-000001","tank":"north","pump":"acid","volume_ml":12.5,"reason":"pH high","ph":6.31,"ec_ms_per_cm":1.62,"temp_c":20.4,"configuration":"c41d"}`,
		`{"kind":"settlement","run":1,"wall":"2031-03-04T19:10:09Z","up_s":609,"order":"1-000001","tank":"north","pump":"acid","volume_ml":12.25,"ordered_ml":12.5,"outcome":"confirmed","cause":"reported done"}`,
		`{"kind":"change","change":"setpoint","run":1,"wall":"2031-03-04T19:20:00Z","up_s":1200,"tank":"north","quantity":"ph","old":5.8,"value":5.9,"note":"=1+1, \"quoted\"\n\u001b[2Jnext line","by":"ada","from":"page"}`,
		`{"kind":"intent","run":1,"wall":"2031-03-04T19:30:00Z","up_s":1800,"order":"1-000002","tank":"south","pump":"calcium","volume_ml":40,"reason":"EC low","configuration":"c41d"}`,
		`{"kind":"settlement","run":1,"wall":"2031-03-04T19:31:00Z","up_s":1860,"order":"1-000002","tank":"south","pump":"calcium","volume_ml":40,"ordered_ml":40,"outcome":"uncertain","cause":"no report"}`,
		`{"kind":"change","change":"hand-dose","run":1,"wall":"2031-03-04T19:40:00Z","up_s":2400,"tank":"north","pump":"acid","volume_ml":5,"by":"ada"}`,
		`{"kind":"intent","run":1,"wall":"2031-03-05T07:00:00Z","up_s":43200,"order":"1-000003","tank":"north","pump":"acid","volume_ml":3,"reason":"pH high","ph":6.1,"configuration":"c41d"}`,
	} {
		row := ledger.Seal(uint64(n)+1, hash, []byte(body))
		hash = row.Hash
		if err := db.Append(row); err != nil {
			t.Fatal(err)
		}
	}
	history := db.History()
	for m := range 3 {
		history.Observe(ledgerEvening.Add(time.Duration(m)*time.Minute), "ph north", 6.1+float64(m)/7)
	}
	history.Note(diary.Event{At: ledgerEvening, Tank: "north", Kind: diary.KindWant, Name: "acid"})
	if err := history.Flush(); err != nil {
		t.Fatal(err)
	}
	return dir
}

func runLedger(args ...string) (code int, out, errs string) {
	var stdout, stderr bytes.Buffer
	code = dispatch(append([]string{"ledger"}, args...), &stdout, &stderr)
	return code, stdout.String(), stderr.String()
}

func mustLedger(t *testing.T, args ...string) string {
	t.Helper()
	code, out, errs := runLedger(args...)
	if code != 0 || errs != "" {
		t.Fatalf("%v: exit %d, %s", args, code, errs)
	}
	return out
}

func TestLedgerPrintTellsTheEvening(t *testing.T) {
	dir := farmLedger(t)
	out := mustLedger(t, "-state", dir, "print")
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	if len(lines) != 8 {
		t.Fatalf("%d lines for 8 rows:\n%s", len(lines), out)
	}
	for i, want := range []string{"started, epoch 1", "12.5 mL of acid into north because pH high", "confirmed: 12.25 mL", "setpoint ph 5.8 → 5.9 by ada"} {
		if !strings.Contains(lines[i], want) {
			t.Errorf("line %d is %q, want %q in it", i+1, lines[i], want)
		}
	}
	if strings.Contains(out, "\x1b") {
		t.Error("a note can move the cursor of the terminal")
	}
	if out := mustLedger(t, "print", "-state", dir, "-tank", "south"); strings.Count(out, "\n") != 2 {
		t.Errorf("of tank south:\n%s", out)
	}
	var rows []struct {
		Row   uint64
		Hash  string
		Entry map[string]any
	}
	if err := json.Unmarshal([]byte(mustLedger(t, "print", "-json", "-state", dir)), &rows); err != nil || len(rows) != 8 || rows[1].Entry["pump"] != "acid" {
		t.Errorf("as JSON: %d rows, %v", len(rows), err)
	}
}

func TestLedgerVerifyTellsRowsHeadAndSums(t *testing.T) {
	dir := farmLedger(t)
	out := mustLedger(t, "-state", dir, "verify")
	for _, want := range []string{"rows   8", "head   ", "dose 1-000003: 3 mL of acid into north, counted in full", "15.25", "The chain holds"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
	var verdict struct {
		Holds bool
		Rows  int
		Head  string
		Open  []string
		Pumps []struct {
			Pump    string
			Counted float64 `json:"counted_ml"`
			Doses   map[string]int
		}
	}
	if err := json.Unmarshal([]byte(mustLedger(t, "-state", dir, "verify", "-json")), &verdict); err != nil {
		t.Fatal(err)
	}
	if !verdict.Holds || verdict.Rows != 8 || len(verdict.Head) != 64 || len(verdict.Open) != 1 || len(verdict.Pumps) != 2 ||
		verdict.Pumps[0].Counted != 15.25 || verdict.Pumps[1].Doses["uncertain"] != 1 {
		t.Errorf("%+v", verdict)
	}
}

func TestLedgerVerifyFailsOnALostRow(t *testing.T) {
	dir := farmLedger(t)
	db, err := store.OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	lost := t.TempDir()
	if err := db.Backup(filepath.Join(lost, "leat.db")); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	// The copy has no witness; give it one of a longer ledger.
	longer := farmLedger(t)
	more, err := store.Open(longer)
	if err != nil {
		t.Fatal(err)
	}
	book, err := ledger.Open(more)
	if err != nil {
		t.Fatal(err)
	}
	if err := book.Append(ledger.Change{Kind: ledger.ChangeMode, Tank: "north", Text: "armed"}); err != nil {
		t.Fatal(err)
	}
	if err := more.Close(); err != nil {
		t.Fatal(err)
	}
	witness, err := os.ReadFile(filepath.Join(longer, "leat.head"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(lost, "leat.head"), witness, 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errs := runLedger("-state", lost, "verify")
	if code != 1 || !strings.Contains(errs, "row 9 was acknowledged") || strings.Count(errs, "\n") != 1 {
		t.Fatalf("exit %d, %q", code, errs)
	}
}

func TestLedgerExportsDosesFromIntentToSettlement(t *testing.T) {
	dir := farmLedger(t)
	rows, err := csv.NewReader(strings.NewReader(mustLedger(t, "export", "-state", dir))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"order", "permitted", "tank", "pump", "ordered_ml", "outcome", "counted_ml", "settled", "reason", "ph", "ec_ms_per_cm", "temp_c", "cause", "configuration", "by"},
		{"1-000001", "2031-03-04T19:10:00Z", "north", "acid", "12.5", "confirmed", "12.25", "2031-03-04T19:10:09Z", "pH high", "6.31", "1.62", "20.4", "reported done", "c41d", ""},
		{"1-000002", "2031-03-04T19:30:00Z", "south", "calcium", "40", "uncertain", "40", "2031-03-04T19:31:00Z", "EC low", "", "", "", "no report", "c41d", ""},
		{"", "2031-03-04T19:40:00Z", "north", "acid", "", "by hand", "5", "", "", "", "", "", "", "", "ada"},
		{"1-000003", "2031-03-05T07:00:00Z", "north", "acid", "3", "open", "3", "", "pH high", "6.1", "", "", "", "c41d", ""},
	}
	if fmt.Sprint(rows) != fmt.Sprint(want) {
		t.Errorf("exported\n%q\nwant\n%q", rows, want)
	}
	var sum dosing.Volume
	for _, row := range rows[1:] {
		if row[3] == "acid" && row[0] != "" {
			ml, err := strconv.ParseFloat(row[6], 64)
			if err != nil {
				t.Fatal(err)
			}
			sum += dosing.FromMillilitres(ml)
		}
	}
	if sum != 15250*dosing.Microlitre {
		t.Errorf("the export adds up to %s of acid, the ledger to 15.25 mL", sum)
	}
}

func TestLedgerExportIsTheSameInEveryFormat(t *testing.T) {
	dir := farmLedger(t)
	for _, kind := range store.ExportKinds {
		table, err := csv.NewReader(strings.NewReader(mustLedger(t, "export", "-state", dir, "-kind", kind))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var objects []map[string]any
		decoder := json.NewDecoder(strings.NewReader(mustLedger(t, "export", "-state", dir, "-kind", kind, "-json")))
		decoder.UseNumber()
		if err := decoder.Decode(&objects); err != nil {
			t.Fatal(err)
		}
		text := strings.Split(strings.TrimSpace(mustLedger(t, "export", "-state", dir, "-kind", kind, "-format", "text")), "\n")
		if len(objects) != len(table)-1 || len(text) != len(table) || len(objects) == 0 {
			t.Fatalf("%s: %d rows as CSV, %d as JSON, %d lines of text", kind, len(table)-1, len(objects), len(text)-1)
		}
		for i, object := range objects {
			for c, column := range table[0] {
				got := ""
				if object[column] != nil {
					got = fmt.Sprint(object[column])
				}
				if want := table[i+1][c]; !equalCell(got, want) {
					t.Errorf("%s row %d %s: JSON %q, CSV %q", kind, i+1, column, got, want)
				}
			}
		}
	}
}

// equalCell compares cells, numbers by value: 2.4041e-05 is 0.000024041.
func equalCell(a, b string) bool {
	x, errX := strconv.ParseFloat(a, 64)
	y, errY := strconv.ParseFloat(b, 64)
	return a == b || errX == nil && errY == nil && x == y
}

func TestLedgerExportHoldsWhatPeopleTyped(t *testing.T) {
	dir := farmLedger(t)
	rows, err := csv.NewReader(strings.NewReader(mustLedger(t, "export", "-kind", "changes", "-state", dir))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := rows[2][14], "=1+1, \"quoted\"\n\x1b[2Jnext line"; rows[0][14] != "note" || got != want {
		t.Errorf("the note came back as %q, want %q", got, want)
	}
}

func TestLedgerExportIsNarrowedByTimeTankAndPump(t *testing.T) {
	dir := farmLedger(t)
	for want, flags := range map[int][]string{
		4: nil,
		3: {"-tank", "north"},
		1: {"-pump", "calcium"},
		2: {"-from", "2031-03-04T19:30:00Z", "-to", "2031-03-04T19:59:00Z"},
		0: {"-to", "2031-03-01"},
	} {
		out := mustLedger(t, append([]string{"export", "-state", dir}, flags...)...)
		if got := strings.Count(out, "\n") - 1; got != want {
			t.Errorf("%v: %d doses, want %d\n%s", flags, got, want, out)
		}
	}
	if out := mustLedger(t, "export", "-state", dir, "-kind", "readings", "-from", "2031-03-04T19:01:00Z"); strings.Count(out, "\n") != 3 {
		t.Errorf("readings from the second minute:\n%s", out)
	}
}

func TestLedgerTellsWrongFlags(t *testing.T) {
	dir := farmLedger(t)
	for _, args := range [][]string{
		{}, {"-state", dir}, {"-state", dir, "burn"}, {"print"}, {"-state", dir, "print", "more"}, {"-state", dir, "verify", "-kind", "doses"},
		{"-state", dir, "print", "-format", "csv"}, {"-state", dir, "export", "-kind", "songs"}, {"-state", dir, "export", "-format", "xml"},
		{"-state", dir, "export", "-from", "yesterday"}, {"-state", dir, "export", "-from", "2031-03-05", "-to", "2031-03-04"},
		{"-state", dir, "export", "-json", "-format", "csv"}, {"-state", dir, "export", "-kind", "readings", "-tank", "north"}, {"-colour"},
	} {
		code, out, errs := runLedger(args...)
		if code != 2 || out != "" || strings.Count(errs, "\n") != 1 {
			t.Errorf("%q: exit %d, stdout %q, stderr %q; want 2 and one line of advice", args, code, out, errs)
		}
	}
	if code, out, errs := runLedger("-state", filepath.Join(dir, "nowhere"), "print"); code != 1 || out != "" || strings.Count(errs, "\n") != 1 {
		t.Errorf("a folder that is not there: exit %d, %q, %q", code, out, errs)
	}
	for _, args := range [][]string{{"-h"}, {"print", "-h"}} {
		if code, out, errs := runLedger(args...); code != 0 || !strings.Contains(out, "usage: leat ledger") || !strings.Contains(out, "-kind") || errs != "" {
			t.Errorf("%q: exit %d, %q %q", args, code, out, errs)
		}
	}
}
