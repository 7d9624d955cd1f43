package payload

import (
	"strconv"
	"unicode/utf8"
)

// trail is what of each pointer is still to be matched below the present value.
type trail struct {
	rest  [targets]string
	alive uint8
}

// key is the trail below the member with this key.
func (t trail) key(key []byte) trail {
	if t.alive == 0 {
		return t
	}
	var below trail
	for i, rest := range t.rest {
		if t.alive&(1<<i) == 0 || rest == "" {
			continue
		}
		if rest, ok := afterToken(rest, key); ok {
			below.rest[i], below.alive = rest, below.alive|1<<i
		}
	}
	return below
}

// index is the trail below the element with this number.
func (t trail) index(n int) trail {
	if t.alive == 0 {
		return t
	}
	var digits [20]byte
	return t.key(strconv.AppendInt(digits[:0], int64(n), 10))
}

// afterToken is the pointer after its first token, if that token is key.
func afterToken(pointer string, key []byte) (string, bool) {
	at := 1 // past the slash
	for _, c := range key {
		if at >= len(pointer) || pointer[at] == '/' {
			return "", false
		}
		p := pointer[at]
		if p == '~' && at+1 < len(pointer) {
			at++
			if p = '~'; pointer[at] == '1' {
				p = '/'
			}
		}
		if p != c {
			return "", false
		}
		at++
	}
	if at < len(pointer) && pointer[at] != '/' {
		return "", false
	}
	return pointer[at:], true
}

// checkPointer says whether text is a JSON Pointer (RFC 6901).
func checkPointer(text string) error {
	if text != "" && text[0] != '/' {
		return refuse("write it with a slash first, such as /sensor/ph", "JSON pointer %.60q does not begin with a slash", text)
	}
	if !utf8.ValidString(text) {
		return refuse("write it in UTF-8", "JSON pointer is not valid UTF-8")
	}
	for i := range len(text) {
		if text[i] == '~' && (i+1 == len(text) || text[i+1] != '0' && text[i+1] != '1') {
			return refuse("write ~0 for a tilde and ~1 for a slash in a key", "JSON pointer %.60q has a lone tilde", text)
		}
	}
	return nil
}
