package web

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
)

// device is one that holds a key, written by the standard and not by what reads it.
type device struct {
	private      *ecdsa.PrivateKey
	id           []byte
	count        uint32
	host, origin string
	flags        byte
}

func packed(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

func newDevice(t *testing.T, base string) *device {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return &device{private: private, id: []byte("key-of-a-test-01"), host: "127.0.0.1", origin: base, flags: 1 | 4}
}

func (d *device) client(kind, challenge string) []byte {
	text, _ := json.Marshal(map[string]any{"type": kind, "challenge": challenge, "origin": d.origin, "crossOrigin": false})
	return text
}

func (d *device) said(flags byte) []byte {
	d.count++
	host := sha256.Sum256([]byte(d.host))
	return binary.BigEndian.AppendUint32(append(host[:], flags), d.count)
}

func (d *device) create(challenge string) url.Values {
	public, _ := x509.MarshalPKIXPublicKey(&d.private.PublicKey)
	said := append(d.said(d.flags|64), make([]byte, 16)...)
	said = append(binary.BigEndian.AppendUint16(said, uint16(len(d.id))), d.id...)
	return url.Values{"id": {packed(d.id)}, "client": {packed(d.client("webauthn.create", challenge))}, "device": {packed(said)}, "key": {packed(public)}}
}

func (d *device) get(challenge string) url.Values {
	client, said := d.client("webauthn.get", challenge), d.said(d.flags)
	hash := sha256.Sum256(client)
	sum := sha256.Sum256(append(append([]byte(nil), said...), hash[:]...))
	signature, _ := ecdsa.SignASN1(rand.Reader, d.private, sum[:])
	return url.Values{"id": {packed(d.id)}, "client": {packed(client)}, "device": {packed(said)}, "signature": {packed(signature)}}
}

func (b *browser) challenge() string {
	_, text := b.post("/passkey/challenge", nil)
	var asked struct{ Challenge string }
	if err := json.Unmarshal([]byte(text), &asked); err != nil {
		b.t.Fatal(err)
	}
	return asked.Challenge
}

func TestAPasskeyLetsItsOwnerInAndNothingThatIsBentDoes(t *testing.T) {
	h, k := trusting(t)
	mara := h.browser(t)
	mara.signIn("mara", password)
	d := newDevice(t, mara.base)
	if _, page := mara.post("/people/passkey", d.create(mara.challenge())); !strings.Contains(page, "lets mara in without a password") {
		t.Fatalf("not added:\n%s", page)
	}
	in := func(word url.Values) bool {
		h.sessions.attempts.forgive("127.0.0.1", "a passkey")
		h.sessions.attempts.forgive("127.0.0.1", "")
		clear(h.sessions.attempts.made)
		b := h.browser(t)
		_, page := b.post("/passkey", word)
		return strings.Contains(page, "5.93")
	}
	fresh := func() url.Values { return d.get(mara.challenge()) }
	if !in(fresh()) {
		t.Fatal("its owner is not let in")
	}
	used := fresh()
	in(used)
	if in(used) {
		t.Error("a word that was sent before lets in")
	}
	bent := map[string]func() url.Values{
		"a challenge of its own": func() url.Values { return d.get(newChallenge()) },
		"another origin": func() url.Values {
			defer func(was string) { d.origin = was }(d.origin)
			d.origin = "https://elsewhere.example"
			return fresh()
		},
		"another site": func() url.Values {
			defer func(was string) { d.host = was }(d.host)
			d.host = "elsewhere.example"
			return fresh()
		},
		"nobody was verified": func() url.Values { d.flags = 1; defer func() { d.flags = 5 }(); return fresh() },
		"nobody was present":  func() url.Values { d.flags = 4; defer func() { d.flags = 5 }(); return fresh() },
		"a copy that counts anew": func() url.Values {
			defer func(was uint32) { d.count = was }(d.count)
			d.count = 0
			return fresh()
		},
		"a bent signature": func() url.Values {
			w := fresh()
			w.Set("signature", w.Get("signature")[:20]+"AAAA"+w.Get("signature")[24:])
			return w
		},
		"another's key": func() url.Values {
			other := newDevice(t, mara.base)
			other.count = 100
			return other.get(mara.challenge())
		},
		"an unknown key": func() url.Values { w := fresh(); w.Set("id", "bm9ib2R5"); return w },
		"made to be added": func() url.Values {
			w := fresh()
			w.Set("client", packed(d.client("webauthn.create", mara.challenge())))
			return w
		},
		"nothing at all": func() url.Values { return url.Values{} },
		"no base64":      func() url.Values { w := fresh(); w.Set("device", "%%%"); return w },
		"cut short":      func() url.Values { w := fresh(); w.Set("device", w.Get("device")[:20]); return w },
	}
	for what, word := range bent {
		if in(word()) {
			t.Errorf("%s: let in", what)
		}
	}
	if !in(fresh()) {
		t.Error("after all that its owner is not let in")
	}
	k.keys[0].Person = "nobody"
	if in(fresh()) {
		t.Error("its owner was removed, and is let in")
	}
}

func TestAPasskeyIsAddedOnlyByWhoHasProvedThemselves(t *testing.T) {
	h, k := trusting(t)
	b := h.browser(t)
	d := newDevice(t, b.base)
	b.post("/people/passkey", d.create(b.challenge()))
	b.post("/signin", url.Values{"name": {"mara"}, "password": {password}, "trust": {"yes"}})
	h.later(proofHolds)
	if _, page := b.post("/people/passkey", d.create(b.challenge())); !strings.Contains(page, "Say who you are") {
		t.Errorf("a phone alone adds a key:\n%s", page)
	}
	b.signIn("mara", password)
	other := newDevice(t, b.base)
	other.id = []byte("another name 001")
	bent := d.create(b.challenge())
	bent.Set("id", packed(other.id))
	b.post("/people/passkey", bent)
	if len(k.keys) != 0 {
		t.Errorf("added: %+v", k.keys)
	}
}

func TestAPhonesOwnPasskeySignsInAndArmsInARealBrowser(t *testing.T) {
	h, k := trusting(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		if _, err := cdp.Call(ctx, target, webauthn.Enable, webauthn.EnableParams{}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, target, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
			Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal, HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true}})
		return err
	}))
	base := strings.Replace(h.Address(), "127.0.0.1", "localhost", 1) // a key is a name's, not an address's
	do(t, ctx, chromedp.Navigate(base+"/signin?to=/people"))
	ask[int](t, ctx, `document.querySelector("[name=name]").value = "mara", document.querySelector("[name=password]").value = "`+password+`", document.querySelector("form[action='/signin'] [name=trust]").checked = true, document.querySelector("form[action='/signin']").submit(), 0`)
	waitFor(t, ctx, "the page People with a button for a passkey", `!!document.querySelector("form[data-passkey=create]:not([hidden])")`)
	do(t, ctx, chromedp.Click(`form[data-passkey=create] button`))
	waitFor(t, ctx, "the key is added", `!!document.body && document.body.textContent.includes("lets mara in without a password")`)
	h.later(proofHolds)
	do(t, ctx, chromedp.Navigate(base+"/signin?to=/tank/north/change"))
	waitFor(t, ctx, "a button for the passkey", `!!document.querySelector("form[data-passkey=get]:not([hidden])")`)
	do(t, ctx, chromedp.Click(`form[data-passkey=get] button`))
	waitFor(t, ctx, "back on the page it came from", `location.pathname === "/tank/north/change"`)
	if k.keys[0].Count == 0 && k.keys[0].Used.Equal(k.keys[0].Added) {
		t.Errorf("the key was not used: %+v", k.keys[0])
	}
}
