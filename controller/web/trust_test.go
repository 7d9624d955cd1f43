package web

import (
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"leat/controller"
	"leat/safety"
)

// keeping keeps phones, passkeys and what is lent in memory.
type keeping struct {
	sync.Mutex
	phones []Phone
	keys   []Passkey
}

type keptPhones struct{ *keeping }

func (k keptPhones) Find(hash string) (Phone, bool, error) {
	k.Lock()
	defer k.Unlock()
	for _, p := range k.phones {
		if p.Hash == hash {
			return p, true, nil
		}
	}
	return Phone{}, false, nil
}

func (k keptPhones) List() ([]Phone, error) {
	k.Lock()
	defer k.Unlock()
	return append([]Phone(nil), k.phones...), nil
}

func (k keptPhones) Add(p Phone) error {
	k.Lock()
	defer k.Unlock()
	k.phones = append(k.phones, p)
	return nil
}

func (k keptPhones) See(string, time.Time) error { return nil }

func (k keptPhones) End(id string) error {
	k.Lock()
	defer k.Unlock()
	for i, p := range k.phones {
		if p.ID == id {
			k.phones = append(k.phones[:i], k.phones[i+1:]...)
			return nil
		}
	}
	return http.ErrMissingFile
}

type keptKeys struct{ *keeping }

func (k keptKeys) Find(id string) (Passkey, bool, error) {
	k.Lock()
	defer k.Unlock()
	for _, p := range k.keys {
		if p.ID == id {
			return p, true, nil
		}
	}
	return Passkey{}, false, nil
}

func (k keptKeys) List() ([]Passkey, error) {
	k.Lock()
	defer k.Unlock()
	return append([]Passkey(nil), k.keys...), nil
}

func (k keptKeys) Add(p Passkey) error {
	k.Lock()
	defer k.Unlock()
	k.keys = append(k.keys, p)
	return nil
}

func (k keptKeys) Use(id string, count uint32, at time.Time) error {
	k.Lock()
	defer k.Unlock()
	for i := range k.keys {
		if p := &k.keys[i]; p.ID == id && (p.Count < count || p.Count == 0 && count == 0) {
			p.Count, p.Used = count, at
			return nil
		}
	}
	return http.ErrMissingFile
}

func (k keptKeys) End(id string) error {
	k.Lock()
	defer k.Unlock()
	for i, p := range k.keys {
		if p.ID == id {
			k.keys = append(k.keys[:i], k.keys[i+1:]...)
			return nil
		}
	}
	return http.ErrMissingFile
}

// trusting is a house that trusts phones, takes passkeys and lends roles.
func trusting(t *testing.T) (*house, *keeping) {
	k := &keeping{}
	var h *house
	h = newHouse(t, func(o *Options) {
		o.Phones, o.Passkeys, o.Tokens = keptPhones{k}, keptKeys{k}, &shelf{}
		o.Hand = func(name string, given Handover) error {
			p, _ := h.people.Load(name)
			person := p.(Person)
			person.Given = given
			h.people.Store(name, person)
			return nil
		}
	})
	return h, k
}

// restarted forgets all sessions, as a restart of the daemon does.
func (h *house) restarted() {
	h.sessions.mu.Lock()
	defer h.sessions.mu.Unlock()
	clear(h.sessions.byToken)
}

// later makes all proofs of identity older.
func (h *house) later(by time.Duration) {
	h.sessions.mu.Lock()
	defer h.sessions.mu.Unlock()
	for token, held := range h.sessions.byToken {
		held.proved = held.proved.Add(-by)
		h.sessions.byToken[token] = held
	}
}

func (h *house) wasAsked() (kinds []string) {
	for _, r := range h.asked {
		kinds = append(kinds, r.Kind.String())
	}
	return kinds
}

