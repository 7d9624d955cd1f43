package store

import (
	"errors"
	"fmt"
	"testing"
	"time"
)

func TestPhonesAndPasskeysLastARestartAreBoundedAndGoWithTheirOwner(t *testing.T) {
	d := newDisk(t)
	db := d.open(t)
	if err := db.People().Add(Person{Name: "Ada", Role: "view", Hash: "x", Added: evening}); err != nil {
		t.Fatal(err)
	}
	for i := range mostPhones + 1 {
		seen := evening.Add(time.Duration(i) * time.Minute)
		if err := PhonesOf(db).Add(Phone{ID: fmt.Sprint(i), Person: "Ada", Hash: fmt.Sprint("h", i), Device: "iPhone, Safari", Added: evening, Seen: seen, Until: evening.AddDate(0, 6, 0)}); err != nil {
			t.Fatal(err)
		}
		err := PasskeysOf(db).Add(Passkey{ID: fmt.Sprint("k", i), Person: "Ada", Site: "farm", Device: "iPhone, Safari", Key: []byte{1}, Added: evening, Used: evening})
		if many := errors.Is(err, ErrManyPasskeys); many != (i >= mostPasskeys) || err != nil && !many {
			t.Errorf("passkey %d: %v", i, err)
		}
	}
	db = d.open(t)
	if _, err := PhonesOf(db).Find("h0"); !errors.Is(err, ErrNoPhone) {
		t.Errorf("the phone that was seen longest ago: %v", err)
	}
	if phone, err := PhonesOf(db).Find("h1"); err != nil || phone.Person != "Ada" || !phone.Until.Equal(evening.AddDate(0, 6, 0)) {
		t.Errorf("after a restart: %+v, %v", phone, err)
	}
	for _, use := range []struct {
		count uint32
		good  bool
	}{{0, true}, {0, true}, {5, true}, {5, false}, {4, false}, {0, false}, {6, true}} {
		if err := PasskeysOf(db).Use("k0", use.count, evening); (err == nil) != use.good {
			t.Errorf("count %d: %v", use.count, err)
		}
	}
	if err := db.People().Remove("ada"); err != nil {
		t.Fatal(err)
	}
	phones, err := PhonesOf(db).List()
	keys, err2 := PasskeysOf(db).List()
	if len(phones)+len(keys) > 0 || err != nil || err2 != nil {
		t.Errorf("left of who was removed: %+v %+v (%v, %v)", phones, keys, err, err2)
	}
}

func TestWhatIsLentLastsARestartAndIsTakenBack(t *testing.T) {
	d := newDisk(t)
	people := d.open(t).People()
	if err := people.Add(Person{Name: "Ada", Role: "view", Hash: "x", Added: evening}); err != nil {
		t.Fatal(err)
	}
	lent := Handover{Role: "operate", By: "Ben", Note: "the acid", Until: evening.Add(time.Hour)}
	if err := people.Hand("ada", lent); err != nil {
		t.Fatal(err)
	}
	people = d.open(t).People()
	if got, err := people.Find("Ada"); err != nil || got.Given != lent {
		t.Errorf("%+v, %v", got, err)
	}
	if err := people.Hand("Ada", Handover{}); err != nil {
		t.Fatal(err)
	}
	if got, err := people.Find("Ada"); err != nil || got.Given != (Handover{}) {
		t.Errorf("taken back: %+v, %v", got, err)
	}
	if err := people.Hand("Eve", lent); !errors.Is(err, ErrNobody) {
		t.Errorf("to nobody: %v", err)
	}
}
