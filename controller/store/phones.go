package store

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Phone is a browser that a person trusts. Its secret is not kept, only its hash.
type Phone struct {
	ID, Person, Hash, Device string
	Added, Seen, Until       time.Time
}

// ErrNoPhone is of a phone that is not, or no longer, trusted.
var ErrNoPhone = errors.New("there is no such trusted phone")

// Phones are the browsers that people trust.
type Phones struct{ db *DB }

// PhonesOf are the trusted phones of a file.
func PhonesOf(db *DB) Phones { return Phones{db} }

// mostPhones bounds the phones of one person; the one that was seen longest ago goes first.
const mostPhones = 8

// Add trusts a phone.
func (p Phones) Add(phone Phone) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		if _, err := tx.Exec(`INSERT INTO phone (id, person, hash, device, added, seen, until) VALUES (?, ?, ?, ?, ?, ?, ?)`, phone.ID, phone.Person, phone.Hash, short(phone.Device),
			phone.Added.UTC().Format(time.RFC3339), phone.Seen.UTC().Format(time.RFC3339), phone.Until.UTC().Format(time.RFC3339)); err != nil {
			return err
		}
		_, err := tx.Exec(`DELETE FROM phone WHERE person = ?1 AND id NOT IN (SELECT id FROM phone WHERE person = ?1 ORDER BY seen DESC, rowid DESC LIMIT ?2)`, phone.Person, mostPhones)
		return err
	})
}

// See notes when a phone was last here.
func (p Phones) See(id string, at time.Time) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		seen, err := tx.Exec(`UPDATE phone SET seen = ? WHERE id = ?`, at.UTC().Format(time.RFC3339), id)
		return People{}.one(seen, err, id, ErrNoPhone)
	})
}

// End trusts a phone no longer.
func (p Phones) End(id string) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		ended, err := tx.Exec(`DELETE FROM phone WHERE id = ?`, id)
		return People{}.one(ended, err, id, ErrNoPhone)
	})
}

// Find looks a phone up by the hash of its secret; ErrNoPhone if there is none.
func (p Phones) Find(hash string) (Phone, error) {
	all, err := p.phones(`WHERE hash = ?`, hash)
	if err == nil && len(all) == 0 {
		err = ErrNoPhone
	}
	if err != nil {
		return Phone{}, err
	}
	return all[0], nil
}

// List is all phones, by person.
func (p Phones) List() ([]Phone, error) { return p.phones(`ORDER BY person, added`) }

func (p Phones) phones(where string, args ...any) ([]Phone, error) {
	found, err := p.db.read.Query(`SELECT id, person, hash, device, added, seen, until FROM phone `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("phones: %w", err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var all []Phone
	for found.Next() {
		var phone Phone
		var at [3]string
		if err := found.Scan(&phone.ID, &phone.Person, &phone.Hash, &phone.Device, &at[0], &at[1], &at[2]); err != nil {
			return nil, fmt.Errorf("phones: %w", err)
		}
		for i, into := range []*time.Time{&phone.Added, &phone.Seen, &phone.Until} {
			if *into, err = time.Parse(time.RFC3339, at[i]); err != nil {
				return nil, fmt.Errorf("phones: %w", err)
			}
		}
		all = append(all, phone)
	}
	return all, found.Err()
}
