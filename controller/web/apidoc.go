package web

import (
	"encoding/json"
	"reflect"
	"strings"
	"time"
)

// describeAPI is the OpenAPI document of the routes: it is made of the table that serves
// them, so that it cannot say otherwise.
func describeAPI() []byte {
	paths := map[string]map[string]any{}
	for i := range apiRoutes {
		route := &apiRoutes[i]
		fault := map[string]any{"description": "what is wrong, and what to do", "content": jsonOf(apiFault{})}
		deed := map[string]any{
			"summary":   route.Words,
			"x-role":    route.Role.String(),
			"responses": map[string]any{"200": map[string]any{"description": "the answer", "content": jsonOf(route.Answer)}, "401": fault, "403": fault, "503": fault},
		}
		if route.Body != nil {
			deed["requestBody"] = map[string]any{"required": true, "content": jsonOf(route.Body)}
			answers := deed["responses"].(map[string]any)
			answers["400"], answers["409"] = fault, fault
			answers["422"] = map[string]any{"description": "refused, or confirmation is needed", "content": jsonOf(route.Answer)}
		}
		if paths[route.Path] == nil {
			paths[route.Path] = map[string]any{}
		}
		paths[route.Path][strings.ToLower(route.Method)] = deed
	}
	text, _ := json.MarshalIndent(map[string]any{ // plain maps, texts and numbers
		"openapi": "3.1.0", "info": map[string]any{"title": "leat", "version": "1", "description": "Figures and requests of a station, for programs. Requests pass the same checks as the forms of the page."},
		"paths":      paths,
		"components": map[string]any{"securitySchemes": map[string]any{"token": map[string]any{"type": "http", "scheme": "bearer"}}},
		"security":   []any{map[string]any{"token": []any{}}},
	}, "", " ")
	return append(text, '\n')
}

func jsonOf(v any) map[string]any {
	return map[string]any{"application/json": map[string]any{"schema": schemaOf(reflect.TypeOf(v))}}
}

// schemaOf is the JSON Schema of a type.
func schemaOf(t reflect.Type) map[string]any {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return map[string]any{"type": "string", "format": "date-time"}
	case t.Kind() == reflect.Slice:
		return map[string]any{"type": "array", "items": schemaOf(t.Elem())}
	case t.Kind() == reflect.Struct:
		properties := map[string]any{}
		for i := range t.NumField() {
			properties[nameOf(t.Field(i))] = schemaOf(t.Field(i).Type)
		}
		schema := map[string]any{"type": "object", "properties": properties, "additionalProperties": false}
		if t != reflect.TypeFor[apiRequest]() {
			schema["required"] = namesOf(t)
		}
		return schema
	case t.Kind() == reflect.Bool:
		return map[string]any{"type": "boolean"}
	case t.Kind() == reflect.Float64:
		return map[string]any{"type": "number"}
	}
	return map[string]any{"type": "string"}
}

func nameOf(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

func namesOf(t reflect.Type) (names []string) {
	for i := range t.NumField() {
		names = append(names, nameOf(t.Field(i)))
	}
	return names
}

// fieldNames are the names of a struct in JSON.
func fieldNames(v any) []string { return namesOf(reflect.TypeOf(v)) }
