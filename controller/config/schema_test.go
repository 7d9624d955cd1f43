package config

import (
	"bytes"
	"encoding"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// The schema is written anew by go test ./controller/config -run Schema -update.
func TestSchemaForEditorsIsThatOfTheLayout(t *testing.T) {
	golden(t, "../../deploy/leat.schema.json", string(schemaOfTheLayout()))
}

// valid asks an independent implementation of JSON Schema, as an editor would.
func valid(t *testing.T, path string) error {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(schemaOfTheLayout()))
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource("leat.schema.json", document); err != nil {
		t.Fatal(err)
	}
	schema, err := compiler.Compile("leat.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	var tree map[string]any
	if _, err := toml.DecodeFile(path, &tree); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(tree)
	if err != nil {
		t.Fatal(err)
	}
	instance, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return schema.Validate(instance)
}

func TestSchemaTakesWhatTheDaemonTakes(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(files, "good", "*.toml"))
	if err != nil || len(paths) == 0 {
		t.Fatal(paths, err)
	}
	for _, path := range append(paths, "../../deploy/leat.toml", "../../deploy/minimal.toml") {
		if err := valid(t, path); err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestSchemaMarksWhatAnEditorCanSee(t *testing.T) {
	for _, name := range []string{"unknown_key", "key_in_other_case", "missing_unit", "bare_number", "negative_cap", "decimal_comma", "wrong_unit", "not_a_number_in_quotes", "table_in_place_of_text", "password_in_the_file"} {
		path := filepath.Join(files, "bad", name+".toml")
		if _, err := os.Stat(path); err != nil {
			t.Fatal(err)
		}
		if err := valid(t, path); err == nil {
			t.Errorf("%s: the schema takes it", name)
		}
	}
}

// schemaOfTheLayout is the JSON Schema (draft-07) of the file, for editors that complete and
// underline while one types. It is made from the same layout that Parse reads, so
// it knows every key; it knows less than leat check, which also knows sizes.
func schemaOfTheLayout() []byte {
	root := object(reflect.TypeFor[layout]())
	root["$schema"] = "http://json-schema.org/draft-07/schema#"
	root["title"] = "leat configuration"
	root["definitions"] = map[string]any{"input": object(reflect.TypeFor[inputTable]())}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(root); err != nil {
		panic(err) // maps of strings and lists always encode
	}
	return b.Bytes()
}

func object(t reflect.Type) map[string]any {
	properties := map[string]any{}
	var required []string
	for i := range t.NumField() {
		f := t.Field(i)
		key := f.Tag.Get("toml")
		if key == "" {
			continue
		}
		p := property(f.Type)
		p["description"] = f.Tag.Get("doc")
		properties[key] = p
		if f.Tag.Get("need") == "yes" {
			required = append(required, key)
		}
	}
	o := map[string]any{"type": "object", "properties": properties, "additionalProperties": false}
	if len(required) > 0 {
		o["required"] = required
	}
	return o
}

func property(t reflect.Type) map[string]any {
	value := reflect.New(t).Interface()
	if w, ok := value.(written); ok {
		k := w.form()
		p := map[string]any{"type": "string", "pattern": pattern(k), "examples": []string{k.example()}}
		switch value.(type) {
		case *ph:
			p["pattern"] = `^\s*(pH)?\s*[0-9]+(\.[0-9]+)?\s*$`
		case *span:
			p["pattern"] = `^\s*([0-9]+(\.[0-9]+)?\s*(ms|s|min|m|h|d))+\s*$`
		}
		return p
	}
	if _, ok := value.(encoding.TextUnmarshaler); ok {
		return map[string]any{"type": "string"}
	}
	switch t.Kind() {
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Struct:
		if t == reflect.TypeFor[inputTable]() {
			// In draft-07 what stands beside a reference is not read.
			return map[string]any{"allOf": []any{map[string]any{"$ref": "#/definitions/input"}}}
		}
		return object(t)
	case reflect.Slice:
		return map[string]any{"type": "array", "items": property(t.Elem())}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": property(t.Elem())}
	}
	return map[string]any{"type": "string"}
}

// pattern is how a quantity of the kind is written, as a regular expression.
func pattern(k kind) string {
	var names []string
	for _, u := range k.units() {
		names = append(names, regexp.QuoteMeta(u.name))
	}
	sign := ""
	if k.signed() {
		sign = "[-−]?"
	}
	return `^\s*` + sign + `[0-9]*\.?[0-9]+\s*(` + strings.Join(names, "|") + `)\s*$`
}

// An editor finds the schema by the first line of a sample.
func TestSamplesNameTheirSchema(t *testing.T) {
	for _, path := range []string{"../../deploy/leat.toml", "../../deploy/minimal.toml"} {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		first, _, _ := strings.Cut(string(text), "\n")
		named, found := strings.CutPrefix(first, "#:schema ")
		if !found {
			t.Errorf("%s begins with %q", path, first)
		} else if _, err := os.Stat(filepath.Join(filepath.Dir(path), named)); err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}
