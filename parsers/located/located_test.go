package located

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

type item struct {
	Name string   `yaml:"name"`
	At   *float64 `yaml:"at,omitempty"`
}

type sample struct {
	Kind    string    `yaml:"kind"`
	Version string    `yaml:"version"`
	Count   int       `yaml:"count"`
	Flag    bool      `yaml:"flag"`
	Day     time.Time `yaml:"day"`
	Items   []item    `yaml:"items"`
	Words   []string  `yaml:"words"`
	One     *item     `yaml:"one"`
}

func TestDecode(t *testing.T) {
	var got sample
	d := Decode("f", []byte(`
kind: 'sample'
version: 1.10
count: 007
flag: true
day: 2026-01-05T12:00:00+01:00
items:
  - name: >-
      two
      lines
    at: -1.5e3
  - {name: true}
words: [a, "b", 3]
one:
  name: 3 µg/L
`), &got)
	if err := d.Err(); err != nil {
		t.Fatal(err)
	}
	at := -1500.0
	want := sample{
		Kind: "sample", Version: "1.10", Count: 7, Flag: true, Day: time.Date(2026, 1, 5, 11, 0, 0, 0, time.UTC),
		Items: []item{{"two lines", &at}, {"true", nil}}, Words: []string{"a", "b", "3"}, One: &item{Name: "3 µg/L"},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	d.Fault("items[1].at", "", "missing here")
	d.Fault("items[0].at", "", "here")
	d.Fault("nothing.there", "", "whole")
	if text := d.Err().Error(); text != "f:2:1: whole\nf:11:5: here\nf:12:5: missing here" {
		t.Errorf("places %q", text)
	}
	var one Error
	if !errors.As(d.Err(), &one) || one.Message != "whole" {
		t.Errorf("errors.As gives %+v", one)
	}
}

func TestDecodeFaults(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"unknown key":       {"knd: x", `f:1:1: unknown key "knd"`},
		"nested unknown":    {"items:\n  - nam: x", `f:2:5: unknown key "nam" in items[0]`},
		"repeated key":      {"kind: x\nkind: y", `f:2:1: key "kind" is already given at line 1`},
		"null":              {"kind: ~", "f:1:7: kind has no value"},
		"nothing":           {"kind:\nversion: 1", "kind has no value"},
		"blank":             {`kind: "  "`, "f:1:7: kind is blank"},
		"mapping for text":  {"kind: {a: b}", "kind must be a single value, not a mapping"},
		"text for mapping":  {"one: x", `f:1:6: one must be a mapping of keys to values, not "x"`},
		"text for list":     {"words: x", `words must be a list, not "x"`},
		"quoted number":     {"items: [{at: '1'}]", `items[0].at is "1", not a number`},
		"number with comma": {"items:\n- at: 1,5", `f:2:7: items[0].at is "1,5"`},
		"not a number":      {"items:\n- at: .nan", `items[0].at is ".nan"`},
		"overflow":          {"items:\n- at: 1e400", `items[0].at is "1e400"`},
		"octal":             {"items:\n- at: 0o17", `items[0].at is "0o17"`},
		"fraction":          {"count: 1.5", `count is "1.5", not a whole number`},
		"yes":               {"flag: yes", `flag is "yes", not true or false`},
		"date":              {"day: 2026-02-30", `f:1:6: day is "2026-02-30", not a date`},
		"anchor":            {"kind: &a x", "anchors, aliases, tags and directives are not allowed"},
		"tag":               {"kind: !!str x", "anchors, aliases, tags and directives are not allowed"},
		"merge":             {"one:\n  <<: x", "not allowed"},
		"directive":         {"%YAML 1.2\n---\nkind: x", "not allowed"},
		"two documents":     {"kind: x\n---\nkind: y", "f:3:1: a second YAML document begins here"},
		"a list":            {"- a", "f:1:1: the document must be a mapping"},
		"comment only":      {"# nothing", "f: the document is empty"},
		"deep":              {"words: " + strings.Repeat("[", 40), "more than 32 levels of nesting"},
		"deep entries":      {strings.Repeat("- ", 40) + "a", "more than 32 levels of nesting"},
		"control":           {"kind: a\x07", "f:1:8: control character U+0007"},
		"not UTF-8":         {"kind: é\xe9", "f:1:8: byte 0xE9 is not valid UTF-8"},
		"too long":          {strings.Repeat("#", maxDocument+1), "more than 1048576"},
	} {
		t.Run(name, func(t *testing.T) {
			err := Decode("f", []byte(c.text), &sample{}).Err()
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %s", err, c.want)
			}
		})
	}
}

