package ledger

import (
	"bytes"
	"errors"
	"fmt"
)

// Fault is what a Memory does instead of an append.
type Fault uint8

// The faults of a disk, as the ledger sees them.
const (
	FaultNone    Fault = iota
	FaultFull          // ErrFull, nothing stored: the disk is full
	FaultFailed        // ErrFailed, nothing stored: the write failed
	FaultWritten       // ErrFailed, yet the row is stored: the sync failed and it got there all the same
	FaultTorn          // ErrFailed, half the row is stored: power was lost; Reopen drops it
)

// Memory is a store for the simulator and for tests, with a disk's faults at the
// Nth append. The zero Memory is empty and ready. It is used by one goroutine.
type Memory struct {
	rows    []Row
	torn    bool // a half written row lies behind rows
	failed  bool // after a failure nothing is appended until Reopen
	appends int
	faults  map[int]Fault
}

// FailNth makes the nth append from now, counted from 1, fail with fault.
func (m *Memory) FailNth(n int, fault Fault) {
	if m.faults == nil {
		m.faults = map[int]Fault{}
	}
	m.faults[m.appends+n] = fault
}

// Heal forgets the planned faults: there is room again.
func (m *Memory) Heal() { clear(m.faults) }

// Append stores a copy of the row.
func (m *Memory) Append(row Row) error {
	if m.failed {
		return fmt.Errorf("memory: %w", ErrFailed)
	}
	if row.Sequence != uint64(len(m.rows))+1 {
		return fmt.Errorf("memory: row %d after row %d: %w", row.Sequence, len(m.rows), ErrFailed)
	}
	m.appends++
	fault := m.faults[m.appends]
	delete(m.faults, m.appends)
	switch fault {
	case FaultFull:
		return fmt.Errorf("memory: %w", ErrFull)
	case FaultFailed, FaultTorn:
		m.failed, m.torn = true, fault == FaultTorn
		return fmt.Errorf("memory: %w", ErrFailed)
	}
	row.Body = bytes.Clone(row.Body)
	m.rows = append(m.rows, row)
	if fault == FaultWritten {
		m.failed = true
		return fmt.Errorf("memory: %w", ErrFailed)
	}
	return nil
}

// Load hands out copies of the rows.
func (m *Memory) Load(from uint64, each func(Row) error) error {
	// By index and length at each turn: each may append.
	for i := max(from, 1) - 1; i < uint64(len(m.rows)); i++ {
		row := m.rows[i]
		row.Body = bytes.Clone(row.Body)
		if err := each(row); err != nil {
			return err
		}
	}
	return nil
}

// Len is the number of durable rows.
func (m *Memory) Len() int { return len(m.rows) }

// Torn says whether a half written row waits for Reopen.
func (m *Memory) Torn() bool { return m.torn }

// Reopen does what a restart does: a torn tail is dropped, and appends are
// possible again. Planned faults stay.
func (m *Memory) Reopen() { m.torn, m.failed = false, false }

// Copy is a snapshot with neither faults nor torn tail, as a backup would be.
func (m *Memory) Copy() *Memory {
	return &Memory{rows: append([]Row(nil), m.rows...)}
}

// Edit changes a row behind the ledger's back, for tests of the chain.
func (m *Memory) Edit(sequence uint64, edit func(*Row)) error {
	if sequence < 1 || sequence > uint64(len(m.rows)) {
		return errors.New("memory: no such row to edit")
	}
	m.rows[sequence-1].Body = bytes.Clone(m.rows[sequence-1].Body)
	edit(&m.rows[sequence-1])
	return nil
}

// Drop removes a row behind the ledger's back, for tests of the chain.
func (m *Memory) Drop(sequence uint64) error {
	if sequence < 1 || sequence > uint64(len(m.rows)) {
		return errors.New("memory: no such row to drop")
	}
	m.rows = append(m.rows[:sequence-1], m.rows[sequence:]...)
	return nil
}
