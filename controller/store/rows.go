package store

import (
	"fmt"

	"leat/safety/ledger"
)

// Append makes the row durable before it returns nil, in the files that the next
// start will open.
func (db *DB) Append(row ledger.Row) error {
	db.turn.Lock()
	defer db.turn.Unlock()
	if err := db.writable(); err != nil {
		return err
	}
	if row.Sequence != db.last+1 {
		return db.fail(fmt.Errorf("row %d does not follow row %d", row.Sequence, db.last))
	}
	// Without a transaction around it, the statement is one: a single sync.
	done, err := db.insert.Exec(int64(row.Sequence), string(row.Body), row.Previous[:], row.Hash[:])
	if err != nil {
		return fmt.Errorf("row %d: %w", row.Sequence, db.classify(err))
	}
	if written, err := done.RowsAffected(); err != nil || written != 1 {
		return db.fail(fmt.Errorf("the record was overwritten while leat ran: row %d is not there any more as it was written", row.Sequence-1))
	}
	db.last = row.Sequence
	if err := db.head.write(row.Sequence, row.Hash); err != nil {
		// This row is durable; the disk is not to be trusted with the next.
		_ = db.fail(err)
	}
	db.place.note()
	return nil
}

// batch is how many rows Load reads at a time. A read that stayed open would keep
// SQLite from reusing its log, which would grow for as long as a slow reader
// prints.
const batch = 512

// Load calls each for every row from the given sequence on.
func (r *Record) Load(from uint64, each func(ledger.Row) error) error {
	rows := make([]ledger.Row, 0, batch)
	for {
		var err error
		if rows, err = r.loadBatch(from, rows[:0]); err != nil {
			return fmt.Errorf("reading the ledger from row %d: %w", from, err)
		}
		for _, row := range rows {
			if err := each(row); err != nil {
				return err
			}
			from = row.Sequence + 1
		}
		if len(rows) < batch {
			return nil
		}
	}
}

func (r *Record) loadBatch(from uint64, into []ledger.Row) ([]ledger.Row, error) {
	found, err := r.read.Query(`SELECT sequence, body, previous, hash FROM ledger WHERE sequence >= ? ORDER BY sequence LIMIT ?`,
		int64(from), batch)
	if err != nil {
		return nil, err
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	for found.Next() {
		var sequence int64
		var body, previous, hash []byte
		if err := found.Scan(&sequence, &body, &previous, &hash); err != nil {
			return nil, err
		}
		row := ledger.Row{Sequence: uint64(sequence), Body: body}
		// A hash of another length stays as it can and fails the chain's check.
		copy(row.Previous[:], previous)
		copy(row.Hash[:], hash)
		into = append(into, row)
	}
	return into, found.Err()
}

// newest is the last row's number; 0 = there is none.
func (r *Record) newest() (sequence int64, err error) {
	err = r.read.QueryRow(`SELECT coalesce(max(sequence), 0) FROM ledger`).Scan(&sequence)
	return sequence, err
}

// Newest is the number and hash of the newest row of a folder's ledger; zeros for none.
func Newest(r *Record) (sequence uint64, hash [32]byte, err error) {
	last, err := r.newest()
	if err != nil || last == 0 {
		return 0, hash, err
	}
	err = r.Load(uint64(last), func(row ledger.Row) error {
		sequence, hash = row.Sequence, row.Hash
		return nil
	})
	return sequence, hash, err
}

// checkHead compares the newest row with the witness. Rows behind the witness
// are what a crash between the two writes leaves; a witness ahead of the rows
// means that acknowledged rows are gone.
func (r *Record) checkHead(head *headFile) (last uint64, err error) {
	newest, err := r.newest()
	if err != nil {
		return 0, fmt.Errorf("%s: %w", r.path, err)
	}
	last = uint64(newest)
	if !head.known {
		return last, nil
	}
	if head.sequence > last {
		return 0, fmt.Errorf("%w: %s ends with row %d, but row %d was acknowledged (%s): an older copy was put back, or the end was lost; "+
			"doses given since are not in it. If you put back a backup on purpose, and every pump node has been restarted, remove %s",
			ledger.ErrBroken, r.path, last, head.sequence, headName, headName)
	}
	var sum []byte
	if head.sequence > 0 {
		if err := r.read.QueryRow(`SELECT hash FROM ledger WHERE sequence = ?`, int64(head.sequence)).Scan(&sum); err != nil {
			return 0, fmt.Errorf("%w: row %d, which was acknowledged: %w", ledger.ErrBroken, head.sequence, err)
		}
		if string(sum) != string(head.hash[:]) {
			return 0, fmt.Errorf("%w: row %d is not the one that was acknowledged (%s): the file was exchanged or edited",
				ledger.ErrBroken, head.sequence, headName)
		}
	}
	return last, nil
}
