package located

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

var timeType = reflect.TypeFor[time.Time]()

func (d *Document) decode(body ast.Node, into any) {
	target := reflect.ValueOf(into)
	if target.Kind() != reflect.Pointer || target.Elem().Kind() != reflect.Struct {
		panic("located: Decode needs a pointer to a struct")
	}
	d.places[""] = first(body)
	d.value("", body, target.Elem())
}

// value decodes node into v and records places below path.
func (d *Document) value(path string, node ast.Node, v reflect.Value) {
	if _, null := node.(*ast.NullNode); null {
		d.faultAt(node.GetToken(), "give it a value or leave the key out", "%s has no value", named(path))
		return
	}
	switch {
	case v.Type() == timeType:
		d.date(path, node, v)
		return
	case v.Kind() == reflect.Pointer:
		fresh := reflect.New(v.Type().Elem())
		d.value(path, node, fresh.Elem())
		v.Set(fresh)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		d.structure(path, node, v)
	case reflect.Slice:
		d.sequence(path, node, v)
	default:
		d.scalar(path, node, v)
	}
}

// entries gives the key and value pairs of a mapping, with repeated keys reported and left out.
func (d *Document) entries(path string, node ast.Node) ([]*ast.MappingValueNode, bool) {
	var values []*ast.MappingValueNode
	switch m := node.(type) {
	case *ast.MappingNode:
		values = m.Values
	case *ast.MappingValueNode:
		values = []*ast.MappingValueNode{m}
	default:
		d.faultAt(node.GetToken(), "write key: value lines, indented", "%s must be a mapping of keys to values, not %s", named(path), kindOf(node))
		return nil, false
	}
	first := map[string]*token.Token{}
	var kept []*ast.MappingValueNode
	for _, entry := range values {
		tk := entry.Key.GetToken()
		if before, seen := first[tk.Value]; seen {
			d.faultAt(tk, "keep one of the two", "key %q is already given at line %d", tk.Value, before.Position.Line)
			continue
		}
		first[tk.Value] = tk
		kept = append(kept, entry)
	}
	return kept, true
}

func (d *Document) structure(path string, node ast.Node, v reflect.Value) {
	entries, ok := d.entries(path, node)
	if !ok {
		return
	}
	fields := map[string]int{}
	var names []string
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("yaml"), ",")
		if name != "" && name != "-" {
			fields[name] = i
			names = append(names, name)
		}
	}
	for _, entry := range entries {
		tk := entry.Key.GetToken()
		i, known := fields[tk.Value]
		if !known {
			d.faultAt(tk, Hint(tk.Value, names), "unknown key %q%s", tk.Value, within(path))
			continue
		}
		below := join(path, tk.Value)
		d.places[below] = tk
		d.value(below, entry.Value, v.Field(i))
	}
}

func (d *Document) sequence(path string, node ast.Node, v reflect.Value) {
	seq, ok := node.(*ast.SequenceNode)
	if !ok {
		d.faultAt(node.GetToken(), "write each item on a line of its own after \"- \", or all in [ ]", "%s must be a list, not %s", named(path), kindOf(node))
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(seq.Values), len(seq.Values)))
	for i, item := range seq.Values {
		below := fmt.Sprintf("%s[%d]", path, i)
		d.places[below] = first(item)
		d.value(below, item, v.Index(i))
	}
}

func (d *Document) scalar(path string, node ast.Node, v reflect.Value) {
	text, plain, ok := scalarText(node)
	if !ok {
		d.faultAt(node.GetToken(), "", "%s must be a single value, not %s", named(path), kindOf(node))
		return
	}
	at := node.GetToken()
	switch v.Kind() {
	case reflect.String:
		// One quoted space character can be meant: a delimiter, a mark inside numbers.
		if strings.TrimSpace(text) == "" && (plain || utf8.RuneCountInString(text) != 1) {
			d.faultAt(at, "give it a value or leave the key out", "%s is blank", named(path))
			return
		}
		v.SetString(text)
	case reflect.Bool:
		if !plain || text != "true" && text != "false" {
			d.faultAt(at, "write true or false, without quotes", "%s is %q, not true or false", named(path), text)
			return
		}
		v.SetBool(text == "true")
	case reflect.Int:
		n, err := strconv.Atoi(text)
		if !plain || err != nil || strings.ContainsAny(text, "_+") {
			d.faultAt(at, "write digits only, without quotes", "%s is %q, not a whole number", named(path), text)
			return
		}
		v.SetInt(int64(n))
	case reflect.Float64:
		x, err := Number(text)
		if !plain || err != nil {
			d.faultAt(at, "write a decimal number with a point, without quotes and without its unit", "%s is %q, not a number that can be used", named(path), text)
			return
		}
		v.SetFloat(x)
	default:
		panic("located: no decoding for " + v.Type().String())
	}
}

func (d *Document) date(path string, node ast.Node, v reflect.Value) {
	text, _, ok := scalarText(node)
	for _, layout := range []string{time.DateOnly, time.RFC3339} {
		if t, err := time.Parse(layout, text); ok && err == nil {
			v.Set(reflect.ValueOf(t.UTC()))
			return
		}
	}
	d.faultAt(node.GetToken(), "write it as 2026-01-05", "%s is %q, not a date", named(path), text)
}

// scalarText gives a scalar as written; plain tells that it had no quotes.
func scalarText(node ast.Node) (text string, plain, ok bool) {
	switch n := node.(type) {
	case *ast.StringNode:
		quoted := n.Token.Type == token.SingleQuoteType || n.Token.Type == token.DoubleQuoteType
		return n.Value, !quoted, true
	case *ast.LiteralNode:
		return strings.TrimRight(n.Value.Value, "\n"), false, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true, true
	}
	return "", false, false
}

// first is the token where a node begins: of a mapping, its first key.
func first(node ast.Node) *token.Token {
	switch n := node.(type) {
	case *ast.MappingNode:
		if !n.IsFlowStyle && len(n.Values) > 0 {
			return n.Values[0].Key.GetToken()
		}
	case *ast.MappingValueNode:
		return n.Key.GetToken()
	}
	return node.GetToken()
}

func kindOf(node ast.Node) string {
	switch node.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a mapping"
	case *ast.SequenceNode:
		return "a list"
	}
	if tk := node.GetToken(); tk != nil {
		return strconv.Quote(tk.Value)
	}
	return "this"
}

func named(path string) string {
	if path == "" {
		return "the document"
	}
	return path
}

func within(path string) string {
	if path == "" {
		return ""
	}
	return " in " + path
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
