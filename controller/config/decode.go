package config

import (
	"encoding"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"sort"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"

	"leat/controller"
)

// decoder fills the layout from a parsed file and collects every fault. It walks
// the layout itself, because the toml package fills fields whose names differ in
// case, passes over unknown keys, takes nan for a number and stops at the first
// value it cannot convert.
type decoder struct {
	file   string
	lines  map[string]int
	names  map[string]string // path of a table in an array → the name it bears
	faults Faults
	faulty map[string]bool // paths that have one
}

// decode parses text into l. Only a syntax error ends it early: what follows one
// cannot be told from noise.
func decode(file, text string, l *layout) *decoder {
	d := &decoder{file: file, names: map[string]string{}, faulty: map[string]bool{}}
	var tree map[string]any
	if _, err := toml.Decode(text, &tree); err != nil {
		d.syntax(err)
		return d
	}
	d.lines = indexLines(text)
	d.nameTables("", tree)
	d.table("", tree, reflect.ValueOf(l).Elem())
	return d
}

func (d *decoder) syntax(err error) {
	fault := &FieldError{File: d.file, Problem: err.Error(), Hint: "correct the TOML; everything after this point was not read"}
	var parse toml.ParseError
	if errors.As(err, &parse) {
		fault.Line, fault.Key, fault.Problem = parse.Position.Line, parse.LastKey, parse.Message
		if fault.Problem == "" {
			fault.Problem = strings.TrimPrefix(parse.Error(), "toml: ")
		}
	}
	d.faults = append(d.faults, fault)
}

// fault notes one fault of the key at path. A second one of the same key follows
// from the first more often than not: a value that could not be read is not also
// missing.
func (d *decoder) fault(path, value, text, hint string) {
	if d.faulty[path] {
		return
	}
	d.faulty[path] = true
	if value == `""` {
		value = "" // the key is not in the file
	}
	d.faults = append(d.faults, &FieldError{File: d.file, Key: d.label(path), Line: d.line(path), Value: value, Problem: text, Hint: hint})
}

// line is the line of path or, where a key is missing, of the table it belongs to.
func (d *decoder) line(path string) int {
	for {
		if line, ok := d.lines[path]; ok {
			return line
		}
		cut := strings.LastIndexByte(path, '.')
		if cut < 0 {
			return 0
		}
		path = path[:cut]
	}
}

// label is path as a person reads it: pump[acid].rate instead of pump.0.rate.
func (d *decoder) label(path string) string {
	var b strings.Builder
	at := ""
	for _, key := range strings.Split(path, ".") {
		at = join(at, key)
		if i, err := strconv.Atoi(key); err == nil && b.Len() > 0 {
			name := d.names[at]
			if name == "" {
				name = strconv.Itoa(i + 1)
			}
			b.WriteString("[" + name + "]")
			continue
		}
		if b.Len() > 0 {
			b.WriteByte('.')
		}
		b.WriteString(key)
	}
	return b.String()
}

func (d *decoder) nameTables(path string, tree map[string]any) {
	for key, value := range tree {
		switch v := value.(type) {
		case map[string]any:
			d.nameTables(join(path, key), v)
		case []map[string]any:
			for i, item := range v {
				at := join(join(path, key), strconv.Itoa(i))
				if name, ok := item["name"].(string); ok && len(name) <= longestName {
					d.names[at] = name
				}
				d.nameTables(at, item)
			}
		}
	}
}

// table fills a struct from a table: exact keys only, in the order of the file.
func (d *decoder) table(path string, tree map[string]any, into reflect.Value) {
	fields := fieldsOf(into.Type())
	keys := make([]string, 0, len(tree))
	for key := range tree {
		keys = append(keys, key)
	}
	sort.Slice(keys, func(i, j int) bool {
		a, b := d.line(join(path, keys[i])), d.line(join(path, keys[j]))
		return a < b || a == b && keys[i] < keys[j]
	})
	for _, key := range keys {
		index, known := fields.index[key]
		if !known {
			d.unknown(path, key, fields.names)
			continue
		}
		d.value(join(path, key), tree[key], into.Field(index))
	}
	for _, name := range fields.required {
		if _, ok := tree[name]; !ok {
			d.fault(join(path, name), "", "is missing", "state it: "+fields.docs[name])
		}
	}
}

func (d *decoder) unknown(path, key string, known []string) {
	hint := "known here: " + listed(known)
	if strings.EqualFold(key, "password") || strings.EqualFold(key, "secret") {
		d.fault(join(path, key), "", "is not a key: no secret stands in this file, which gets copied", "state password_file, password_env or password_credential")
		return
	}
	if now := renamed[key]; slices.Contains(known, now) {
		hint = fmt.Sprintf("it is called %q now", now)
	} else if guess := nearest(key, known); guess != "" {
		hint = fmt.Sprintf("did you mean %q?", guess)
		if strings.EqualFold(guess, key) {
			hint = fmt.Sprintf("keys are written exactly: %q", guess)
		}
	}
	d.fault(join(path, key), "", "is not a known key", hint)
}

