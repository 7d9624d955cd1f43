// Package ledgertest is the conformance suite of ledger stores: what every store
// must do so that the ledger above it can be trusted. It runs on the memory store
// and on each driver.
package ledgertest

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"leat/dosing"
	"leat/safety/ledger"
)

// Disk is one record on one medium, which the suite opens, leaves and spoils. A
// function that a medium cannot do is nil, and its tests are skipped.
type Disk struct {
	// Open opens or reopens the record, as after the end of the process that
	// wrote it.
	Open func(t *testing.T) ledger.Store
	// Edit changes a row's body behind the ledger's back. The store is reopened
	// afterwards.
	Edit func(t *testing.T, sequence uint64, body string)
	// Drop removes a row behind the ledger's back. The store is reopened
	// afterwards.
	Drop func(t *testing.T, sequence uint64)
	// Tear leaves row half written behind the last one, as a power cut before its
	// sync would. The store is reopened afterwards.
	Tear func(t *testing.T, row ledger.Row)
	// Fill makes the medium full until free is called.
	Fill func(t *testing.T, store ledger.Store) (free func())
	// Fail makes writes fail, but not for want of room, until mend is called.
	Fail func(t *testing.T, store ledger.Store) (mend func())
}

// Run runs the suite on fresh disks.
func Run(t *testing.T, fresh func(t *testing.T) Disk) {
	tests := []struct {
		name string
		run  func(*testing.T, Disk)
	}{
		{"an empty store opens as an empty ledger", emptyOpens},
		{"rows come back in order and byte for byte", comesBack},
		{"load begins at the row asked for", loadsFrom},
		{"load stops at the first error and returns it", loadStops},
		{"rows may be appended while loading", appendsWhileLoading},
		{"acknowledged rows are there after reopening", survivesReopening},
		{"a row out of turn is refused", refusesGap},
		{"a row twice is refused", refusesRepeat},
		{"an edited row is found and named", findsEdit},
		{"a missing row is found and named", findsGap},
		{"a torn tail is dropped and nothing before it", dropsTornTail},
		{"a full disk loses nothing and appends go on when there is room", fullGoesOn},
		{"after a failed write nothing is appended until reopened", failedStaysFailed},
		{"starts, intents and settlements replay after reopening", replays},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) { test.run(t, fresh(t)) })
	}
}

// Bodies of rows as they stand in records that exist: a store and a later leat
// must read them for ever.
var bodies = []string{
	`{"kind":"change","change":"start","run":1,"wall":"2031-03-04T19:00:00Z","up_s":0,"value":1,"trusted":true,"text":"c41d"}`,
	`{"kind":"change","change":"mode","run":1,"wall":"2031-03-04T19:05:00Z","up_s":300,"tank":"north","text":"armed","by":"ada","from":"page"}`,
	`{"kind":"intent","run":1,"wall":"2031-03-04T19:10:00Z","up_s":600.25,"order":"1-000001","tank":"north","pump":"acid","volume_ml":12.5,"reason":"pH high","ph":6.31,"ec_ms_per_cm":1.62,"temp_c":20.4,"configuration":"c41d"}`,
	`{"kind":"settlement","run":1,"wall":"2031-03-04T19:10:09Z","up_s":609.5,"order":"1-000001","tank":"north","pump":"acid","volume_ml":12.25,"ordered_ml":12.5,"outcome":"confirmed","cause":"reported done"}`,
	`{"kind":"intent","run":1,"wall":"2031-03-04T19:30:00Z","up_s":1800,"order":"1-000002","tank":"north","pump":"calcium","volume_ml":40,"reason":"EC low","ph":6.02,"ec_ms_per_cm":1.6,"temp_c":20.4,"configuration":"c41d"}`,
	`{"kind":"change","change":"setpoint","run":1,"wall":"2031-03-04T19:31:00Z","up_s":1860,"tank":"north","quantity":"ph","old":5.8,"value":5.9,"until":"2031-03-05T06:00:00Z","note":"für die Nacht <&>","by":"ada","from":"page"}`,
}

// chain seals bodies into rows.
func chain(bodies ...string) []ledger.Row {
	rows := make([]ledger.Row, len(bodies))
	var hash [32]byte
	for i, body := range bodies {
		rows[i] = ledger.Seal(uint64(i)+1, hash, []byte(body))
		hash = rows[i].Hash
	}
	return rows
}

func write(t *testing.T, store ledger.Store, rows []ledger.Row) {
	t.Helper()
	for _, row := range rows {
		if err := store.Append(row); err != nil {
			t.Fatalf("appending row %d: %v", row.Sequence, err)
		}
	}
}

func read(t *testing.T, store ledger.Store, from uint64) []ledger.Row {
	t.Helper()
	var rows []ledger.Row
	err := store.Load(from, func(row ledger.Row) error {
		rows = append(rows, row)
		return nil
	})
	if err != nil {
		t.Fatalf("loading from row %d: %v", from, err)
	}
	return rows
}

