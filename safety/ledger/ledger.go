package ledger

import (
	"errors"
	"fmt"

	"leat/dosing"
)

// Ledger is the record over one store. It is used by one goroutine at a time.
type Ledger struct {
	store    Store
	sequence uint64
	hash     [32]byte
	run      uint32              // epoch of the run that appends
	lastKey  uint64              // highest order that was ever intended
	open     map[uint64]struct{} // intents without a settlement
	failed   error
}

// What an append can be refused for; nothing was written.
var (
	errNames    = errors.New("a dose needs the names of its tank and pump: without them no cap can count it after a restart")
	errNoIntent = errors.New("not an intent that the gate permitted")
)

// Open reads the store from its first row, verifies the chain and returns the
// ledger ready to append. A gap, an edited row or one that does not decode gives
// ErrBroken with its number; a torn tail is the store's business.
func Open(store Store) (*Ledger, error) {
	l := &Ledger{store: store, open: map[uint64]struct{}{}}
	if err := l.read(store, func(Row, Entry) error { return nil }); err != nil {
		return nil, err
	}
	return l, nil
}

// Verify reads the store from its first row, as Open does, and calls each for
// every row that is proved so far. It returns the ledger's head.
func Verify(from Reader, each func(Entry) error) (sequence uint64, hash [32]byte, err error) {
	return VerifyRows(from, func(_ Row, e Entry) error { return each(e) })
}

// VerifyRows is Verify with the rows as they stand in the record.
func VerifyRows(from Reader, each func(Row, Entry) error) (sequence uint64, hash [32]byte, err error) {
	l := &Ledger{open: map[uint64]struct{}{}}
	err = l.read(from, each)
	return l.sequence, l.hash, err
}

// read verifies and follows the whole record into a fresh ledger.
func (l *Ledger) read(from Reader, visit func(Row, Entry) error) error {
	return from.Load(1, func(row Row) error {
		if err := row.follows(l.sequence, l.hash); err != nil {
			return err
		}
		e, err := Decode(row)
		if err != nil {
			return broken(row.Sequence, err.Error())
		}
		l.advance(row, e)
		return visit(row, e)
	})
}

// Head is the number and hash of the newest row; zeros for an empty ledger.
func (l *Ledger) Head() (sequence uint64, hash [32]byte) { return l.sequence, l.hash }

// AppendIntent makes an intent durable. The receipt is the only proof that an
// order may be built on. Order numbers rise for ever: an intent that was recorded
// before, or that belongs to an older epoch, is refused.
func (l *Ledger) AppendIntent(i Intent) (Receipt, error) {
	switch {
	case !i.filled || i.recalled || i.plan.Volume <= 0 || i.plan.Volume > largestVolume:
		return Receipt{}, errNoIntent
	case i.basis.TankName == "" || i.basis.PumpName == "":
		return Receipt{}, errNames
	case i.order.Epoch < l.run:
		return Receipt{}, fmt.Errorf("order %s: epoch %d has begun; another run owns this ledger", i.order, l.run)
	case i.order.Key() <= l.lastKey:
		return Receipt{}, fmt.Errorf("order %s: a number this high was used before, and a dose is never ordered twice", i.order)
	}
	b := i.body()
	b.Run = max(l.run, i.order.Epoch)
	if err := l.append(b); err != nil {
		return Receipt{}, fmt.Errorf("intent of order %s: %w", i.order, err)
	}
	return Receipt{intent: i, sequence: l.sequence}, nil
}

// Append makes a Settlement or a Change durable.
func (l *Ledger) Append(d Draft) error {
	switch d := d.(type) {
	case Settlement:
		return l.appendSettlement(d)
	case Change:
		return l.appendChange(d)
	case Intent:
		return errors.New("an intent is appended by AppendIntent, whose receipt the order needs")
	}
	return fmt.Errorf("%T is not an entry of the ledger", d)
}

func (l *Ledger) appendSettlement(s Settlement) error {
	_, open := l.open[s.order.Key()]
	switch {
	case s.order.Epoch == 0 || s.order.Number == 0 || s.outcome == OutcomeOpen || s.outcome >= OutcomeCount:
		return errors.New("a settlement needs an order and an outcome")
	case s.basis.TankName == "" || s.basis.PumpName == "":
		return errNames
	case s.volume < 0 || s.volume > largestVolume || s.plan.Volume < 0 || s.plan.Volume > largestVolume:
		return fmt.Errorf("settlement of order %s: %s is no dose", s.order, s.volume)
	case s.order.Key() > l.lastKey:
		return fmt.Errorf("settlement of order %s: no such intent", s.order)
	case s.outcome == OutcomeWithdrawn && !open:
		// Once a dose has counted, nothing may make it nothing.
		return fmt.Errorf("settlement of order %s: it was settled before and cannot be withdrawn", s.order)
	}
	b := s.body()
	b.Run = l.run
	if err := l.append(b); err != nil {
		return fmt.Errorf("settlement of order %s: %w", s.order, err)
	}
	return nil
}

func (l *Ledger) appendChange(c Change) error {
	b := c.body()
	b.Run = l.run
	switch {
	case c.Kind == ChangeNone || c.Kind >= ChangeCount:
		return errors.New("a change needs a kind")
	case c.Volume < 0 || c.Volume > largestVolume:
		return fmt.Errorf("change %s: %s is no dose", c.Kind, c.Volume)
	case c.Quantity >= dosing.QuantityCount:
		return fmt.Errorf("change %s: no such quantity", c.Kind)
	case c.Kind.begins():
		epoch, err := epochOf(c.Value)
		if err != nil {
			return err
		}
		if epoch <= l.run {
			return fmt.Errorf("start of epoch %d: epoch %d was used before; epochs rise", epoch, l.run)
		}
		b.Run = epoch
	}
	if err := l.append(b); err != nil {
		return fmt.Errorf("change %s: %w", c.Kind, err)
	}
	return nil
}

func (l *Ledger) append(b body) error {
	if l.failed != nil {
		return l.failed
	}
	encoded, err := b.encode()
	if err != nil {
		return err
	}
	row := Seal(l.sequence+1, l.hash, encoded)
	// What could not be read back after a restart must not be acknowledged.
	e, err := Decode(row)
	if err != nil {
		return err
	}
	switch err := l.store.Append(row); {
	case err == nil:
		l.advance(row, e)
		return nil
	case errors.Is(err, ErrFull):
		return err
	case errors.Is(err, ErrFailed):
		l.failed = err
	default:
		// An error nobody classified may have written anything.
		l.failed = fmt.Errorf("%w: %w", ErrFailed, err)
	}
	return l.failed
}

// begins says whether a change begins an epoch.
func (k ChangeKind) begins() bool {
	return k == ChangeStart || k == ChangeEpoch || k == ChangeRestored
}

// advance follows a row that is durable.
func (l *Ledger) advance(row Row, e Entry) {
	l.sequence, l.hash = row.Sequence, row.Hash
	l.run = max(l.run, e.Epoch)
	key := e.Order.Key()
	switch e.Kind {
	case EntryIntent:
		l.open[key] = struct{}{}
		l.lastKey = max(l.lastKey, key)
	case EntrySettlement:
		delete(l.open, key)
	case EntryChange:
		if e.Change.begins() {
			if epoch, err := epochOf(e.Value); err == nil {
				l.run = max(l.run, epoch)
			}
		}
	}
}
