package store

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Passkey is the public half of a key that a person's device holds.
type Passkey struct {
	ID, Person, Site, Device string
	Key                      []byte
	Count                    uint32
	Added, Used              time.Time
}

// What can be wrong with a passkey.
var (
	ErrNoPasskey    = errors.New("there is no such passkey")
	ErrPasskeyKnown = errors.New("this passkey is known already")
	ErrManyPasskeys = fmt.Errorf("there are %d passkeys of this person already; end one first", mostPasskeys)
)

// Passkeys are those of all people.
type Passkeys struct{ db *DB }

// PasskeysOf are the passkeys of a file.
func PasskeysOf(db *DB) Passkeys { return Passkeys{db} }

// mostPasskeys bounds the passkeys of one person.
const mostPasskeys = 8

// Add adds a passkey.
func (p Passkeys) Add(k Passkey) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		var have int
		if err := tx.QueryRow(`SELECT count(*) FROM passkey WHERE person = ?`, k.Person).Scan(&have); err != nil {
			return err
		}
		if have >= mostPasskeys {
			return refusal{ErrManyPasskeys}
		}
		added, err := tx.Exec(`INSERT INTO passkey (id, person, site, device, key, count, added, used) VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO NOTHING`,
			k.ID, k.Person, k.Site, short(k.Device), k.Key, k.Count, k.Added.UTC().Format(time.RFC3339), k.Used.UTC().Format(time.RFC3339))
		return People{}.one(added, err, k.Device, ErrPasskeyKnown)
	})
}

// Use notes a signature: a count that was reached already is that of a copy, and an error.
func (p Passkeys) Use(id string, count uint32, at time.Time) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		used, err := tx.Exec(`UPDATE passkey SET count = ?2, used = ?3 WHERE id = ?1 AND (count < ?2 OR count = 0 AND ?2 = 0)`, id, count, at.UTC().Format(time.RFC3339))
		return People{}.one(used, err, "a signature that was counted before", ErrNoPasskey)
	})
}

// End takes a passkey away.
func (p Passkeys) End(id string) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		ended, err := tx.Exec(`DELETE FROM passkey WHERE id = ?`, id)
		return People{}.one(ended, err, id, ErrNoPasskey)
	})
}

// Find looks a passkey up by its id; ErrNoPasskey if there is none.
func (p Passkeys) Find(id string) (Passkey, error) {
	all, err := p.passkeys(`WHERE id = ?`, id)
	if err == nil && len(all) == 0 {
		err = ErrNoPasskey
	}
	if err != nil {
		return Passkey{}, err
	}
	return all[0], nil
}

// List is all passkeys, by person.
func (p Passkeys) List() ([]Passkey, error) { return p.passkeys(`ORDER BY person, added`) }

func (p Passkeys) passkeys(where string, args ...any) ([]Passkey, error) {
	found, err := p.db.read.Query(`SELECT id, person, site, device, key, count, added, used FROM passkey `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("passkeys: %w", err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var all []Passkey
	for found.Next() {
		var k Passkey
		var added, used string
		err := found.Scan(&k.ID, &k.Person, &k.Site, &k.Device, &k.Key, &k.Count, &added, &used)
		if err == nil {
			k.Added, err = time.Parse(time.RFC3339, added)
		}
		if err == nil {
			k.Used, err = time.Parse(time.RFC3339, used)
		}
		if err != nil {
			return nil, fmt.Errorf("passkeys: %w", err)
		}
		all = append(all, k)
	}
	return all, found.Err()
}