// value fills one field. A quantity is only ever taken from a string.
func (d *decoder) value(path string, raw any, into reflect.Value) {
	if s, ok := raw.(string); ok {
		if err := controller.Plain(s); err != nil {
			d.fault(path, shown(raw), err.Error(), "names and texts of this file stand in logs and on the page")
			return
		}
	}
	if text, ok := into.Addr().Interface().(encoding.TextUnmarshaler); ok {
		d.text(path, raw, text)
		return
	}
	switch into.Kind() {
	case reflect.String:
		if s, ok := raw.(string); ok {
			into.SetString(s)
			return
		}
		d.fault(path, shown(raw), "is not a text", "write it in quotation marks")
	case reflect.Bool:
		if b, ok := raw.(bool); ok {
			into.SetBool(b)
			return
		}
		d.fault(path, shown(raw), "is neither true nor false", "write true or false without quotation marks")
	case reflect.Struct:
		if t, ok := raw.(map[string]any); ok {
			into.FieldByName("Stated").SetBool(true)
			d.table(path, t, into)
			return
		}
		d.fault(path, shown(raw), "is not a table", fmt.Sprintf("write [%s] and its keys below it", path))
	case reflect.Slice:
		d.slice(path, raw, into)
	case reflect.Map:
		d.mapping(path, raw, into)
	}
}

func (d *decoder) text(path string, raw any, into encoding.TextUnmarshaler) {
	example := `"5.8"`
	if w, ok := into.(written); ok {
		example = strconv.Quote(w.form().example())
	}
	s, ok := raw.(string)
	if !ok {
		text, hint := "is not a text", "write it as a text with its unit, for example "+example
		switch v := raw.(type) {
		case float64:
			text = "is a bare number"
			if math.IsNaN(v) || math.IsInf(v, 0) {
				text = "is not a number"
			}
		case int64:
			text = "is a bare number"
		}
		d.fault(path, shown(raw), text, hint)
		return
	}
	if err := into.UnmarshalText([]byte(s)); err != nil {
		var p *problem
		if errors.As(err, &p) {
			d.fault(path, quoted(s), p.text, p.hint)
		} else {
			d.fault(path, quoted(s), err.Error(), "")
		}
	}
}

func (d *decoder) slice(path string, raw any, into reflect.Value) {
	if into.Type().Elem().Kind() == reflect.Struct {
		tables, ok := raw.([]map[string]any)
		if !ok {
			d.fault(path, shown(raw), "is not a list of tables", fmt.Sprintf("write [[%s]] above each", lastKey(path)))
			return
		}
		if len(tables) > mostTables {
			d.fault(path, "", fmt.Sprintf("stands %d times", len(tables)), fmt.Sprintf("at most %d", mostTables))
			return
		}
		into.Set(reflect.MakeSlice(into.Type(), len(tables), len(tables)))
		for i, t := range tables {
			into.Index(i).FieldByName("Stated").SetBool(true)
			d.table(join(path, strconv.Itoa(i)), t, into.Index(i))
		}
		return
	}
	items, ok := raw.([]any)
	if !ok {
		d.fault(path, shown(raw), "is not a list", `write it as ["one", "two"]`)
		return
	}
	for i, item := range items {
		s, ok := item.(string)
		if !ok {
			d.fault(join(path, strconv.Itoa(i)), shown(item), "is not a text", "write it in quotation marks")
			continue
		}
		into.Set(reflect.Append(into, reflect.ValueOf(s)))
	}
}

// mapping fills a table whose keys are the grower's own words, as salts are.
func (d *decoder) mapping(path string, raw any, into reflect.Value) {
	t, ok := raw.(map[string]any)
	if !ok {
		d.fault(path, shown(raw), "is not a table", `write it as { "name" = "value" }`)
		return
	}
	into.Set(reflect.MakeMap(into.Type()))
	for _, key := range sortedKeys(t) {
		value := reflect.New(into.Type().Elem()).Elem()
		before := len(d.faults)
		d.value(join(path, key), t[key], value)
		if len(d.faults) == before {
			into.SetMapIndex(reflect.ValueOf(key), value)
		}
	}
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func shown(raw any) string {
	switch v := raw.(type) {
	case string:
		return quoted(v)
	case map[string]any:
		return "a table"
	case []any, []map[string]any:
		return "a list"
	}
	return fmt.Sprint(raw)
}

func lastKey(path string) string { return path[strings.LastIndexByte(path, '.')+1:] }

// fields of a layout struct, by the exact key.
type fieldSet struct {
	index    map[string]int
	names    []string
	required []string
	docs     map[string]string
}

func fieldsOf(t reflect.Type) fieldSet {
	set := fieldSet{index: map[string]int{}, docs: map[string]string{}}
	for i := range t.NumField() {
		f := t.Field(i)
		key := f.Tag.Get("toml")
		if key == "" {
			continue
		}
		set.index[key] = i
		set.names = append(set.names, key)
		set.docs[key] = f.Tag.Get("doc")
		if f.Tag.Get("need") == "yes" {
			set.required = append(set.required, key)
		}
	}
	return set
}

// Bounds that keep a mistaken file from becoming a mistaken memory: a station of
// the program has at most 63 tanks, and pumps are numbered in a byte.
const (
	mostTables  = 250
	mostTanks   = 63
	longestName = 40
	longestFile = 1 << 20
)
