package store

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"leat/safety/ledger"
)

// place is the files of the record as leat left them. An open file can be written
// long after it was moved, deleted or overwritten: every append would succeed, and
// the next start would find none of them.
type place struct {
	files []placed
}

type placed struct {
	path  string
	alone bool // nobody but leat ever changes its content
	known *identity
}

func newPlace(database string) place {
	return place{files: []placed{{path: database, alone: true}, {path: database + "-wal", alone: true}, {path: database + "-shm"},
		{path: filepath.Join(filepath.Dir(database), headName), alone: true}}}
}

// note remembers the files after a write of our own. A file that is not there keeps
// what was known of it.
func (p *place) note() {
	for i := range p.files {
		if id, err := identityOf(p.files[i].path); err == nil {
			p.files[i].known = &id
		}
	}
}

// look compares the files with what note saw: gone says which of them is no longer
// the one that leat writes, changed that somebody else wrote into one.
func (p *place) look() (gone error, changed bool) {
	for i := range p.files {
		f := &p.files[i]
		if f.known == nil {
			continue
		}
		switch id, err := identityOf(f.path); {
		case errors.Is(err, fs.ErrNotExist):
			return fmt.Errorf("%s was moved or deleted while leat ran", f.path), false
		case err != nil:
			return err, false
		case !id.sameFile(*f.known):
			return fmt.Errorf("%s was replaced by another file while leat ran", f.path), false
		case f.alone && !id.unchanged(*f.known):
			changed = true
		}
	}
	return nil, changed
}

// inPlace says whether what is written now will be found at the next start. Where
// somebody else wrote into the files, as leat user does, the whole chain must still
// end with the row that was acknowledged last.
func (db *DB) inPlace() error {
	gone, changed := db.place.look()
	if gone != nil {
		return db.fail(gone)
	}
	if !changed {
		return nil
	}
	if err := db.intact(); err != nil {
		return db.fail(fmt.Errorf("the record was overwritten while leat ran: %w", err))
	}
	db.place.note()
	return nil
}

// intact reads the record anew, past what this process holds of it in memory.
func (db *DB) intact() error {
	fresh, err := OpenReader(filepath.Dir(db.path))
	if err != nil {
		return err
	}
	defer func() { _ = fresh.Close() }() // nothing was written
	last, _, err := ledger.Verify(fresh, func(ledger.Entry) error { return nil })
	if err == nil && last != db.last {
		err = fmt.Errorf("it ends with row %d, not %d", last, db.last)
	}
	return err
}
