package ledger

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"leat/dosing"
)

var evening = time.Date(2031, 3, 4, 19, 0, 0, 0, time.UTC)

func at(up time.Duration) dosing.Instant { return dosing.Instant{Wall: evening.Add(up), Up: up} }

// dose makes an intent as the gate's clearance would.
func dose(epoch, number uint32, pump string, volume dosing.Volume, at dosing.Instant) Intent {
	return Intent{order: OrderID{epoch, number}, plan: dosing.Plan{Volume: volume, Reason: dosing.ReasonPHHigh}, at: at, filled: true,
		basis: Basis{Configuration: "c41d", TankName: "north", PumpName: pump, PH: 6.3, EC: 1.6, Temperature: 20}}
}

func open(t testing.TB, store Store) *Ledger {
	t.Helper()
	l, err := Open(store)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func intend(t testing.TB, l *Ledger, i Intent) Receipt {
	t.Helper()
	r, err := l.AppendIntent(i)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func record(t testing.TB, l *Ledger, drafts ...Draft) {
	t.Helper()
	for _, d := range drafts {
		if err := l.Append(d); err != nil {
			t.Fatal(err)
		}
	}
}

func TestZeroReceiptProvesNothing(t *testing.T) {
	if _, ok := (Receipt{}).Intent(); ok {
		t.Fatal("a zero receipt passed for proof that a dose is on disk")
	}
	if _, ok := (Receipt{sequence: 1}).Intent(); ok {
		t.Fatal("a receipt without an intent passed for proof")
	}
	if _, ok := (Receipt{intent: dose(1, 1, "acid", 5, at(0))}).Intent(); ok {
		t.Fatal("a receipt without a row passed for proof")
	}
}

func TestReceiptComesOnlyAfterTheRowIsDurable(t *testing.T) {
	memory := &Memory{}
	l := open(t, memory)
	want := dose(1, 1, "acid", 5*dosing.Millilitre, at(time.Minute))
	receipt := intend(t, l, want)
	got, ok := receipt.Intent()
	if !ok || got != want || receipt.Sequence() != 1 || memory.Len() != 1 {
		t.Fatalf("receipt %+v (%v) of row %d, %d rows stored", got, ok, receipt.Sequence(), memory.Len())
	}
	for _, fault := range []Fault{FaultFull, FaultFailed, FaultTorn, FaultWritten} {
		memory := &Memory{}
		memory.FailNth(1, fault)
		receipt, err := open(t, memory).AppendIntent(want)
		if _, ok := receipt.Intent(); ok || err == nil {
			t.Errorf("fault %d: a receipt was given out (%v)", fault, err)
		}
	}
}

func TestOnlyAnIntentOfTheGateIsAppended(t *testing.T) {
	none := dose(1, 1, "acid", 0, at(0))
	vast := dose(1, 1, "acid", largestVolume+1, at(0))
	nameless := dose(1, 1, "", dosing.Millilitre, at(0))
	homeless := dose(1, 1, "acid", dosing.Millilitre, at(0))
	homeless.basis.TankName = ""
	recalled := OpenIntent{Order: OrderID{1, 1}, Tank: "north", Pump: "acid", Volume: dosing.Millilitre,
		Basis: Basis{TankName: "north", PumpName: "acid"}}.Intent(0, 0)
	for name, intent := range map[string]Intent{"zero": {}, "no volume": none, "more than a tanker": vast, "no pump": nameless,
		"no tank": homeless, "read back from the record": recalled} {
		memory := &Memory{}
		if _, err := open(t, memory).AppendIntent(intent); err == nil || memory.Len() > 0 {
			t.Errorf("%s: appended (%d rows, %v)", name, memory.Len(), err)
		}
	}
}

func TestIntentCannotSlipInWithoutAReceipt(t *testing.T) {
	memory := &Memory{}
	if err := open(t, memory).Append(dose(1, 1, "acid", 5, at(0))); err == nil || memory.Len() > 0 {
		t.Fatalf("Append took an intent: %v", err)
	}
}

func TestOrderIsNeverAppendedTwice(t *testing.T) {
	memory := &Memory{}
	l := open(t, memory)
	record(t, l, Start(7, "c41d", at(0), true))
	intend(t, l, dose(7, 5, "acid", dosing.Millilitre, at(time.Minute)))
	for name, order := range map[string]OrderID{"the same number": {7, 5}, "a lower number": {7, 4}, "an older epoch": {6, 9}} {
		for _, l := range []*Ledger{l, open(t, memory)} {
			i := dose(order.Epoch, order.Number, "acid", dosing.Millilitre, at(2*time.Minute))
			if _, err := l.AppendIntent(i); err == nil {
				t.Errorf("%s was appended", name)
			}
		}
	}
	intend(t, l, dose(7, 6, "acid", dosing.Millilitre, at(3*time.Minute)))
}

func TestEpochsRise(t *testing.T) {
	memory := &Memory{}
	l := open(t, memory)
	record(t, l, Start(3, "c41d", at(0), true))
	for _, epoch := range []uint32{0, 2, 3} {
		if err := l.Append(Start(epoch, "c41d", at(0), true)); err == nil {
			t.Errorf("epoch %d began after epoch 3", epoch)
		}
	}
	for _, value := range []float64{1.5, -1, 1 << 33} {
		if err := l.Append(Change{Kind: ChangeStart, Value: value}); err == nil {
			t.Errorf("epoch %v began", value)
		}
	}
	record(t, l, Start(4, "c41d", at(0), true))
}

func TestSettlementNeedsItsIntent(t *testing.T) {
	l := open(t, &Memory{})
	intent := dose(1, 1, "acid", 5*dosing.Millilitre, at(0))
	if err := l.Append(Settle(intent, OutcomeConfirmed, intent.plan.Volume, at(1), "done")); err == nil {
		t.Error("a dose that was never intended was settled")
	}
	intend(t, l, intent)
	if err := l.Append(Settle(intent, OutcomeOpen, 0, at(1), "")); err == nil {
		t.Error("a dose was settled as open")
	}
	if err := l.Append(Settlement{}); err == nil {
		t.Error("a zero settlement was appended")
	}
	record(t, l, Settle(intent, OutcomeUncertain, 0, at(2), "no report"))
	if err := l.Append(Settle(intent, OutcomeWithdrawn, 0, at(3), "")); err == nil {
		t.Error("a dose that counted was withdrawn afterwards")
	}
	record(t, l, Settle(intent, OutcomeConfirmed, 4*dosing.Millilitre, at(4), "the report came late"))
}

func TestChangeNeedsAKind(t *testing.T) {
	l := open(t, &Memory{})
	for _, c := range []Change{{}, {Kind: ChangeCount}, {Kind: ChangeHandDose, Volume: -1}, {Kind: ChangeSetpoint, Quantity: dosing.QuantityCount}} {
		if err := l.Append(c); err == nil {
			t.Errorf("appended %+v", c)
		}
	}
	if sequence, _ := l.Head(); sequence != 0 {
		t.Fatalf("%d rows after refusals", sequence)
	}
	// A refusal is no failure of the disk.
	record(t, l, Change{Kind: ChangeMode, Text: "armed"})
}

// night appends a night of twelve drafts: a start, doses that end in each way, a
// setpoint. It tries again where the disk was full, as the daemon does, and stops
// at a failure. It returns what was acknowledged.
func night(l *Ledger) (acknowledged uint64, receipts []Intent, err error) {
	outcomes := []Outcome{OutcomeConfirmed, OutcomeRefused, OutcomeUncertain, OutcomeWithdrawn, OutcomeConfirmed}
	var drafts []Draft
	drafts = append(drafts, Start(1, "c41d", at(0), true))
	for n, outcome := range outcomes {
		i := dose(1, uint32(n)+1, "acid", dosing.Volume(n+1)*dosing.Millilitre, at(time.Duration(2*n+1)*time.Minute))
		drafts = append(drafts, i, Settle(i, outcome, i.plan.Volume, at(time.Duration(2*n+2)*time.Minute), "test"))
	}
	drafts = append(drafts, Change{Kind: ChangeSetpoint, At: at(time.Hour), Tank: "north", Quantity: dosing.QuantityPH, Old: 5.8, Value: 5.9})
	for _, d := range drafts {
		for try := 0; try < 2; try++ {
			intent, isIntent := d.(Intent)
			if isIntent {
				var r Receipt
				if r, err = l.AppendIntent(intent); err == nil {
					i, _ := r.Intent()
					receipts = append(receipts, i)
				}
			} else {
				err = l.Append(d)
			}
			if !errors.Is(err, ErrFull) {
				break
			}
		}
		if err != nil {
			return acknowledged, receipts, err
		}
		acknowledged++
	}
	return acknowledged, receipts, nil
}

func TestEveryAppendMayFail(t *testing.T) {
	const drafts = 12
	for n := 1; n <= drafts; n++ {
		for _, fault := range []Fault{FaultFull, FaultFailed, FaultWritten, FaultTorn} {
			t.Run(fmt.Sprintf("append %d fault %d", n, fault), func(t *testing.T) {
				memory := &Memory{}
				memory.FailNth(n, fault)
				l := open(t, memory)
				acknowledged, receipts, err := night(l)
				if fault == FaultFull {
					if err != nil || acknowledged != drafts {
						t.Fatalf("a full disk that was freed: %d of %d rows, %v", acknowledged, drafts, err)
					}
				} else {
					if !errors.Is(err, ErrFailed) || acknowledged != uint64(n)-1 {
						t.Fatalf("%d rows acknowledged, %v; want %d and a failure", acknowledged, err, n-1)
					}
					if err := l.Append(Change{Kind: ChangeMode, Text: "armed"}); !errors.Is(err, ErrFailed) {
						t.Fatalf("appended after a failure: %v", err)
					}
				}
				memory.Reopen()
				again := open(t, memory)
				rows, _ := again.Head()
				if rows < acknowledged || rows > acknowledged+1 {
					t.Fatalf("%d rows after reopening, %d acknowledged", rows, acknowledged)
				}
				if (fault == FaultWritten) != (rows == acknowledged+1) {
					t.Fatalf("fault %d left %d rows beside %d acknowledged ones", fault, rows-acknowledged, acknowledged)
				}
				coversReceipts(t, memory, receipts)
				record(t, again, Start(2, "c41d", at(0), true))
			})
		}
	}
}

// coversReceipts checks that every dose that may have been ordered counts.
func coversReceipts(t *testing.T, store Store, receipts []Intent) {
	t.Helper()
	state, err := Replay(store, at(2*time.Hour), true)
	if err != nil {
		t.Fatal(err)
	}
	counted := map[OrderID]dosing.Volume{}
	for _, d := range state.Doses {
		counted[d.Order] = d.Volume
	}
	for _, i := range receipts {
		withdrawn := i.order.Number == 4
		if !withdrawn && counted[i.order] != i.plan.Volume {
			t.Errorf("dose %s of %s counts %s", i.order, i.plan.Volume, counted[i.order])
		}
	}
}

func TestUnclassifiedErrorIsAFailure(t *testing.T) {
	l := open(t, strange{&Memory{}})
	for range 2 {
		if err := l.Append(Change{Kind: ChangeMode, Text: "armed"}); !errors.Is(err, ErrFailed) || !errors.Is(err, errStrange) {
			t.Fatalf("an unknown error gave %v", err)
		}
	}
}

var errStrange = errors.New("strange")

type strange struct{ *Memory }

func (strange) Append(Row) error { return errStrange }

func TestRowThatDoesNotDecodeBreaksTheLedger(t *testing.T) {
	memory := &Memory{}
	if err := memory.Append(Seal(1, [32]byte{}, []byte(`{"kind":"song"}`))); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(memory); !errors.Is(err, ErrBroken) {
		t.Fatalf("opened with %v", err)
	}
}

// BenchmarkAppend is the cost of one intent and its settlement without a disk.
func BenchmarkAppend(b *testing.B) {
	l := open(b, &Memory{})
	b.ReportAllocs()
	for n := range b.N {
		i := dose(1, uint32(n)+1, "acid", dosing.Millilitre, at(time.Duration(n)*time.Second))
		intend(b, l, i)
		record(b, l, Settle(i, OutcomeConfirmed, i.plan.Volume, i.at, "reported done"))
	}
}
