package store

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"leat/dosing"
)

// ExportFile writes every kind of table into one new SQLite file, the dictionary with
// them. An unfinished file is taken away.
func (r *Record) ExportFile(path string, selection Selection) (err error) {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s exists already; name a new file", path)
	}
	if path, err = filepath.Abs(path); err != nil {
		return err
	}
	unfinished := path + ".unfinished"
	if err := removeIfThere(unfinished); err != nil {
		return err
	}
	into, err := sql.Open("sqlite", source(unfinished, "mode=rwc"))
	if err != nil {
		return err
	}
	err = exportInto(into, r, selection)
	if err = errors.Join(err, into.Close()); err != nil {
		return errors.Join(fmt.Errorf("%s: %w", path, err), removeIfThere(unfinished))
	}
	return os.Rename(unfinished, path)
}

func exportInto(into *sql.DB, r *Record, selection Selection) error {
	tx, err := into.Begin()
	if err != nil {
		return err
	}
	for _, kind := range ExportKinds {
		out := &sqlTable{tx: tx, name: kind}
		if err := errors.Join(tables[kind](export{r, selection, out}), out.end()); err != nil {
			return errors.Join(err, tx.Rollback())
		}
	}
	return tx.Commit()
}

// sqlTable is a table of a SQLite file.
type sqlTable struct {
	tx     *sql.Tx
	name   string
	insert *sql.Stmt
}

func (t *sqlTable) begin(columns ...string) error {
	names := make([]string, len(columns))
	for i, column := range columns {
		names[i] = `"` + column + `"` // of the dictionary
	}
	list := strings.Join(names, ", ")
	if _, err := t.tx.Exec(`CREATE TABLE ` + t.name + ` (` + list + `)`); err != nil {
		return err
	}
	var err error
	t.insert, err = t.tx.Prepare(`INSERT INTO ` + t.name + ` (` + list + `) VALUES (?` + strings.Repeat(", ?", len(columns)-1) + `)`)
	return err
}

func (t *sqlTable) row(cells ...any) error {
	values := make([]any, len(cells))
	for i, cell := range cells {
		switch v := cell.(type) {
		case dosing.Volume:
			values[i] = v.Millilitres()
		case time.Time:
			values[i] = plain(v)
		case uint64:
			values[i] = int64(v)
		default:
			values[i] = cell
		}
	}
	_, err := t.insert.Exec(values...)
	return err
}

func (t *sqlTable) end() error {
	if t.insert == nil {
		return nil
	}
	return t.insert.Close()
}
