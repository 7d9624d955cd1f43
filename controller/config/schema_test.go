package config

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

func TestSchemaForEditorsIsThatOfTheLayout(t *testing.T) {
	golden(t, "../../deploy/leat.schema.json", string(Schema()))
}

// valid asks an independent implementation of JSON Schema, as an editor would.
func valid(t *testing.T, path string) error {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
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
