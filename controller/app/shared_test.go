package app

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/zap"

	"leat/controller/store"
	"leat/safety/ledger"
)

// sealedRows are so many rows of a chain that begins with a body.
func sealedRows(n int, body string) []ledger.Row {
	rows := make([]ledger.Row, n)
	var hash [32]byte
	for i := range rows {
		rows[i] = ledger.Seal(uint64(i)+1, hash, []byte(body))
		hash = rows[i].Hash
	}
	return rows
}

func rowsOf(t *testing.T, s ledger.Store) (all []ledger.Row) {
	t.Helper()
	if err := s.Load(1, func(r ledger.Row) error { all = append(all, r); return nil }); err != nil {
		t.Fatal(err)
	}
	return all
}

func TestAStateFolderFollowsTheSharedLedgerAndNeverMixesWithAnother(t *testing.T) {
	ours, others := sealedRows(5, `{"kind":"change","change":"serviced","run":1,"wall":"2031-03-04T19:00:00Z","up_s":1}`), sealedRows(3, `{"kind":"change","change":"serviced","run":9,"wall":"2031-03-04T19:00:00Z","up_s":1}`)
	for _, c := range []struct {
		name           string
		folder, shared []ledger.Row
		want           int
		fails          string
	}{
		{"both empty", nil, nil, 0, ""},
		{"an empty folder is filled", nil, ours, 5, ""},
		{"a folder that was away catches up", ours[:2], ours, 5, ""},
		{"a folder that is there already", ours, ours, 5, ""},
		{"servers that hold nothing get the folder's ledger", ours, nil, 5, ""},
		{"a folder of another ledger is refused", others, ours, 0, "another ledger"},
		{"servers that lost their end are refused", ours, ours[:3], 0, "older copy"},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder, err := store.Open(t.TempDir())
			if err != nil {
				t.Fatal(err)
			}
			defer folder.Close()
			shared := &ledger.Memory{}
			for _, into := range []struct {
				store ledger.Store
				rows  []ledger.Row
			}{{folder, c.folder}, {shared, c.shared}} {
				for _, row := range into.rows {
					if err := into.store.Append(row); err != nil {
						t.Fatal(err)
					}
				}
			}
			both := &copied{shared: shared, folder: folder, log: zap.NewNop()}
			err = both.catchUp()
			if c.fails != "" {
				if !errors.Is(err, ledger.ErrBroken) || !strings.Contains(err.Error(), c.fails) {
					t.Fatalf("want a refusal that says %q, got %v", c.fails, err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			next := ledger.Seal(uint64(c.want)+1, [32]byte{}, []byte("{}"))
			if c.want > 0 {
				next.Previous = ours[c.want-1].Hash
				next = ledger.Seal(next.Sequence, next.Previous, next.Body)
			}
			if err := both.Append(next); err != nil {
				t.Fatal(err)
			}
			a, b := rowsOf(t, folder), rowsOf(t, shared)
			if len(a) != c.want+1 || len(b) != c.want+1 {
				t.Fatalf("the folder has %d rows and the servers %d, want %d", len(a), len(b), c.want+1)
			}
			for i := range a {
				if a[i].Hash != b[i].Hash {
					t.Fatalf("row %d differs", i+1)
				}
			}
		})
	}
}

func TestWhatTheServersDoNotTakeIsNotInTheFolderEither(t *testing.T) {
	folder, err := store.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	shared := &ledger.Memory{}
	shared.FailNth(2, ledger.FaultFailed)
	both := &copied{shared: shared, folder: folder, log: zap.NewNop()}
	rows := sealedRows(2, "{}")
	if err := both.Append(rows[0]); err != nil {
		t.Fatal(err)
	}
	if err := both.Append(rows[1]); !errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("the servers failed and the append says %v", err)
	}
	if got := len(rowsOf(t, folder)); got != 1 {
		t.Fatalf("the folder has %d rows", got)
	}
}

func TestADaemonThatStandsByTellsItsSupervisorThatItIsThere(t *testing.T) {
	var mu sync.Mutex
	var told []string
	_, err := standBy(t.Context(), func(state string) {
		mu.Lock()
		defer mu.Unlock()
		told = append(told, state)
	}, func(context.Context) (Term, error) {
		for {
			mu.Lock()
			heard := len(told)
			mu.Unlock()
			if heard >= 3 {
				return nil, nil
			}
			time.Sleep(time.Millisecond)
		}
	})
	if err != nil || told[0] != "READY=1" || told[1] != "WATCHDOG=1" || told[2] != "WATCHDOG=1" {
		t.Fatalf("%q, %v", told, err)
	}
}

func TestADaemonWaitsForItsNextTurnAndEndsForEverythingElse(t *testing.T) {
	turns := 0
	next := func(context.Context) (Term, error) { return nil, nil }
	broken := errors.New("disk")
	err := InTurn(t.Context(), zap.NewNop(), nil, next, func(context.Context, Term) error {
		if turns++; turns < 3 {
			return errors.Join(ErrTaken, errors.New("and more"))
		}
		return broken
	})
	if !errors.Is(err, broken) || turns != 3 {
		t.Fatalf("%d turns, then %v", turns, err)
	}
}
