package payload

import (
	"bytes"
	"unicode/utf16"
	"unicode/utf8"
)

// escape is the length of the escape at the start of text, 0 if there is none. A
// surrogate counts only with its other half.
func escape(text []byte) int {
	if len(text) < 2 {
		return 0
	}
	if bytes.IndexByte([]byte(`"\/bfnrt`), text[1]) >= 0 {
		return 2
	}
	first, ok := codeUnit(text)
	if !ok {
		return 0
	}
	if !utf16.IsSurrogate(first) {
		return 6
	}
	second, ok := codeUnit(text[6:])
	if !ok || utf16.DecodeRune(first, second) == utf8.RuneError {
		return 0
	}
	return 12
}

func codeUnit(text []byte) (rune, bool) {
	if len(text) < 6 || text[0] != '\\' || text[1] != 'u' {
		return 0, false
	}
	var unit rune
	for _, c := range text[2:6] {
		switch {
		case c >= '0' && c <= '9':
			c -= '0'
		case c >= 'a' && c <= 'f':
			c -= 'a' - 10
		case c >= 'A' && c <= 'F':
			c -= 'A' - 10
		default:
			return 0, false
		}
		unit = unit<<4 | rune(c)
	}
	return unit, true
}

// unescape is the string that raw stands for; it allocates only where raw has an
// escape.
func unescape(raw []byte) []byte {
	at := bytes.IndexByte(raw, '\\')
	if at < 0 {
		return raw
	}
	plain := append(make([]byte, 0, len(raw)), raw[:at]...)
	for at < len(raw) {
		if raw[at] != '\\' {
			plain = append(plain, raw[at])
			at++
			continue
		}
		if i := bytes.IndexByte([]byte(`bfnrt`), raw[at+1]); i >= 0 {
			plain = append(plain, "\b\f\n\r\t"[i])
			at += 2
		} else if unit, ok := codeUnit(raw[at:]); ok {
			at += 6
			if utf16.IsSurrogate(unit) {
				second, _ := codeUnit(raw[at:])
				unit = utf16.DecodeRune(unit, second)
				at += 6
			}
			plain = utf8.AppendRune(plain, unit)
		} else {
			plain = append(plain, raw[at+1])
			at += 2
		}
	}
	return plain
}
