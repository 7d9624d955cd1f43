package ledgertest_test

import (
	"testing"

	"leat/safety/ledger"
	"leat/safety/ledger/ledgertest"
)

func TestMemoryStoreConforms(t *testing.T) {
	ledgertest.Run(t, func(*testing.T) ledgertest.Disk {
		memory := &ledger.Memory{}
		return ledgertest.Disk{
			Open: func(*testing.T) ledger.Store {
				memory.Reopen()
				return memory
			},
			Edit: func(t *testing.T, sequence uint64, body string) {
				if err := memory.Edit(sequence, func(r *ledger.Row) { r.Body = []byte(body) }); err != nil {
					t.Fatal(err)
				}
			},
			Drop: func(t *testing.T, sequence uint64) {
				if err := memory.Drop(sequence); err != nil {
					t.Fatal(err)
				}
			},
			Tear: func(t *testing.T, row ledger.Row) {
				memory.FailNth(1, ledger.FaultTorn)
				if err := memory.Append(row); err == nil || !memory.Torn() {
					t.Fatalf("torn append gave %v", err)
				}
			},
			Fill: func(_ *testing.T, store ledger.Store) func() {
				full := store.(*ledger.Memory)
				for n := 3; n < 300; n++ {
					full.FailNth(n, ledger.FaultFull)
				}
				return full.Heal
			},
			Fail: func(_ *testing.T, store ledger.Store) func() {
				store.(*ledger.Memory).FailNth(1, ledger.FaultFailed)
				return func() {}
			},
		}
	})
}