func same(t *testing.T, got, want []ledger.Row) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d rows, want %d", len(got), len(want))
	}
	for i := range want {
		if got[i].Sequence != want[i].Sequence || string(got[i].Body) != string(want[i].Body) ||
			got[i].Previous != want[i].Previous || got[i].Hash != want[i].Hash {
			t.Fatalf("row %d came back as\n%d %s %x\nwant\n%d %s %x", i+1, got[i].Sequence, got[i].Body, got[i].Hash,
				want[i].Sequence, want[i].Body, want[i].Hash)
		}
	}
}

func emptyOpens(t *testing.T, disk Disk) {
	book, err := ledger.Open(disk.Open(t))
	if err != nil {
		t.Fatal(err)
	}
	if sequence, hash := book.Head(); sequence != 0 || hash != [32]byte{} {
		t.Fatalf("head of an empty ledger is row %d, %x", sequence, hash)
	}
}

func comesBack(t *testing.T, disk Disk) {
	store := disk.Open(t)
	rows := chain(bodies...)
	write(t, store, rows)
	same(t, read(t, store, 1), rows)
	same(t, read(t, store, 0), rows)
}

func loadsFrom(t *testing.T, disk Disk) {
	store := disk.Open(t)
	rows := chain(bodies...)
	write(t, store, rows)
	same(t, read(t, store, 4), rows[3:])
	same(t, read(t, store, uint64(len(rows))+1), nil)
}

func loadStops(t *testing.T, disk Disk) {
	store := disk.Open(t)
	write(t, store, chain(bodies...))
	enough := errors.New("enough")
	visits := 0
	err := store.Load(1, func(ledger.Row) error {
		visits++
		if visits == 2 {
			return enough
		}
		return nil
	})
	if !errors.Is(err, enough) || visits != 2 {
		t.Fatalf("load returned %v after %d rows, want %v after 2", err, visits, enough)
	}
}

