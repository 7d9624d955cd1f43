package worksheet

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// keysOf are the JSON keys of a document and of all that it holds.
func keysOf(t reflect.Type, into map[string]bool) {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Map:
		keysOf(t.Elem(), into)
	case reflect.Struct:
		for i := range t.NumField() {
			name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			into[name] = true
			keysOf(t.Field(i).Type, into)
		}
	}
}

func TestEveryKeyOfABlendIsDocumentedAndNoOther(t *testing.T) {
	text, err := os.ReadFile("../../../deploy/blend.md")
	if err != nil {
		t.Fatal(err)
	}
	parts := strings.Split(string(text), "\n## ")
	for _, document := range []struct {
		title string
		holds any
		with  string // a part whose keys it holds too
	}{{"`leat blend -json`", mixDocument{}, ""}, {"`leat blend lab -json`", labDocument{}, "`leat blend -json`"}, {"`leat blend make -json`", makeDocument{}, ""}} {
		keys, told := map[string]bool{}, map[string]bool{}
		keysOf(reflect.TypeOf(document.holds), keys)
		for _, part := range parts {
			title, body, _ := strings.Cut(part, "\n")
			if title != document.title && (document.with == "" || title != document.with) {
				continue
			}
			for _, m := range regexp.MustCompile("`([a-z][a-z0-9_]*)`").FindAllStringSubmatch(body, -1) {
				told[m[1]] = true
			}
		}
		delete(told, "null")
		for key := range keys {
			if !told[key] {
				t.Errorf("%s: the key %s is not documented", document.title, key)
			}
		}
		for key := range told {
			if !keys[key] {
				t.Errorf("%s: the key %s is documented and does not exist", document.title, key)
			}
		}
		if len(keys) < 8 {
			t.Errorf("%s: only %d keys were looked at", document.title, len(keys))
		}
	}
}