func TestATrustedPhoneLooksPausesAndStopsAfterARestartAndProvesItselfToLetMoreHappen(t *testing.T) {
	h, _ := trusting(t)
	b := h.browser(t)
	b.post("/signin", url.Values{"name": {"mara"}, "password": {password}, "trust": {"yes"}})
	h.restarted()
	if _, page := b.get("/tank/north"); !strings.Contains(page, "5.93") {
		t.Fatalf("after a restart the trusted phone sees no tank:\n%s", page)
	}
	b.get("/tank/north/change")
	for _, deed := range []string{"acknowledge", "pause", "stop"} {
		if _, page := b.post("/ask", url.Values{"do": {deed}, "tank": {"north"}, "cause": {"leak"}}); !strings.Contains(page, "<h2>Accepted") {
			t.Errorf("%s: %s", deed, page)
		}
	}
	before := len(h.wasAsked())
	for _, deed := range []string{"arm", "clear", "resume", "confirm-water", "setpoint", "hand-dose", "shelve", "refill"} {
		code, page := b.post("/ask", url.Values{"do": {deed}, "tank": {"north"}, "value": {"5.9"}, "quantity": {"ph"}, "note": {"from bed"}})
		if code != http.StatusOK || !strings.Contains(page, "Say who you are") || !strings.Contains(page, "What you typed is kept") {
			t.Errorf("%s of a phone alone: %d\n%s", deed, code, page)
		}
	}
	for path, form := range map[string]url.Values{"/people/token": {"name": {"x"}, "role": {"view"}, "days": {"3"}}, "/people/hand": {"name": {"visitor"}, "role": {"operate"}, "until": {"2h"}}} {
		if _, page := b.post(path, form); !strings.Contains(page, "Say who you are") {
			t.Errorf("%s of a phone alone:\n%s", path, page)
		}
	}
	if now := h.wasAsked(); len(now) != before {
		t.Fatalf("without proof the core was asked %v", now[before:])
	}
	b.get("/tank/north/change")
	b.post("/ask", url.Values{"do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {"5.9"}, "note": {"from bed"}})
	_, page := b.post("/signin", url.Values{"name": {"mara"}, "password": {password}, "to": {"/tank/north/change"}})
	want(t, page, `value="5.9"`, "from bed", "you were asked who you are")
	if _, page = b.post("/ask", url.Values{"do": {"setpoint"}, "tank": {"north"}, "quantity": {"ph"}, "value": {"5.9"}}); !strings.Contains(page, "<h2>Accepted") {
		t.Errorf("proven, and refused:\n%s", page)
	}
	h.later(proofHolds)
	if _, page = b.post("/ask", url.Values{"do": {"arm"}, "tank": {"north"}}); !strings.Contains(page, "Say who you are") {
		t.Errorf("an hour later it arms:\n%s", page)
	}
}

func TestAPausedTankIsNotPausedForLessByAPhoneAlone(t *testing.T) {
	h, _ := trusting(t)
	v := sampleView()
	v.Tanks[0].Holds = append(v.Tanks[0].Holds, controller.HoldView{Cause: safety.CauseOperatorPause, Action: safety.Hold})
	h.show(v)
	b := h.browser(t)
	b.post("/signin", url.Values{"name": {"mara"}, "password": {password}, "trust": {"yes"}})
	b.get("/tank/north/change")
	h.later(proofHolds)
	if _, page := b.post("/ask", url.Values{"do": {"pause"}, "tank": {"north"}, "until": {"1 min"}}); !strings.Contains(page, "Say who you are") {
		t.Errorf("a pause was shortened:\n%s", page)
	}
}

func TestTrustInAPhoneEndsFromAnotherDeviceByRemovalByCopyAndByTime(t *testing.T) {
	h, k := trusting(t)
	trusted := func() *browser {
		b := h.browser(t)
		b.post("/signin", url.Values{"name": {"visitor"}, "password": {password}, "trust": {"yes"}})
		return b
	}
	out := func(b *browser, why string) {
		t.Helper()
		if _, page := b.get("/"); strings.Contains(page, "5.93") {
			t.Errorf("%s: the phone is still let in", why)
		}
	}
	lost := trusted()
	mara := h.browser(t)
	mara.signIn("mara", password)
	_, page := mara.get("/people")
	want(t, page, "Trusted phones", "Trust this phone of visitor no longer")
	mara.post("/people/phone/end", url.Values{"phone": {k.phones[0].ID}})
	out(lost, "ended by an engineer")

	signedOut := trusted()
	signedOut.post("/signout", nil)
	out(signedOut, "signed out")
	if len(k.phones) != 0 {
		t.Errorf("kept: %+v", k.phones)
	}

	copied := trusted()
	h.restarted()
	request, _ := http.NewRequest(http.MethodGet, copied.base+"/", nil)
	request.Header.Set("User-Agent", "Mozilla/5.0 (Windows NT 10.0) Chrome/1 Safari/1")
	if _, page := copied.read(copied.Do(request)); strings.Contains(page, "5.93") {
		t.Error("a copied cookie lets another kind of device in")
	}
	k.phones[0].Until = time.Now()
	out(copied, "its time is up")

	gone := trusted()
	h.restarted()
	h.people.Delete("visitor")
	out(gone, "its owner was removed")

	other := h.browser(t)
	if code, _ := other.post("/people/phone/end", url.Values{"phone": {"x"}}); code != http.StatusOK { // the sign-in
		t.Errorf("a stranger ends a phone: %d", code)
	}
}

func TestAnotherPersonsPhoneIsNotEndedByWhoIsNoEngineer(t *testing.T) {
	h, k := trusting(t)
	b := h.browser(t)
	b.post("/signin", url.Values{"name": {"mara"}, "password": {password}, "trust": {"yes"}})
	visitor := h.browser(t)
	visitor.signIn("visitor", password)
	if code, _ := visitor.post("/people/phone/end", url.Values{"phone": {k.phones[0].ID}}); code != http.StatusNotFound || len(k.phones) != 1 {
		t.Errorf("code %d, %d phones left", code, len(k.phones))
	}
}

func TestWhatIsLentToAHelperLowersItselfWhenTheTimeIsUp(t *testing.T) {
	h, _ := trusting(t)
	mara, helper := h.browser(t), h.browser(t)
	mara.signIn("mara", password)
	helper.signIn("visitor", password)
	stop := func() string {
		helper.get("/tank/north/change")
		_, page := helper.post("/ask", url.Values{"do": {"mark"}, "tank": {"north"}, "note": {"here"}, "once": {h.once.id()}})
		return page
	}
	if page := stop(); !strings.Contains(page, "needs the role") {
		t.Fatalf("before: %s", page)
	}
	_, page := mara.post("/people/hand", url.Values{"name": {"visitor"}, "role": {"operate"}, "until": {"2h"}, "note": {"Refill the acid on Sunday."}})
	want(t, page, "visitor may operate until", "and view again from then on by itself")
	_, page = mara.get("/people")
	want(t, page, "lent operate by mara until", "Take back what visitor was lent")
	_, page = helper.get("/")
	want(t, page, "Handed over to you by mara until", "Refill the acid on Sunday.")
	if page := stop(); !strings.Contains(page, "<h2>Accepted") {
		t.Errorf("while it holds: %s", page)
	}
	if strings.Join(h.deeds, "\n") == "" || !strings.Contains(strings.Join(h.deeds, "\n"), "mara page handed over to visitor, operate until") {
		t.Errorf("on record: %q", h.deeds)
	}
	p, _ := h.people.Load("visitor")
	person := p.(Person)
	person.Given.Until = time.Now()
	h.people.Store("visitor", person)
	if page := stop(); !strings.Contains(page, "needs the role") {
		t.Errorf("after it: %s", page)
	}
	if _, page := helper.get("/"); strings.Contains(page, "Handed over to you") || !strings.Contains(page, "5.93") {
		t.Errorf("after it the note stands, or the helper sees nothing:\n%s", page)
	}
}

func TestWhoWasLentARoleLendsItNotOnAndNobodyIsLentForEver(t *testing.T) {
	h, _ := trusting(t)
	p, _ := h.people.Load("visitor")
	person := p.(Person)
	person.Given = Handover{Role: controller.RoleEngineer, By: "mara", Until: time.Now().Add(time.Hour)}
	h.people.Store("visitor", person)
	helper, mara := h.browser(t), h.browser(t)
	helper.signIn("visitor", password)
	mara.signIn("mara", password)
	if code, _ := helper.post("/people/hand", url.Values{"name": {"visitor"}, "role": {"engineer"}, "until": {"48h"}}); code != http.StatusForbidden {
		t.Errorf("the helper lends on: %d", code)
	}
	for _, bad := range []url.Values{
		{"name": {"visitor"}, "role": {"operate"}, "until": {"800h"}}, {"name": {"visitor"}, "role": {"operate"}, "until": {"2020-01-01T10:00"}},
		{"name": {"visitor"}, "role": {"operate"}, "until": {""}}, {"name": {"visitor"}, "role": {"view"}, "until": {"2h"}},
		{"name": {"nobody"}, "role": {"operate"}, "until": {"2h"}}, {"name": {"mara"}, "role": {"engineer"}, "until": {"2h"}}} {
		if code, page := mara.post("/people/hand", bad); code != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d\n%s", bad, code, page)
		}
	}
	mara.post("/people/hand/end", url.Values{"name": {"visitor"}})
	if code, _ := helper.post("/people/token", url.Values{"name": {"x"}}); code != http.StatusForbidden {
		t.Errorf("taken back, and still engineer: %d", code)
	}
}
