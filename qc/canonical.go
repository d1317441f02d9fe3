package qc

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// ErrNotCanonical: a value has no canonical JSON form. The message says where in it.
var ErrNotCanonical = errors.New("no canonical JSON form")

// Canonical gives v as canonical JSON (RFC 8785): members sorted by the UTF-16 code
// units of their names, numbers as the shortest text that reads back as the same
// double, no white space, no needless escapes. v is first encoded by encoding/json,
// so its tags and marshalers hold.
//
// NaN, infinities, text that is not UTF-8, repeated member names and integers that a
// double cannot carry are refused with their path: two different values never share
// a canonical form.
func Canonical(v any) ([]byte, error) {
	var buffer bytes.Buffer
	encoder := json.NewEncoder(&buffer)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(v); err != nil {
		var unsupported *json.UnsupportedValueError
		if errors.As(err, &unsupported) {
			if path, what := findFault(v); path != "" {
				return nil, fmt.Errorf("%w: %s at %s", ErrNotCanonical, what, path)
			}
		}
		return nil, fmt.Errorf("%w: %w", ErrNotCanonical, err)
	}
	plain := buffer.Bytes()
	// encoding/json silently replaces bytes that are not UTF-8 by this escape.
	if bytes.Contains(plain, []byte(`\ufffd`)) {
		if path, what := findFault(v); path != "" {
			return nil, fmt.Errorf("%w: %s at %s", ErrNotCanonical, what, path)
		}
	}
	t := transformer{in: plain, out: make([]byte, 0, len(plain))}
	if f := t.value(); f != nil {
		return nil, fmt.Errorf("%w: %s at $%s", ErrNotCanonical, f.what, f.path)
	}
	return t.out, nil
}

// Digest gives the SHA-256 of v's canonical JSON in hexadecimal, and that JSON.
func Digest(v any) (string, []byte, error) {
	canonical, err := Canonical(v)
	if err != nil {
		return "", nil, err
	}
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:]), canonical, nil
}

// transformer rewrites the valid JSON that encoding/json wrote into canonical form.
type transformer struct {
	in  []byte
	at  int
	out []byte
}

// fault says what has no canonical form; the path grows on the way out.
type fault struct{ what, path string }

func (f *fault) under(segment string) *fault {
	f.path = segment + f.path
	return f
}

func faultf(format string, args ...any) *fault {
	return &fault{what: fmt.Sprintf(format, args...)}
}

// value copies one value.
func (t *transformer) value() *fault {
	switch c := t.in[t.at]; c {
	case '{':
		return t.object()
	case '[':
		return t.array()
	case '"':
		_, f := t.text()
		return f
	case 't', 'f', 'n':
		end := t.at
		for end < len(t.in) && t.in[end] >= 'a' && t.in[end] <= 'z' {
			end++
		}
		t.out = append(t.out, t.in[t.at:end]...)
		t.at = end
		return nil
	default:
		return t.number()
	}
}

type member struct {
	name       string
	from, till int // its bytes in the output: name, colon and value
}

// object copies an object in input order and then puts its members in canonical order.
func (t *transformer) object() *fault {
	t.at++
	t.out = append(t.out, '{')
	start := len(t.out)
	var members []member
	sorted := true
	for t.in[t.at] != '}' {
		if t.in[t.at] == ',' {
			t.at++
		}
		m := member{from: len(t.out)}
		name, f := t.text()
		if f != nil {
			return f
		}
		m.name = name
		t.at++ // the colon
		t.out = append(t.out, ':')
		if f := t.value(); f != nil {
			return f.under("." + name)
		}
		m.till = len(t.out)
		if len(members) > 0 && compareUTF16(members[len(members)-1].name, name) >= 0 {
			sorted = false
		}
		members = append(members, m)
	}
	t.at++
	if !sorted {
		slices.SortFunc(members, func(a, b member) int { return compareUTF16(a.name, b.name) })
		for i := 1; i < len(members); i++ {
			if members[i].name == members[i-1].name {
				return faultf("member %q twice", members[i].name)
			}
		}
	}
	body := slices.Clone(t.out[start:])
	t.out = t.out[:start]
	for i, m := range members {
		if i > 0 {
			t.out = append(t.out, ',')
		}
		t.out = append(t.out, body[m.from-start:m.till-start]...)
	}
	t.out = append(t.out, '}')
	return nil
}

