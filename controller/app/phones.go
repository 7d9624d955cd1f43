package app

import (
	"errors"
	"time"

	"leat/controller"
	"leat/controller/store"
	"leat/controller/web"
)

// phones joins the page's trusted phones to the file.
type phones struct{ of store.Phones }

// Find looks a phone up; one that is not trusted is no error.
func (p phones) Find(hash string) (web.Phone, bool, error) {
	found, err := p.of.Find(hash)
	if errors.Is(err, store.ErrNoPhone) {
		return web.Phone{}, false, nil
	}
	return web.Phone(found), err == nil, err
}

// List is all trusted phones.
func (p phones) List() ([]web.Phone, error) {
	found, err := p.of.List()
	all := make([]web.Phone, 0, len(found))
	for _, phone := range found {
		all = append(all, web.Phone(phone))
	}
	return all, err
}

// Add trusts a phone.
func (p phones) Add(phone web.Phone) error { return p.of.Add(store.Phone(phone)) }

// See notes when a phone was last here.
func (p phones) See(id string, at time.Time) error { return p.of.See(id, at) }

// End trusts a phone no longer.
func (p phones) End(id string) error { return p.of.End(id) }

// passkeys joins the page's passkeys to the file.
type passkeys struct{ of store.Passkeys }

// Find looks a passkey up; one that is not there is no error.
func (p passkeys) Find(id string) (web.Passkey, bool, error) {
	found, err := p.of.Find(id)
	if errors.Is(err, store.ErrNoPasskey) {
		return web.Passkey{}, false, nil
	}
	return web.Passkey(found), err == nil, err
}

// List is all passkeys.
func (p passkeys) List() ([]web.Passkey, error) {
	found, err := p.of.List()
	all := make([]web.Passkey, 0, len(found))
	for _, k := range found {
		all = append(all, web.Passkey(k))
	}
	return all, err
}

// Add adds a passkey.
func (p passkeys) Add(k web.Passkey) error { return p.of.Add(store.Passkey(k)) }

// Use notes a signature.
func (p passkeys) Use(id string, count uint32, at time.Time) error { return p.of.Use(id, count, at) }

// End takes a passkey away.
func (p passkeys) End(id string) error { return p.of.End(id) }

// personOf is a person as the page knows them.
func personOf(p store.Person) web.Person {
	role, _ := controller.ParseRole(p.Role)
	given, _ := controller.ParseRole(p.Given.Role)
	return web.Person{Name: p.Name, Role: role, Hash: p.Hash, Language: p.Language, Given: web.Handover{Role: given, By: p.Given.By, Note: p.Given.Note, Until: p.Given.Until}}
}

// handing lends a role as the page asks for it.
func handing(db *store.DB) func(string, web.Handover) error {
	return func(name string, h web.Handover) error { return db.People().Hand(name, handoverOf(h)) }
}

// handoverOf is what is lent as the file keeps it; the zero one stays zero.
func handoverOf(h web.Handover) store.Handover {
	kept := store.Handover{By: h.By, Note: h.Note, Until: h.Until}
	if h.Role > controller.RoleNobody {
		kept.Role = h.Role.String()
	}
	return kept
}
