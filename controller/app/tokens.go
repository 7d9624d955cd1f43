package app

import (
	"errors"

	"leat/controller"
	"leat/controller/store"
	"leat/controller/web"
)

// tokens joins the page's tokens to the file.
type tokens struct{ of store.Tokens }

func tokenOf(t store.Token) web.Token {
	role, _ := controller.ParseRole(t.Role)
	return web.Token{Name: t.Name, Role: role, Hash: t.Hash, Added: t.Added, Until: t.Until}
}

// Find looks a token up; one that is not there is no error.
func (t tokens) Find(hash string) (web.Token, bool, error) {
	found, err := t.of.Find(hash)
	if errors.Is(err, store.ErrNoToken) {
		return web.Token{}, false, nil
	}
	return tokenOf(found), err == nil, err
}

// List is all tokens.
func (t tokens) List() ([]web.Token, error) {
	found, err := t.of.List()
	all := make([]web.Token, 0, len(found))
	for _, token := range found {
		all = append(all, tokenOf(token))
	}
	return all, err
}

// Add adds a token.
func (t tokens) Add(token web.Token) error {
	return t.of.Add(store.Token{Name: token.Name, Role: token.Role.String(), Hash: token.Hash, Added: token.Added, Until: token.Until})
}

// End takes a token away.
func (t tokens) End(name string) error { return t.of.End(name) }
