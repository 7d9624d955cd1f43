package store

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Token lets a program in. Its secret is not kept, only its hash.
type Token struct {
	Name, Role, Hash string
	Added, Until     time.Time
}

// What can be wrong with a token.
var (
	ErrNoToken    = errors.New("there is no such token")
	ErrTokenKnown = errors.New("there is a token of that name already; end that one first")
)

// Tokens are the tokens of programs.
type Tokens struct{ db *DB }

// TokensOf are the tokens of a file.
func TokensOf(db *DB) Tokens { return Tokens{db} }

// mostTokens bounds the list.
const mostTokens = 64

// Add adds a token.
func (t Tokens) Add(token Token) error {
	if err := checkName(token.Name); err != nil {
		return err
	}
	all, err := t.List()
	if err != nil {
		return err
	}
	if len(all) >= mostTokens {
		return fmt.Errorf("there are %d tokens already; end one first", mostTokens)
	}
	return t.db.inTransaction(func(tx *sql.Tx) error {
		added, err := tx.Exec(`INSERT INTO token (name, role, hash, added, until) VALUES (?, ?, ?, ?, ?) ON CONFLICT (name) DO NOTHING`,
			token.Name, token.Role, token.Hash, token.Added.UTC().Format(time.RFC3339), token.Until.UTC().Format(time.RFC3339))
		return People{}.one(added, err, token.Name, ErrTokenKnown)
	})
}

// End takes a token away.
func (t Tokens) End(name string) error {
	return t.db.inTransaction(func(tx *sql.Tx) error {
		ended, err := tx.Exec(`DELETE FROM token WHERE name = ?`, name)
		return People{}.one(ended, err, name, ErrNoToken)
	})
}

// Find looks a token up by the hash of its secret; ErrNoToken if there is none.
func (t Tokens) Find(hash string) (Token, error) {
	all, err := t.tokens(`WHERE hash = ?`, hash)
	if err == nil && len(all) == 0 {
		err = ErrNoToken
	}
	if err != nil {
		return Token{}, err
	}
	return all[0], nil
}

// List is all tokens, by name.
func (t Tokens) List() ([]Token, error) { return t.tokens(`ORDER BY name`) }

func (t Tokens) tokens(where string, args ...any) ([]Token, error) {
	found, err := t.db.read.Query(`SELECT name, role, hash, added, until FROM token `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("tokens: %w", err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var all []Token
	for found.Next() {
		var token Token
		var added, until string
		err := found.Scan(&token.Name, &token.Role, &token.Hash, &added, &until)
		if err == nil {
			token.Added, err = time.Parse(time.RFC3339, added)
		}
		if err == nil {
			token.Until, err = time.Parse(time.RFC3339, until)
		}
		if err != nil {
			return nil, fmt.Errorf("tokens: %w", err)
		}
		all = append(all, token)
	}
	return all, found.Err()
}
