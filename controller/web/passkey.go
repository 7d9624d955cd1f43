package web

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/subtle"
	"crypto/x509"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
)

// The server's half of Web Authentication, level 3, without attestation: a key is what its
// owner, who has proved who they are, says it is.

// site is what a key is bound to: the host of the page, and its origin.
type site struct{ host, origin string }

func (p *passkeys) site(r *http.Request) site {
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = r.Host
	}
	scheme := "http://"
	if p.server.secure {
		scheme = "https://"
	}
	return site{host, scheme + r.Host}
}

// word is what a device says of a key, as the page sends it.
type word struct {
	client, device, signature, key []byte
	id                             string
}

// The parts of what a device says.
const (
	saidPresent  = 1 << 0 // somebody touched it
	saidVerified = 1 << 2 // and it knows whom
	saidKey      = 1 << 6 // a new key follows
	saidHead     = 37     // bytes: hash of the site, what was said, count
	saidID       = saidHead + 16 + 2
	longestKey   = 1024
)

var errPasskey = errors.New("the passkey was refused")

func readWord(value func(string) string) (word, error) {
	var w word
	for name, into := range map[string]*[]byte{"client": &w.client, "device": &w.device, "signature": &w.signature, "key": &w.key} {
		var err error
		if *into, err = base64.RawURLEncoding.DecodeString(value(name)); err != nil {
			return w, fmt.Errorf("%w: %s is not in base64url", errPasskey, name)
		}
	}
	if w.id = value("id"); w.id == "" || len(w.id) > longestKey {
		return w, fmt.Errorf("%w: it has no name", errPasskey)
	}
	return w, nil
}

// check checks all of a word but its signature, and returns its challenge and count.
func (w *word) check(of site, kind string) (challenge string, count uint32, err error) {
	var client struct {
		Type, Challenge, Origin string
		CrossOrigin             bool
	}
	if err := json.Unmarshal(w.client, &client); err != nil {
		return "", 0, fmt.Errorf("%w: what the browser said is no JSON", errPasskey)
	}
	host := sha256.Sum256([]byte(of.host))
	switch {
	case client.Type != kind:
		return "", 0, fmt.Errorf("%w: it was made for something else", errPasskey)
	case client.Origin != of.origin || client.CrossOrigin:
		return "", 0, fmt.Errorf("%w: it was made for another page", errPasskey)
	case len(w.device) < saidHead || subtle.ConstantTimeCompare(w.device[:sha256.Size], host[:]) != 1:
		return "", 0, fmt.Errorf("%w: it is of another site", errPasskey)
	case w.device[32]&saidPresent == 0 || w.device[32]&saidVerified == 0:
		return "", 0, fmt.Errorf("%w: the device did not make sure who you are", errPasskey)
	}
	return client.Challenge, binary.BigEndian.Uint32(w.device[33:]), nil
}

// names says that a new key has the name that was sent beside it.
func (w *word) names() error {
	if w.device[32]&saidKey == 0 || len(w.device) < saidID {
		return fmt.Errorf("%w: the device has made no key", errPasskey)
	}
	end := saidID + int(binary.BigEndian.Uint16(w.device[saidID-2:]))
	if end > len(w.device) || base64.RawURLEncoding.EncodeToString(w.device[saidID:end]) != w.id {
		return fmt.Errorf("%w: the device made a key of another name", errPasskey)
	}
	return nil
}

// signed says that a key signed what the device and the browser said.
func (w *word) signed(key []byte) error {
	client := sha256.Sum256(w.client)
	said := append(append([]byte(nil), w.device...), client[:]...)
	sum := sha256.Sum256(said)
	public, err := publicKey(key)
	if err != nil {
		return err
	}
	good := false
	switch public := public.(type) {
	case *ecdsa.PublicKey:
		good = ecdsa.VerifyASN1(public, sum[:], w.signature)
	case *rsa.PublicKey:
		good = rsa.VerifyPKCS1v15(public, crypto.SHA256, sum[:], w.signature) == nil
	case ed25519.PublicKey:
		good = ed25519.Verify(public, said, w.signature)
	}
	if !good {
		return fmt.Errorf("%w: its signature is wrong", errPasskey)
	}
	return nil
}

// publicKey is a key of a kind that the page asks for.
func publicKey(key []byte) (any, error) {
	if len(key) > longestKey {
		return nil, fmt.Errorf("%w: its key is too long", errPasskey)
	}
	public, err := x509.ParsePKIXPublicKey(key)
	if err != nil {
		return nil, fmt.Errorf("%w: its key cannot be read", errPasskey)
	}
	switch public.(type) {
	case *ecdsa.PublicKey, *rsa.PublicKey, ed25519.PublicKey:
		return public, nil
	}
	return nil, fmt.Errorf("%w: its key is of a kind that is not taken", errPasskey)
}

// newChallenge is what a device signs once.
func newChallenge() string {
	var random [32]byte
	_, _ = rand.Read(random[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(random[:])
}

// challenge answers a page that is about to ask a device.
func (p *passkeys) challenge(w http.ResponseWriter, r *http.Request) {
	name := ""
	if who, ok := p.server.who(r); ok {
		name = who.name
	}
	user := sha256.Sum256([]byte(name)) // a device holds one key a person and site
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(map[string]string{"challenge": p.ask(), "host": p.site(r).host, "name": name, // a reader that went away is no fault of ours
		"user": base64.RawURLEncoding.EncodeToString(user[:])})
}