func (t *transformer) array() *fault {
	t.at++
	t.out = append(t.out, '[')
	for i := 0; t.in[t.at] != ']'; i++ {
		if t.in[t.at] == ',' {
			t.at++
			t.out = append(t.out, ',')
		}
		if f := t.value(); f != nil {
			return f.under("[" + strconv.Itoa(i) + "]")
		}
	}
	t.at++
	t.out = append(t.out, ']')
	return nil
}

// text copies a string and returns it decoded.
func (t *transformer) text() (string, *fault) {
	end := t.at + 1
	escaped := false
	for t.in[end] != '"' {
		if t.in[end] == '\\' {
			escaped = true
			end++
		}
		end++
	}
	end++
	literal := t.in[t.at:end]
	t.at = end
	if !escaped {
		t.out = append(t.out, literal...)
		return string(literal[1 : len(literal)-1]), nil
	}
	var decoded string
	if err := json.Unmarshal(literal, &decoded); err != nil {
		return "", faultf("text %s (%v)", literal, err)
	}
	// A lone surrogate escape decodes to the replacement character without a word.
	if strings.ContainsRune(decoded, utf8.RuneError) &&
		!bytes.ContainsRune(literal, utf8.RuneError) && !bytes.Contains(bytes.ToLower(literal), []byte(`\ufffd`)) {
		return "", faultf("lone surrogate in %s", literal)
	}
	t.out = appendText(t.out, decoded)
	return decoded, nil
}

// number copies a number as ECMAScript writes the nearest double.
func (t *transformer) number() *fault {
	end := t.at
	integer := true
	for end < len(t.in) {
		c := t.in[end]
		if c == '.' || c == 'e' || c == 'E' {
			integer = false
		} else if c != '-' && c != '+' && (c < '0' || c > '9') {
			break
		}
		end++
	}
	literal := string(t.in[t.at:end])
	t.at = end
	value, err := strconv.ParseFloat(literal, 64)
	if err != nil {
		return faultf("number %s (%v)", literal, err)
	}
	text := formatNumber(value)
	const exact = 1 << 53
	if integer && math.Abs(value) >= exact && text != literal {
		return faultf("integer %s, beyond what a double carries exactly,", literal)
	}
	t.out = append(t.out, text...)
	return nil
}

// formatNumber is Number.prototype.toString of ECMAScript for a finite double.
func formatNumber(value float64) string {
	if value == 0 {
		return "0"
	}
	if size := math.Abs(value); size >= 1e-6 && size < 1e21 {
		return strconv.FormatFloat(value, 'f', -1, 64)
	}
	text := strconv.FormatFloat(value, 'e', -1, 64)
	mantissa, exponent, _ := strings.Cut(text, "e")
	return mantissa + "e" + exponent[:1] + strings.TrimLeft(exponent[1:], "0")
}

// appendText writes text as a JSON string with the escapes that RFC 8785 asks for and no others.
func appendText(out []byte, text string) []byte {
	const hexDigits = "0123456789abcdef"
	out = append(out, '"')
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == '"' || c == '\\':
			out = append(out, '\\', c)
		case c == '\b':
			out = append(out, '\\', 'b')
		case c == '\t':
			out = append(out, '\\', 't')
		case c == '\n':
			out = append(out, '\\', 'n')
		case c == '\f':
			out = append(out, '\\', 'f')
		case c == '\r':
			out = append(out, '\\', 'r')
		case c < 0x20:
			out = append(out, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		default:
			out = append(out, c)
		}
	}
	return append(out, '"')
}

// compareUTF16 orders names by UTF-16 code units, which differs from byte order where
// characters beyond the basic plane meet those from U+E000 on.
func compareUTF16(a, b string) int {
	ascii := true
	for i := 0; i < len(a) && ascii; i++ {
		ascii = a[i] < utf8.RuneSelf
	}
	for i := 0; i < len(b) && ascii; i++ {
		ascii = b[i] < utf8.RuneSelf
	}
	if ascii {
		return strings.Compare(a, b)
	}
	return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
}
