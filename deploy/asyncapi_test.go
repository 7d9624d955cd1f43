package deploy_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"
)

// asyncAPI is the outside judge: the official schema of AsyncAPI 3.0.0.
func asyncAPI(t *testing.T) *jsonschema.Schema {
	t.Helper()
	const id = "http://asyncapi.com/definitions/3.0.0/asyncapi.json"
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(read(t, "../testdata/asyncapi/asyncapi-3.0.0.schema.json")))
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource(id, document); err != nil {
		t.Fatal(err)
	}
	schema, err := compiler.Compile(id)
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

// plain is a YAML document in the types of JSON.
func plain(t *testing.T, text string) any {
	t.Helper()
	var document any
	if err := yaml.Unmarshal([]byte(text), &document); err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(document)
	if err != nil {
		t.Fatal(err)
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return value
}

func TestDocumentIsValidAsyncAPI(t *testing.T) {
	text := read(t, "asyncapi.yml")
	schema := asyncAPI(t)
	if err := schema.Validate(plain(t, text)); err != nil {
		t.Errorf("%v", err)
	}
	// What the schema must refuse, so that it is known to look.
	for name, change := range map[string][2]string{
		"a wrong action":          {"{action: send,", "{action: shout,"},
		"an unquoted comma":       {"    pump: {description: Name of the pump.}", "    pump: {description: Name of the pump, or of another.}"},
		"no version":              {"  version: 1.0.0\n", ""},
		"an operation of nothing": {"channel: {$ref: '#/channels/reading'}", "chanel: {$ref: '#/channels/reading'}"},
	} {
		broken := strings.Replace(text, change[0], change[1], 1)
		if broken == text {
			t.Errorf("%s: nothing to change in the document", name)
		} else if schema.Validate(plain(t, broken)) == nil {
			t.Errorf("%s is not refused", name)
		}
	}
}

// The schema does not follow references, so a name that nobody declares passes it.
func TestReferencesOfTheDocumentLeadSomewhere(t *testing.T) {
	document := plain(t, read(t, "asyncapi.yml"))
	found := 0
	var walk func(any)
	walk = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, e := range v {
				walk(e)
			}
		case map[string]any:
			if ref, ok := v["$ref"].(string); ok {
				found++
				if !declared(document, ref) {
					t.Errorf("%s leads nowhere", ref)
				}
			}
			for _, e := range v {
				walk(e)
			}
		}
	}
	walk(document)
	if found < 50 {
		t.Errorf("found only %d references", found)
	}
	if declared(document, "#/components/schemas/nothing") {
		t.Error("a reference to nothing is taken for one that leads somewhere")
	}
}

// declared says whether a reference within the document leads to something.
func declared(document any, ref string) bool {
	path, local := strings.CutPrefix(ref, "#/")
	for level := range strings.SplitSeq(path, "/") {
		names, _ := document.(map[string]any)
		if document = names[level]; document == nil {
			return false
		}
	}
	return local
}
