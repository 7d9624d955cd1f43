package store

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
	"unicode"
	"unicode/utf8"
)

// Person may sign in to the page.
type Person struct {
	Name  string
	Role  string // view, operate or engineer
	Hash  string // PHC string of argon2id, made by controller/web
	Added time.Time
	Given Handover
	// Language is that of the page, as de; empty = as the browser asks.
	Language string
}

// Handover lends a person a role until a time. The zero one lends none.
type Handover struct {
	Role, By, Note string
	Until          time.Time
}

// What can be wrong with a person.
var (
	ErrNobody = errors.New("there is no such person; leat user list shows who there is")
	ErrKnown  = errors.New("there is a person of that name already; remove that one first")
)

// People are those who may sign in. Names are compared without regard to the
// case of ASCII letters.
type People struct{ db *DB }

// People are the people of the page.
func (db *DB) People() People { return People{db} }

const longestName = 64

func checkName(name string) error {
	if name == "" || len(name) > longestName || !utf8.ValidString(name) {
		return fmt.Errorf("name %.80q: want 1 to %d bytes of text", name, longestName)
	}
	for _, r := range name {
		if !unicode.IsPrint(r) {
			return fmt.Errorf("name %q: has a character that cannot be seen", name)
		}
	}
	if name[0] == ' ' || name[len(name)-1] == ' ' {
		return fmt.Errorf("name %q: begins or ends with a space", name)
	}
	return nil
}

// Add adds a person. It keeps the strings as they are: the caller hashes the
// password and checks the role.
func (p People) Add(person Person) error {
	if err := checkName(person.Name); err != nil {
		return err
	}
	if person.Role == "" || person.Hash == "" {
		return fmt.Errorf("%s needs a role and a password", person.Name)
	}
	return p.db.inTransaction(func(tx *sql.Tx) error {
		added, err := tx.Exec(`INSERT INTO person (name, role, hash, added) VALUES (?, ?, ?, ?) ON CONFLICT (name) DO NOTHING`,
			person.Name, person.Role, person.Hash, person.Added.UTC().Format(time.RFC3339))
		return p.one(added, err, person.Name, ErrKnown)
	})
}

// Remove removes a person, with the phones and passkeys that let them in.
func (p People) Remove(name string) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		for _, kept := range []string{"phone", "passkey"} {
			if _, err := tx.Exec(`DELETE FROM `+kept+` WHERE person = ?`, name); err != nil {
				return err
			}
		}
		removed, err := tx.Exec(`DELETE FROM person WHERE name = ?`, name)
		return p.one(removed, err, name, ErrNobody)
	})
}

// Hand lends a person a role until a time, instead of what was lent before; the zero
// Handover takes it back.
func (p People) Hand(name string, given Handover) error {
	until := ""
	if !given.Until.IsZero() {
		until = given.Until.UTC().Format(time.RFC3339)
	}
	return p.db.inTransaction(func(tx *sql.Tx) error {
		handed, err := tx.Exec(`UPDATE person SET given = ?, given_by = ?, given_note = ?, given_until = ? WHERE name = ?`, given.Role, short(given.By), short(given.Note), until, name)
		return p.one(handed, err, name, ErrNobody)
	})
}

// Speak keeps the language in which a person reads the page.
func (p People) Speak(name, language string) error {
	return p.db.inTransaction(func(tx *sql.Tx) error {
		kept, err := tx.Exec(`UPDATE person SET language = ? WHERE name = ?`, short(language), name)
		return p.one(kept, err, name, ErrNobody)
	})
}

// one makes an error of a statement that should have touched one row.
func (People) one(result sql.Result, err error, name string, otherwise error) error {
	if err != nil {
		return err
	}
	if n, err := result.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return refusal{fmt.Errorf("%s: %w", name, otherwise)}
}

// refusal is an error of the request, not of the disk.
type refusal struct{ error }

func (r refusal) Unwrap() error { return r.error }

// Find looks a person up; ErrNobody if there is none.
func (p People) Find(name string) (Person, error) {
	row := p.db.read.QueryRow(`SELECT name, role, hash, added, given, given_by, given_note, given_until, language FROM person WHERE name = ?`, name)
	person, err := scanPerson(row)
	if errors.Is(err, sql.ErrNoRows) {
		return Person{}, fmt.Errorf("%s: %w", name, ErrNobody)
	}
	return person, err
}

// List is everybody, by name.
func (p People) List() ([]Person, error) {
	found, err := p.db.read.Query(`SELECT name, role, hash, added, given, given_by, given_note, given_until, language FROM person ORDER BY name`)
	if err != nil {
		return nil, fmt.Errorf("people: %w", err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var people []Person
	for found.Next() {
		person, err := scanPerson(found)
		if err != nil {
			return nil, err
		}
		people = append(people, person)
	}
	return people, found.Err()
}

func scanPerson(row interface{ Scan(...any) error }) (Person, error) {
	var person Person
	var added, until string
	given := &person.Given
	err := row.Scan(&person.Name, &person.Role, &person.Hash, &added, &given.Role, &given.By, &given.Note, &until, &person.Language)
	if err == nil {
		person.Added, err = time.Parse(time.RFC3339, added)
	}
	if err == nil && until != "" {
		given.Until, err = time.Parse(time.RFC3339, until)
	}
	if err != nil {
		return Person{}, fmt.Errorf("people: %w", err)
	}
	return person, nil
}
