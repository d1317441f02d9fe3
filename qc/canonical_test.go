package qc_test

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/qc"
)

func canonical(t testing.TB, v any) string {
	t.Helper()
	out, err := qc.Canonical(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// The examples of RFC 8785, sections 3.2.2 to 3.2.4 and appendix B, from memory of the document.
func TestCanonicalExamplesOfTheRFC(t *testing.T) {
	tests := map[string]struct{ in, want string }{
		"serialisation": {
			`{
			  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
			  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
			  "literals": [null, true, false]
			}`,
			`{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`,
		},
		"sorting by UTF-16 code units": {
			`{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh",
			  "1": "One", "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis"}`,
			"{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\u0080\":\"Control\",\"ö\":\"Latin Small Letter O With Diaeresis\"," +
				"\"€\":\"Euro Sign\",\"😀\":\"Emoji: Grinning Face\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got := canonical(t, json.RawMessage(tt.in)); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

// Appendix B of RFC 8785, from memory of the document: bits of a double and its text.
func TestCanonicalNumbersOfTheRFC(t *testing.T) {
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0",
		0x8000000000000000: "0",
		0x0000000000000001: "5e-324",
		0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308",
		0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992",
		0xc340000000000000: "-9007199254740992",
		0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22",
		0x44b52d02c7e14af6: "1e+23",
		0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000",
		0x444b1ae4d6e2ef4f: "999999999999999900000",
		0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7",
		0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332",
		0x41b3de4355555554: "333333333.33333325",
		0x41b3de4355555555: "333333333.3333333",
		0x41b3de4355555556: "333333333.3333334",
		0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333",
		0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		if got := canonical(t, math.Float64frombits(bits)); got != want {
			t.Errorf("bits %016x give %s, want %s", bits, got, want)
		}
	}
}

func TestCanonicalOfGoValues(t *testing.T) {
	type inner struct {
		Z int      `json:"z"`
		A *float64 `json:"a"`
	}
	tests := map[string]struct {
		in   any
		want string
	}{
		"struct order gives way": {inner{Z: 1}, `{"a":null,"z":1}`},
		"no HTML escapes":        {"<a href='x'>&</a>", `"<a href='x'>&</a>"`},
		"line separator":         {"a\u2028b", "\"a\u2028b\""},
		"control characters":     {"\b\f\n\r\t\x00\x1f\x7f", `"\b\f\n\r\t\u0000\u001f` + "\x7f\""},
		"replacement character":  {"\ufffd", "\"\ufffd\""},
		"empty containers":       {map[string]any{"o": map[string]int{}, "a": []int{}}, `{"a":[],"o":{}}`},
		"nested order":           {map[string]any{"b": map[string]int{"y": 1, "x": 2}, "a": 1}, `{"a":1,"b":{"x":2,"y":1}}`},
		"largest exact integer":  {int64(1) << 53, "9007199254740992"},
		"null":                   {nil, "null"},
		"quotes and solidus":     {`"\/`, `"\"\\/"`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got := canonical(t, tt.in); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

func TestCanonicalRefuses(t *testing.T) {
	type peak struct {
		Area  float64 `json:"area"`
		Notes map[string]string
	}
	type trace struct {
		Peaks []*peak `json:"peaks"`
	}
	tests := map[string]struct {
		in    any
		words string
	}{
		"NaN":              {trace{Peaks: []*peak{{Area: 1}, {Area: math.NaN()}}}, "NaN at $.peaks[1].area"},
		"infinity":         {map[string]any{"b": []float64{1, math.Inf(-1)}, "a": 0}, "-Inf at $.b[1]"},
		"not UTF-8":        {trace{Peaks: []*peak{{Notes: map[string]string{"x": "a\xff"}}}}, `not UTF-8, at $.peaks[0].Notes.x`},
		"not UTF-8 name":   {map[string]int{"a\xff": 1}, "member name"},
		"integer too long": {map[string]any{"seq": []int64{1<<53 + 1}}, "9007199254740993, beyond what a double carries exactly, at $.seq[0]"},
		"repeated member":  {map[string]any{"o": json.RawMessage(`{"a":1,"b":2,"a":3}`)}, `member "a" twice at $.o`},
		"number too large": {json.RawMessage(`[1e999]`), "1e999"},
		"lone surrogate":   {json.RawMessage(`{"a":"\ud800"}`), `lone surrogate in "\ud800" at $.a`},
		"no JSON at all":   {map[string]any{"f": func() {}}, "unsupported type"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := qc.Canonical(tt.in)
			if !errors.Is(err, qc.ErrNotCanonical) || !strings.Contains(err.Error(), tt.words) {
				t.Errorf("got %s, %v; want an error with %q", got, err, tt.words)
			}
		})
	}
}

// anyValue draws a JSON value.
func anyValue(t *rapid.T, depth int) any {
	kind := rapid.IntRange(0, 6).Draw(t, "kind")
	if depth == 0 && kind > 3 {
		kind -= 4
	}
	switch kind {
	case 0:
		return nil
	case 1:
		return rapid.Bool().Draw(t, "bool")
	case 2:
		return rapid.Float64().Filter(func(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }).Draw(t, "number")
	case 3:
		return rapid.String().Draw(t, "text")
	case 4:
		list := []any{}
		for range rapid.IntRange(0, 4).Draw(t, "length") {
			list = append(list, anyValue(t, depth-1))
		}
		return list
	default:
		object := map[string]any{}
		for range rapid.IntRange(0, 4).Draw(t, "members") {
			object[rapid.String().Draw(t, "name")] = anyValue(t, depth-1)
		}
		return object
	}
}

// Decoding canonical JSON gives the value back, and its canonical form is the same bytes.
func TestCanonicalIsStable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := anyValue(t, 3)
		first, err := qc.Canonical(v)
		if err != nil {
			t.Fatal(err)
		}
		var decoded any
		if err := json.Unmarshal(first, &decoded); err != nil {
			t.Fatalf("%s: %v", first, err)
		}
		if !reflect.DeepEqual(decoded, v) {
			t.Fatalf("%#v became %s, which reads as %#v", v, first, decoded)
		}
		second, err := qc.Canonical(decoded)
		if err != nil || string(second) != string(first) {
			t.Fatalf("%s became %s, %v", first, second, err)
		}
		digest, bytes, err := qc.Digest(v)
		if err != nil || string(bytes) != string(first) || len(digest) != 64 {
			t.Fatalf("digest %s of %s, %v", digest, bytes, err)
		}
	})
}

func TestDigest(t *testing.T) {
	// SHA-256 of the two bytes {} is a well known value.
	digest, bytes, err := qc.Digest(struct{}{})
	if err != nil || string(bytes) != "{}" || digest != "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a" {
		t.Errorf("got %s of %s, %v", digest, bytes, err)
	}
	if _, _, err := qc.Digest(math.NaN()); !errors.Is(err, qc.ErrNotCanonical) {
		t.Errorf("NaN gives %v", err)
	}
}

func BenchmarkCanonical(b *testing.B) {
	rows := make([]qc.TableRow, 2000)
	for i := range rows {
		rows[i] = qc.TableRow{Line: i, Name: "analyte", Values: []qc.CellValue{{Meaning: "area", Text: "1.25", Value: ptr(float64(i) * 1.25)}}}
	}
	reduction := qc.Reduction{Rows: rows}
	out := canonical(b, reduction)
	b.SetBytes(int64(len(out)))
	for b.Loop() {
		canonical(b, reduction)
	}
}
