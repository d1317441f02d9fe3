package inspect

import (
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// conforms wants a report to be as the schema says, and to read again as JSON.
func conforms(t *testing.T, r *Report) {
	t.Helper()
	encoded, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var value any
	if err := json.Unmarshal(encoded, &value); err != nil {
		t.Fatal(err)
	}
	v := validator{t: t, root: schema(t)}
	v.check("", v.root, value)
}

func schema(t *testing.T) map[string]any {
	t.Helper()
	var root map[string]any
	if err := json.Unmarshal(Schema, &root); err != nil {
		t.Fatal(err)
	}
	return root
}

// validator knows the keywords that the schema uses.
type validator struct {
	t    *testing.T
	root map[string]any
}

func (v *validator) check(path string, node map[string]any, value any) {
	if ref, ok := node["$ref"].(string); ok {
		node = v.root["$defs"].(map[string]any)[strings.TrimPrefix(ref, "#/$defs/")].(map[string]any)
	}
	if enum, ok := node["enum"].([]any); ok && !slices.Contains(enum, value) {
		v.t.Errorf("%s is %v, not one of %v", path, value, enum)
	}
	kind := kindOf(value)
	if types := typesOf(node); types != nil && !slices.Contains(types, kind) && !(kind == "integer" && slices.Contains(types, "number")) {
		v.t.Errorf("%s is a %s, not %v", path, kind, types)
		return
	}
	switch value := value.(type) {
	case string:
		if pattern, ok := node["pattern"].(string); ok && !regexp.MustCompile(pattern).MatchString(value) {
			v.t.Errorf("%s is %q, not like %s", path, value, pattern)
		}
	case []any:
		if low, ok := node["minItems"].(float64); ok && len(value) < int(low) {
			v.t.Errorf("%s has %d items", path, len(value))
		}
		for i, item := range value {
			v.check(fmt.Sprintf("%s[%d]", path, i), node["items"].(map[string]any), item)
		}
	case map[string]any:
		v.object(path, node, value)
	}
}

func (v *validator) object(path string, node, value map[string]any) {
	properties := node["properties"].(map[string]any)
	for key, item := range value {
		property, ok := properties[key].(map[string]any)
		if !ok {
			v.t.Errorf("%s.%s is not in the schema", path, key)
			continue
		}
		v.check(path+"."+key, property, item)
	}
	required, _ := node["required"].([]any)
	for _, key := range required {
		if _, ok := value[key.(string)]; !ok {
			v.t.Errorf("%s.%s is missing", path, key)
		}
	}
}

func typesOf(node map[string]any) []string {
	switch t := node["type"].(type) {
	case string:
		return []string{t}
	case []any:
		var types []string
		for _, item := range t {
			types = append(types, item.(string))
		}
		return types
	}
	return nil
}

func kindOf(value any) string {
	switch value := value.(type) {
	case nil:
		return "null"
	case string:
		return "string"
	case bool:
		return "boolean"
	case float64:
		if value == float64(int64(value)) {
			return "integer"
		}
		return "number"
	case []any:
		return "array"
	}
	return "object"
}

// TestSchemaNamesEveryKey compares the schema with the types.
func TestSchemaNamesEveryKey(t *testing.T) {
	root := schema(t)
	defs := root["$defs"].(map[string]any)
	for name, c := range map[string]struct {
		node any
		typ  reflect.Type
	}{
		"report":       {root, reflect.TypeFor[Report]()},
		"problem":      {defs["problem"], reflect.TypeFor[Problem]()},
		"acquisition":  {defs["acquisition"], reflect.TypeFor[Acquisition]()},
		"table":        {defs["table"], reflect.TypeFor[Table]()},
		"spectrum":     {defs["spectrum"], reflect.TypeFor[Spectrum]()},
		"chromatogram": {defs["chromatogram"], reflect.TypeFor[Chromatogram]()},
	} {
		t.Run(name, func(t *testing.T) {
			node := c.node.(map[string]any)
			var got, want, always, required []string
			for key := range node["properties"].(map[string]any) {
				got = append(got, key)
			}
			for _, key := range node["required"].([]any) {
				required = append(required, key.(string))
			}
			for _, field := range reflect.VisibleFields(c.typ) {
				if field.Anonymous {
					continue
				}
				key, option, _ := strings.Cut(field.Tag.Get("json"), ",")
				want = append(want, key)
				if option == "" {
					always = append(always, key)
				}
			}
			for _, list := range [][]string{got, want, always, required} {
				slices.Sort(list)
			}
			if !slices.Equal(got, want) {
				t.Errorf("properties %q, want %q", got, want)
			}
			if !slices.Equal(required, always) {
				t.Errorf("required %q, want %q", required, always)
			}
		})
	}
}
