package parserstest

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// Schema wants a JSON Schema (draft 2020-12) to name the same keys as the yaml tags of
// a struct, all the way down, and to allow no others.
func Schema(t *testing.T, schema []byte, typ reflect.Type) {
	t.Helper()
	root := parseSchema(t, schema)
	s := schemaTest{t: t, root: root, seen: map[reflect.Type]bool{}}
	s.object("", root, typ)
}

// TableSchema wants a JSON Schema of a table's row to have exactly the given columns
// as properties and the given ones as required.
func TableSchema(t *testing.T, schema []byte, columns, required []string) {
	t.Helper()
	root := parseSchema(t, schema)
	if got := keys(root["properties"]); !slices.Equal(got, sorted(columns)) {
		t.Errorf("properties %q, columns %q", got, sorted(columns))
	}
	var got []string
	if list, ok := root["required"].([]any); ok {
		for _, item := range list {
			got = append(got, item.(string))
		}
	}
	if !slices.Equal(sorted(got), sorted(required)) {
		t.Errorf("required %q, want %q", got, required)
	}
	if root["additionalProperties"] != false {
		t.Error("other properties are allowed")
	}
}

func parseSchema(t *testing.T, schema []byte) map[string]any {
	t.Helper()
	var root map[string]any
	if err := json.Unmarshal(schema, &root); err != nil {
		t.Fatal(err)
	}
	if root["$schema"] != "https://json-schema.org/draft/2020-12/schema" {
		t.Errorf("$schema is %v", root["$schema"])
	}
	return root
}

type schemaTest struct {
	t    *testing.T
	root map[string]any
	seen map[reflect.Type]bool
}

// resolve follows a reference inside the document.
func (s *schemaTest) resolve(node map[string]any) map[string]any {
	ref, ok := node["$ref"].(string)
	if !ok {
		return node
	}
	at := s.root
	for _, step := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		at, ok = at[step].(map[string]any)
		if !ok {
			s.t.Fatalf("reference %s leads nowhere", ref)
		}
	}
	return at
}

func (s *schemaTest) object(path string, node map[string]any, typ reflect.Type) {
	if s.seen[typ] {
		return
	}
	s.seen[typ] = true
	node = s.resolve(node)
	var names []string
	fields := map[string]reflect.Type{}
	for i := range typ.NumField() {
		name, _, _ := strings.Cut(typ.Field(i).Tag.Get("yaml"), ",")
		names = append(names, name)
		fields[name] = typ.Field(i).Type
	}
	if got := keys(node["properties"]); !slices.Equal(got, sorted(names)) {
		s.t.Errorf("%s: the schema has %q, %s has %q", path, got, typ, sorted(names))
		return
	}
	if node["additionalProperties"] != false {
		s.t.Errorf("%s: other keys are allowed", path)
	}
	properties := node["properties"].(map[string]any)
	for _, name := range names {
		s.value(path+"."+name, properties[name].(map[string]any), fields[name])
	}
}

func (s *schemaTest) value(path string, node map[string]any, typ reflect.Type) {
	node = s.resolve(node)
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	want := ""
	switch {
	case typ == reflect.TypeFor[time.Time]():
		want = "string"
	case typ.Kind() == reflect.Struct:
		want = "object"
		s.object(path, node, typ)
	case typ.Kind() == reflect.Slice:
		want = "array"
		items, ok := node["items"].(map[string]any)
		if !ok {
			s.t.Errorf("%s has no items", path)
			return
		}
		s.value(path+"[]", items, typ.Elem())
	case typ.Kind() == reflect.String:
		want = "string"
	case typ.Kind() == reflect.Bool:
		want = "boolean"
	case typ.Kind() == reflect.Int:
		want = "integer"
	case typ.Kind() == reflect.Float64:
		want = "number"
	}
	if node["type"] != want && !slices.Equal(words(node["type"]), []string{want, "number"}) {
		s.t.Errorf("%s has type %v, want %s", path, node["type"], want)
	}
	if node["description"] == nil && node["properties"] == nil && !strings.HasSuffix(path, "[]") {
		s.t.Errorf("%s has no description", path)
	}
}

func words(list any) []string {
	var out []string
	items, _ := list.([]any)
	for _, item := range items {
		text, _ := item.(string)
		out = append(out, text)
	}
	return out
}

func keys(object any) []string {
	var out []string
	m, _ := object.(map[string]any)
	for key := range m {
		out = append(out, key)
	}
	slices.Sort(out)
	return out
}

func sorted(list []string) []string {
	out := slices.Clone(list)
	slices.Sort(out)
	return out
}