func appendsWhileLoading(t *testing.T, disk Disk) {
	store := disk.Open(t)
	rows := chain(bodies...)
	write(t, store, rows[:2])
	err := store.Load(1, func(row ledger.Row) error {
		if row.Sequence == 1 {
			return store.Append(rows[2])
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	same(t, read(t, store, 1), rows[:3])
}

func survivesReopening(t *testing.T, disk Disk) {
	rows := chain(bodies...)
	for i, row := range rows {
		write(t, disk.Open(t), []ledger.Row{row})
		same(t, read(t, disk.Open(t), 1), rows[:i+1])
	}
}

func refusesGap(t *testing.T, disk Disk) {
	store := disk.Open(t)
	rows := chain(bodies...)
	write(t, store, rows[:1])
	if err := store.Append(rows[2]); err == nil {
		t.Fatal("row 3 was appended after row 1")
	}
	same(t, read(t, disk.Open(t), 1), rows[:1])
}

func refusesRepeat(t *testing.T, disk Disk) {
	store := disk.Open(t)
	rows := chain(bodies...)
	write(t, store, rows[:2])
	if err := store.Append(rows[1]); err == nil {
		t.Fatal("row 2 was appended twice")
	}
	same(t, read(t, disk.Open(t), 1), rows[:2])
}

func brokenAt(t *testing.T, store ledger.Store, row int) {
	t.Helper()
	if _, err := ledger.Open(store); !errors.Is(err, ledger.ErrBroken) || !strings.Contains(err.Error(), fmt.Sprintf("row %d:", row)) {
		t.Fatalf("opening says %v, want the chain broken at row %d", err, row)
	}
	if _, err := ledger.Replay(store, dosing.Instant{}, false); !errors.Is(err, ledger.ErrBroken) {
		t.Fatalf("replay says %v, want the chain broken", err)
	}
}

func findsEdit(t *testing.T, disk Disk) {
	if disk.Edit == nil {
		t.Skip("rows of this store cannot be edited from outside")
	}
	for sequence := range bodies {
		t.Run(fmt.Sprintf("row %d", sequence+1), func(t *testing.T) {
			rows := chain(bodies...)
			if sequence == 0 {
				write(t, disk.Open(t), rows)
			}
			for _, edit := range [][2]string{{`"kind"`, ` "kind"`}, {"T19:", "T18:"}} { // the second is as good a row as any
				edited := strings.Replace(bodies[sequence], edit[0], edit[1], 1)
				disk.Edit(t, uint64(sequence)+1, edited)
				brokenAt(t, disk.Open(t), sequence+1)
			}
			disk.Edit(t, uint64(sequence)+1, bodies[sequence])
			if _, err := ledger.Open(disk.Open(t)); err != nil {
				t.Fatalf("with the row as it was: %v", err)
			}
		})
	}
}

func findsGap(t *testing.T, disk Disk) {
	if disk.Drop == nil {
		t.Skip("rows of this store cannot be removed from outside")
	}
	write(t, disk.Open(t), chain(bodies...))
	disk.Drop(t, 3)
	brokenAt(t, disk.Open(t), 3)
}

func dropsTornTail(t *testing.T, disk Disk) {
	if disk.Tear == nil {
		t.Skip("this store cannot be torn")
	}
	rows := chain(bodies...)
	last := len(rows) - 1
	write(t, disk.Open(t), rows[:last])
	disk.Tear(t, rows[last])
	store := disk.Open(t)
	same(t, read(t, store, 1), rows[:last])
	if _, err := ledger.Open(store); err != nil {
		t.Fatalf("opening behind a torn tail: %v", err)
	}
	write(t, store, rows[last:])
	same(t, read(t, disk.Open(t), 1), rows)
}

// note is a change of about two kilobytes, to fill a disk with.
func note(i int) ledger.Change {
	return ledger.Change{Kind: ledger.ChangeServiced, Tank: "north", Text: "tube renewed", Note: strings.Repeat("n", 1900), Value: float64(i + 1)}
}

func fullGoesOn(t *testing.T, disk Disk) {
	if disk.Fill == nil {
		t.Skip("this store cannot be filled")
	}
	store := disk.Open(t)
	book, err := ledger.Open(store)
	if err != nil {
		t.Fatal(err)
	}
	if err := book.Append(note(0)); err != nil {
		t.Fatal(err)
	}
	free := disk.Fill(t, store)
	written := 1
	for err = nil; err == nil && written < 200; {
		if err = book.Append(note(written)); err == nil {
			written++
		}
	}
	if !errors.Is(err, ledger.ErrFull) || errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("a full disk gave %v after %d rows", err, written)
	}
	before, hash := book.Head()
	if before != uint64(written) {
		t.Fatalf("head is row %d after %d acknowledged rows", before, written)
	}
	if err := book.Append(note(written)); !errors.Is(err, ledger.ErrFull) {
		t.Fatalf("the second try on a full disk gave %v", err)
	}
	if again, same := book.Head(); again != before || same != hash {
		t.Fatal("a refused append moved the head")
	}
	free()
	if err := book.Append(note(written)); err != nil {
		t.Fatalf("with room again: %v", err)
	}
	book, err = ledger.Open(disk.Open(t))
	if err != nil {
		t.Fatal(err)
	}
	if sequence, _ := book.Head(); sequence != before+1 {
		t.Fatalf("%d rows after reopening, want %d", sequence, before+1)
	}
}

func failedStaysFailed(t *testing.T, disk Disk) {
	if disk.Fail == nil {
		t.Skip("writes to this store cannot be made to fail here")
	}
	store := disk.Open(t)
	book, err := ledger.Open(store)
	if err != nil {
		t.Fatal(err)
	}
	if err := book.Append(note(0)); err != nil {
		t.Fatal(err)
	}
	mend := disk.Fail(t, store)
	if err := book.Append(note(1)); !errors.Is(err, ledger.ErrFailed) || errors.Is(err, ledger.ErrFull) {
		t.Fatalf("a failed write gave %v", err)
	}
	mend()
	if err := book.Append(note(1)); !errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("an append after a failure gave %v; nobody knows what is on the disk", err)
	}
	if err := store.Append(ledger.Seal(2, [32]byte{}, []byte("{}"))); !errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("the store itself went on after a failure: %v", err)
	}
	book, err = ledger.Open(disk.Open(t))
	if err != nil {
		t.Fatal(err)
	}
	sequence, _ := book.Head()
	if sequence < 1 || sequence > 2 {
		t.Fatalf("%d rows after reopening, want the acknowledged one and at most the doubtful one", sequence)
	}
	if err := book.Append(note(2)); err != nil {
		t.Fatalf("after reopening: %v", err)
	}
}

func replays(t *testing.T, disk Disk) {
	write(t, disk.Open(t), chain(bodies...))
	state, err := ledger.Replay(disk.Open(t), dosing.Instant{}, false)
	if err != nil {
		t.Fatal(err)
	}
	if state.LastEpoch != 1 || state.Rows != uint64(len(bodies)) || state.Configuration != "c41d" {
		t.Errorf("last epoch %d, %d rows, configuration %q", state.LastEpoch, state.Rows, state.Configuration)
	}
	if got, want := state.Ever["acid"], 12250*dosing.Microlitre; got != want {
		t.Errorf("acid counted %s, want %s", got, want)
	}
	if got, want := state.Ever["calcium"], 40*dosing.Millilitre; got != want {
		t.Errorf("calcium counted %s, want %s: an open intent counts in full", got, want)
	}
	if len(state.Open) != 1 || state.Open[0].Order != (ledger.OrderID{Epoch: 1, Number: 2}) {
		t.Errorf("open intents %v, want order 1-000002", state.Open)
	}
	if len(state.Setpoints) != 1 || state.Setpoints[0].Value != 5.9 {
		t.Errorf("setpoints %v, want pH 5.9", state.Setpoints)
	}
}
