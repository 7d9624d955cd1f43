package config

import (
	"strconv"
	"strings"
)

// lineIndex finds the line of each key of a TOML text. The toml package does not
// tell it for unknown keys or for values that it accepted. It is asked only for
// texts that the toml package has already found to be TOML, so it is lenient: a
// text it cannot follow costs a line number, never a fault.
type lineIndex struct {
	text   string
	at     int
	line   int
	lines  map[string]int // path with array positions, for example "pump.0.rate"
	arrays map[string]int // tables in each array of tables so far
}

func indexLines(text string) map[string]int {
	x := &lineIndex{text: text, line: 1, lines: map[string]int{}, arrays: map[string]int{}}
	table := ""
	for x.blank(true); x.at < len(x.text); x.blank(true) {
		before := x.at
		if x.text[x.at] == '[' {
			table = x.header()
		} else {
			x.pair(table)
		}
		if x.at == before {
			x.at++
		}
	}
	return x.lines
}

// header reads [a.b] or [[a.b]] and returns the path its keys stand under.
func (x *lineIndex) header() string {
	line, array := x.line, strings.HasPrefix(x.text[x.at:], "[[")
	x.at++
	if array {
		x.at++
	}
	keys := x.keys()
	for x.at < len(x.text) && x.text[x.at] == ']' {
		x.at++
	}
	path := ""
	for i, key := range keys {
		path = join(path, key)
		count, isArray := x.arrays[path]
		if i == len(keys)-1 && array {
			x.note(path, line)
			x.arrays[path] = count + 1
			path = join(path, strconv.Itoa(count))
		} else if isArray {
			path = join(path, strconv.Itoa(count-1))
		} else {
			x.note(path, line)
		}
	}
	x.note(path, line)
	return path
}

// pair reads key = value and everything inside the value.
func (x *lineIndex) pair(table string) {
	line := x.line
	path := table
	for _, key := range x.keys() {
		path = join(path, key)
		x.note(path, line)
	}
	if x.at < len(x.text) && x.text[x.at] == '=' {
		x.at++
		x.blank(false)
		x.value(path)
	}
}

func (x *lineIndex) value(path string) {
	if x.at >= len(x.text) {
		return
	}
	switch x.text[x.at] {
	case '{':
		x.at++
		for x.blank(true); x.at < len(x.text) && x.text[x.at] != '}'; x.blank(true) {
			before := x.at
			if x.text[x.at] == ',' {
				x.at++
			} else {
				x.pair(path)
			}
			if x.at == before {
				x.at++
			}
		}
		x.at++
	case '[':
		x.at++
		for i := 0; ; {
			x.blank(true)
			if x.at >= len(x.text) || x.text[x.at] == ']' {
				break
			}
			if x.text[x.at] == ',' {
				x.at++
				continue
			}
			before := x.at
			item := join(path, strconv.Itoa(i))
			x.note(item, x.line)
			x.value(item)
			i++
			if x.at == before {
				x.at++
			}
		}
		x.at++
	case '"', '\'':
		x.quoted()
	default:
		for x.at < len(x.text) && !strings.ContainsRune(",]}#\n", rune(x.text[x.at])) {
			x.at++
		}
	}
}

// keys reads a dotted key.
func (x *lineIndex) keys() []string {
	var keys []string
	for x.at < len(x.text) {
		x.blank(false)
		start := x.at
		if x.at < len(x.text) && (x.text[x.at] == '"' || x.text[x.at] == '\'') {
			keys = append(keys, x.quoted())
		} else {
			for x.at < len(x.text) && !strings.ContainsRune(" \t\r\n.=]#,}", rune(x.text[x.at])) {
				x.at++
			}
			keys = append(keys, x.text[start:x.at])
		}
		x.blank(false)
		if x.at >= len(x.text) || x.text[x.at] != '.' {
			break
		}
		x.at++
	}
	return keys
}

// quoted reads any of the four kinds of strings and returns what stands between
// the marks, escapes unresolved.
func (x *lineIndex) quoted() string {
	mark := x.text[x.at : x.at+1]
	long := strings.HasPrefix(x.text[x.at:], strings.Repeat(mark, 3))
	end := mark
	if long {
		end = strings.Repeat(mark, 3)
	}
	x.at += len(end)
	start := x.at
	for x.at < len(x.text) && !strings.HasPrefix(x.text[x.at:], end) {
		if x.text[x.at] == '\\' && mark == `"` {
			x.step()
		}
		if x.at < len(x.text) {
			x.step()
		}
	}
	inner := x.text[start:min(x.at, len(x.text))]
	x.at = min(x.at+len(end), len(x.text))
	return inner
}

func (x *lineIndex) step() {
	if x.text[x.at] == '\n' {
		x.line++
	}
	x.at++
}

// blank skips spaces and, where lines may end, comments and line ends.
func (x *lineIndex) blank(lines bool) {
	for x.at < len(x.text) {
		switch c := x.text[x.at]; {
		case c == ' ' || c == '\t' || c == '\r':
			x.at++
		case lines && c == '\n':
			x.step()
		case lines && c == '#':
			for x.at < len(x.text) && x.text[x.at] != '\n' {
				x.at++
			}
		default:
			return
		}
	}
}

func (x *lineIndex) note(path string, line int) {
	if _, known := x.lines[path]; !known {
		x.lines[path] = line
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
