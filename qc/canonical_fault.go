package qc

import (
	"encoding"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"
)

// findFault looks for the first number or text in v that JSON cannot hold. It is only
// called once it is known that there is one. An empty path means that none was found.
func findFault(v any) (path, what string) {
	return faultIn(reflect.ValueOf(v), "$", 0)
}

// faultDepth stops the search in values that contain themselves.
const faultDepth = 200

func faultIn(v reflect.Value, path string, depth int) (string, string) {
	if !v.IsValid() || depth > faultDepth {
		return "", ""
	}
	if v.CanInterface() {
		switch v.Interface().(type) {
		case json.Marshaler, encoding.TextMarshaler:
			return "", "" // its text is its own affair
		}
	}
	switch v.Kind() {
	case reflect.Float32, reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return path, fmt.Sprint(f)
		}
	case reflect.String:
		if !utf8.ValidString(v.String()) {
			return path, fmt.Sprintf("text %q, which is not UTF-8,", v.String())
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			return faultIn(v.Elem(), path, depth+1)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			if p, w := faultIn(v.Index(i), fmt.Sprintf("%s[%d]", path, i), depth+1); p != "" {
				return p, w
			}
		}
	case reflect.Map:
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
		for _, key := range keys {
			name := fmt.Sprint(key)
			if !utf8.ValidString(name) {
				return path, fmt.Sprintf("member name %q, which is not UTF-8,", name)
			}
			if p, w := faultIn(v.MapIndex(key), path+"."+name, depth+1); p != "" {
				return p, w
			}
		}
	case reflect.Struct:
		return faultInStruct(v, path, depth)
	}
	return "", ""
}

func faultInStruct(v reflect.Value, path string, depth int) (string, string) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		if name == "-" || !field.IsExported() && !field.Anonymous {
			continue
		}
		at := path
		switch {
		case name != "":
			at += "." + name
		case !field.Anonymous:
			at += "." + field.Name
		}
		if p, w := faultIn(v.Field(i), at, depth+1); p != "" {
			return p, w
		}
	}
	return "", ""
}