func TestTopLevel(t *testing.T) {
	keys, err := TopLevel("f", []byte("kind: method\nlist: [a]\nname: 'x'\n"))
	if err != nil || !reflect.DeepEqual(keys, map[string]string{"kind": "method", "list": "", "name": "x"}) {
		t.Errorf("got %v, %v", keys, err)
	}
}

// TestNumberReadsWhatIsPrinted: every double that is printed is read back to the bit.
func TestNumberReadsWhatIsPrinted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Filter(func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }).Draw(t, "v")
		got, err := Number(fmt.Sprintf("%g", v))
		if err != nil || math.Float64bits(got) != math.Float64bits(v) {
			t.Fatalf("%g became %g, %v", v, got, err)
		}
	})
}

func TestNumberRefuses(t *testing.T) {
	for _, text := range []string{"", "+", ".", "e5", "1e", "1e+", "1.2.3", "1_0", "0x1", "NaN", "Inf", "1 ", " 1", "1e400", "-1e400", "1e-400", "١"} {
		if v, err := Number(text); err == nil {
			t.Errorf("%q is read as %v", text, v)
		}
	}
	for _, text := range []string{"0", "-0", "0e-999", ".5", "5.", "+1", "5e-324", "1.7976931348623157e308"} {
		if _, err := Number(text); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func TestNames(t *testing.T) {
	for text, want := range map[string]bool{"GC-2026-031": true, "1.10": true, "a_b": true, "": false, "a b": false, ".a": false, "-a": false, "a/b": false, "é": false, strings.Repeat("a", 65): false} {
		if IsName(text) != want {
			t.Errorf("%q: %v", text, !want)
		}
	}
}

func TestCAS(t *testing.T) {
	for text, want := range map[string]bool{"67-56-1": true, "7732-18-5": true, "584-02-1": true, "584-02-2": false, "67-56": false, "6-56-1": false, "67-5a-1": false, "67-56-11": false} {
		if IsCAS(text) != want {
			t.Errorf("%q: %v", text, !want)
		}
	}
}

func TestHint(t *testing.T) {
	for text, want := range map[string]string{"methd": `did you mean "method"?`, "Method": `did you mean "method"?`, "x": "allowed: method, profile"} {
		if got := Hint(text, []string{"method", "profile"}); got != want {
			t.Errorf("%q: %s", text, got)
		}
	}
}

func FuzzDecode(f *testing.F) {
	for _, seed := range []string{"kind: x\nitems:\n- {name: a, at: 1}\n", "one:\n  name: |\n    x\n", "words: [a,\"b\"]", "? a\n: b", "kind: \"\\x41\"", "- - a", "{a: b", "a: b: c", "--- x\n...\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var s, again sample
		err, errAgain := Decode("f", data, &s).Err(), Decode("f", data, &again).Err()
		if fmt.Sprint(err) != fmt.Sprint(errAgain) || !reflect.DeepEqual(s, again) {
			t.Fatalf("%v and %v", err, errAgain)
		}
		for _, i := range s.Items {
			if i.At != nil && (math.IsNaN(*i.At) || math.IsInf(*i.At, 0)) {
				t.Fatalf("at is %v", *i.At)
			}
		}
	})
}
