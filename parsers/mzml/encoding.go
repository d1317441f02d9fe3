package mzml

import (
	"bytes"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"underbond/parsers"
)

// form is how characters are kept in the content.
type form uint8

const (
	formUTF8 form = iota
	formSingle
	formUTF16LE
	formUTF16BE
)

// encodingOf judges the encoding of XML content from its first bytes: the byte order
// mark, else the declaration, else UTF-8 as XML asks. A declaration that the bytes
// contradict is a refusal.
func encodingOf(head []byte) (name string, f form, bom int, err error) {
	switch {
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE, 0, 0}), bytes.HasPrefix(head, []byte{0, 0, 0xFE, 0xFF}):
		return "", 0, 0, parsers.Refuse(CodeEncoding, parsers.Place{Line: 1, Column: 1}, "content in UTF-32 is not read")
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}):
		name, f, bom = "UTF-8", formUTF8, 3
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}):
		name, f, bom = "UTF-16", formUTF16LE, 2
	case bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		name, f, bom = "UTF-16", formUTF16BE, 2
	case bytes.HasPrefix(head, []byte{'<', 0}):
		name, f = "UTF-16", formUTF16LE
	case bytes.HasPrefix(head, []byte{0, '<'}):
		name, f = "UTF-16", formUTF16BE
	}
	declared := declaredEncoding(head[bom:], f)
	if declared == "" {
		if name == "" {
			name = "UTF-8"
		}
		return name, f, bom, nil
	}
	var df form
	order := ""
	switch strings.ToLower(declared) {
	case "utf-8", "utf8":
		df = formUTF8
	case "utf-16", "ucs-2", "iso-10646-ucs-2":
		df = formUTF16LE
	case "utf-16le":
		df, order = formUTF16LE, "le"
	case "utf-16be":
		df, order = formUTF16BE, "be"
	case "iso-8859-1", "iso_8859-1", "latin1", "latin-1", "l1", "windows-1252", "cp1252", "us-ascii", "ascii":
		df = formSingle
	default:
		return "", 0, 0, parsers.Refuse(CodeEncoding, parsers.Place{Line: 1, Column: 1}, "the encoding %.40q is not read", declared)
	}
	wide, declaredWide := f >= formUTF16LE, df >= formUTF16LE
	if wide != declaredWide || bom == 3 && df != formUTF8 ||
		order == "le" && f == formUTF16BE || order == "be" && f == formUTF16LE {
		found := name
		if found == "" {
			found = "one byte for a character"
		}
		return "", 0, 0, parsers.Refuse(CodeEncoding, parsers.Place{Line: 1, Column: 1},
			"the declaration says %s, the first bytes say %s", declared, found)
	}
	if !wide {
		f = df
	}
	return declared, f, bom, nil
}

// declaredEncoding finds the encoding in an XML declaration, or "".
func declaredEncoding(head []byte, f form) string {
	if f >= formUTF16LE {
		var narrow []byte
		for i := 0; i+1 < len(head); i += 2 {
			lo, hi := head[i], head[i+1]
			if f == formUTF16BE {
				lo, hi = hi, lo
			}
			if hi != 0 {
				break
			}
			narrow = append(narrow, lo)
		}
		head = narrow
	}
	if !bytes.HasPrefix(head, []byte("<?xml")) {
		return ""
	}
	end := bytes.Index(head, []byte("?>"))
	if end < 0 {
		return ""
	}
	d, _ := parseDeclaration(head[2:end])
	return d.encoding
}

type declaration struct{ version, encoding, standalone string }

// checkDeclaration judges the body of an XML declaration, from "xml" on.
func checkDeclaration(body []byte) (why string) {
	d, why := parseDeclaration(body)
	switch {
	case why != "":
		return why
	case d.version != "1.0":
		return "version " + d.version + " is not read"
	case d.standalone != "" && d.standalone != "yes" && d.standalone != "no":
		return "standalone must be yes or no"
	}
	return ""
}

func parseDeclaration(body []byte) (d declaration, why string) {
	rest := bytes.TrimPrefix(body, []byte("xml"))
	order := 0
	for {
		trimmed := trimLeft(rest)
		if len(trimmed) == 0 {
			break
		}
		if len(trimmed) == len(rest) {
			return d, "no white space before an attribute"
		}
		eq := bytes.IndexByte(trimmed, '=')
		if eq < 0 {
			return d, "an attribute without a value"
		}
		name := string(trimSpace(trimmed[:eq]))
		value := trimLeft(trimmed[eq+1:])
		if len(value) == 0 || value[0] != '"' && value[0] != '\'' {
			return d, "a value that is not quoted"
		}
		n := bytes.IndexByte(value[1:], value[0])
		if n < 0 {
			return d, "a value whose quote does not close"
		}
		text := string(value[1 : 1+n])
		rest = value[n+2:]
		var rank int
		switch name {
		case "version":
			d.version, rank = text, 1
		case "encoding":
			d.encoding, rank = text, 2
		case "standalone":
			d.standalone, rank = text, 3
		default:
			return d, "unknown attribute " + name
		}
		if rank <= order || order == 0 && rank != 1 {
			return d, "attributes out of order"
		}
		if text == "" {
			return d, "an empty " + name
		}
		order = rank
	}
	if d.version == "" {
		return d, "no version"
	}
	return d, ""
}

func trimLeft(b []byte) []byte {
	for len(b) > 0 && isSpace(b[0]) {
		b = b[1:]
	}
	return b
}

// windows1252 are the characters of the bytes 0x80 to 0x9F in that code page; 0 where
// there is none.
var windows1252 = [32]rune{
	0x20AC, 0, 0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160, 0x2039, 0x0152, 0, 0x017D, 0,
	0, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0, 0x017E, 0x0178,
}

// singleByte gives the table of the upper half of a single-byte encoding.
func singleByte(name string) *[128]rune {
	var t [128]rune
	lower := strings.ToLower(name)
	if lower == "us-ascii" || lower == "ascii" {
		return &t
	}
	for i := range t {
		t[i] = rune(0x80 + i)
	}
	if lower == "windows-1252" || lower == "cp1252" {
		copy(t[:32], windows1252[:])
	}
	return &t
}

// appendSingle appends the bytes of b as UTF-8 and stops before one that is no character.
func appendSingle(dst, b []byte, table *[128]rune) (out []byte, ok bool) {
	for _, c := range b {
		if c < utf8.RuneSelf {
			dst = append(dst, c)
			continue
		}
		r := table[c-utf8.RuneSelf]
		if r == 0 {
			return dst, false
		}
		dst = utf8.AppendRune(dst, r)
	}
	return dst, true
}

// appendUTF16 appends the code units of b, of even length, as UTF-8. used is less than
// len(b) when b ends after the first half of a pair.
func appendUTF16(dst, b []byte, f form) (out []byte, used int, ok bool) {
	unit := func(i int) rune {
		if f == formUTF16BE {
			return rune(b[i])<<8 | rune(b[i+1])
		}
		return rune(b[i+1])<<8 | rune(b[i])
	}
	for i := 0; i+1 < len(b); i += 2 {
		r := unit(i)
		if utf16.IsSurrogate(r) {
			if i+3 >= len(b) && r < 0xDC00 {
				return dst, i, true
			}
			if i+3 >= len(b) {
				return dst, i, false
			}
			if r = utf16.DecodeRune(r, unit(i+2)); r == utf8.RuneError {
				return dst, i, false
			}
			i += 2
		}
		dst = utf8.AppendRune(dst, r)
	}
	return dst, len(b) &^ 1, true
}
