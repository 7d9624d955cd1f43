package notify

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strings"
)

// A pass is a ring's id and the MAC over it, and fits in one line of a mail: it lets its
// bearer acknowledge that ring and nothing else.
const (
	macBytes    = 16
	longestPass = 100
)

func mac(key []byte, station, id string) []byte {
	h := hmac.New(sha256.New, key)
	h.Write([]byte("leat acknowledge\x00" + station + "\x00" + id))
	return h.Sum(nil)[:macBytes]
}

// sealPass makes the pass of a ring.
func sealPass(key []byte, station, id string) string {
	return id + "." + base64.RawURLEncoding.EncodeToString(mac(key, station, id))
}

// openPass is the ring that a pass names; anything but a pass of this key and station names
// none.
func openPass(key []byte, station, pass string) (id string, ok bool) {
	if len(pass) > longestPass || len(key) == 0 {
		return "", false
	}
	id, sum, found := strings.Cut(pass, ".")
	said, err := base64.RawURLEncoding.Strict().DecodeString(sum)
	if !found || err != nil || id == "" || !hmac.Equal(said, mac(key, station, id)) {
		return "", false
	}
	return id, true
}
