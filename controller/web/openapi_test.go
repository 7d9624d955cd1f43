package web

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// The outside judges are the official schema of OpenAPI 3.1, and for the schemas within the
// document an independent implementation of JSON Schema 2020-12.
func TestDescriptionOfTheAPIIsValidOpenAPI(t *testing.T) {
	text, err := os.ReadFile("../../testdata/openapi/openapi-3.1.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	compile := func(name string, body []byte) *jsonschema.Schema {
		document, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		compiler := jsonschema.NewCompiler()
		compiler.DefaultDraft(jsonschema.Draft2020)
		if err := compiler.AddResource(name, document); err != nil {
			t.Fatal(err)
		}
		schema, err := compiler.Compile(name)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return schema
	}
	official := compile("openapi.json", text)
	judge := func(body string) error {
		document, err := jsonschema.UnmarshalJSON(strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		return official.Validate(document)
	}
	ours := string(describeAPI())
	if err := judge(ours); err != nil {
		t.Errorf("%v", err)
	}
	// What it must refuse, so that it is known to look.
	for name, change := range map[string][2]string{
		"another version":           {`"openapi": "3.1.0"`, `"openapi": "2.0"`},
		"no title":                  {`"title": "leat"`, `"titel": "leat"`},
		"a path without a slash":    {`"/api/v1/state"`, `"api/v1/state"`},
		"an answer without words":   {`"description": "the answer"`, `"words": "the answer"`},
		"a scheme that nobody uses": {`"type": "http"`, `"type": "smoke"`},
	} {
		broken := strings.Replace(ours, change[0], change[1], 1)
		if broken == ours {
			t.Errorf("%s: nothing to change in the document", name)
		} else if judge(broken) == nil {
			t.Errorf("%s is not refused", name)
		}
	}
	// The schemas within, each by itself.
	found := 0
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(ours))
	if err != nil {
		t.Fatal(err)
	}
	var walk func(any)
	walk = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, e := range v {
				walk(e)
			}
		case map[string]any:
			if inner, ok := v["schema"].(map[string]any); ok {
				found++
				compiler := jsonschema.NewCompiler()
				compiler.DefaultDraft(jsonschema.Draft2020)
				if err := compiler.AddResource("inner.json", inner); err != nil {
					t.Fatal(err)
				}
				if _, err := compiler.Compile("inner.json"); err != nil {
					t.Errorf("a schema within: %v", err)
				}
				return
			}
			for _, e := range v {
				walk(e)
			}
		}
	}
	walk(document)
	if found < 10 {
		t.Errorf("found only %d schemas within", found)
	}
}
