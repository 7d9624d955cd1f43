package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
)

// Row is one line of the record as a store keeps it.
type Row struct {
	Sequence uint64   // 1, 2, 3 … without a gap
	Body     []byte   // one JSON object, readable with any SQLite shell
	Previous [32]byte // Hash of the row before; zero in row 1
	Hash     [32]byte // SHA-256 over sequence, previous and body
}

// Store keeps rows. A store is used by one writer at a time; the conformance
// suite in ledgertest says what it must do.
type Store interface {
	Reader
	// Append makes the row durable before it returns nil. It fails with an error
	// that wraps ErrFull when nothing was written and the same row may be tried
	// again, and with one that wraps ErrFailed when nobody knows what is on disk.
	Append(row Row) error
}

// Reader is a store of which nothing but its rows is wanted.
type Reader interface {
	// Load calls each for every durable row from the given sequence on, in rising
	// order, without holding the record in memory. It stops at the first error of
	// each and returns it. What a crash left half written at the end was never
	// acknowledged and is not loaded.
	Load(from uint64, each func(Row) error) error
}

// What can be wrong with the record.
var (
	// ErrFull says that there is no room, or no access, for now: nothing was
	// written, and the append may be tried again.
	ErrFull = errors.New("the ledger has no room to write")
	// ErrFailed says that a write or sync failed: what is on disk is unknown until
	// the ledger is opened again and verified.
	ErrFailed = errors.New("the ledger failed to write; restart to verify it")
	// ErrBroken says that the chain does not verify.
	ErrBroken = errors.New("the ledger's chain is broken")
)

// Seal makes the row that follows the one with hash previous.
func Seal(sequence uint64, previous [32]byte, body []byte) Row {
	return Row{Sequence: sequence, Body: body, Previous: previous, Hash: digest(sequence, previous, body)}
}

func digest(sequence uint64, previous [32]byte, body []byte) [32]byte {
	var head [40]byte
	binary.BigEndian.PutUint64(head[:8], sequence)
	copy(head[8:], previous[:])
	h := sha256.New()
	h.Write(head[:])
	h.Write(body)
	var sum [32]byte
	h.Sum(sum[:0])
	return sum
}

// follows says why row cannot be the one after the given head, or nil.
func (row Row) follows(sequence uint64, hash [32]byte) error {
	switch {
	case row.Sequence != sequence+1:
		return broken(sequence+1, fmt.Sprintf("missing; the next one found is %d", row.Sequence))
	case row.Previous != hash:
		return broken(row.Sequence, "does not continue the row before it")
	case digest(row.Sequence, row.Previous, row.Body) != row.Hash:
		return broken(row.Sequence, "content does not match its hash")
	}
	return nil
}

func broken(row uint64, why string) error {
	return fmt.Errorf("%w at row %d: %s; move the state folder aside and restore the newest backup that `leat ledger verify` passes",
		ErrBroken, row, why)
}
