package mzml

import "unicode/utf8"

// nameClass marks the ASCII bytes that may stand in an XML name: 1 anywhere but
// first, 2 anywhere.
var nameClass = func() (t [utf8.RuneSelf]uint8) {
	for c := 'a'; c <= 'z'; c++ {
		t[c], t[c-'a'+'A'] = 2, 2
	}
	for c := '0'; c <= '9'; c++ {
		t[c] = 1
	}
	t['-'], t['.'] = 1, 1
	t['_'], t[':'] = 2, 2
	return t
}()

// nameRanges are the other characters that may start a name (XML 1.0, production 4).
var nameRanges = [][2]rune{
	{0xC0, 0xD6}, {0xD8, 0xF6}, {0xF8, 0x2FF}, {0x370, 0x37D}, {0x37F, 0x1FFF},
	{0x200C, 0x200D}, {0x2070, 0x218F}, {0x2C00, 0x2FEF}, {0x3001, 0xD7FF},
	{0xF900, 0xFDCF}, {0xFDF0, 0xFFFD}, {0x10000, 0xEFFFF},
}

func isNameRune(r rune, first bool) bool {
	if r < utf8.RuneSelf {
		return nameClass[r] == 2 || nameClass[r] == 1 && !first
	}
	for _, g := range nameRanges {
		if r >= g[0] && r <= g[1] {
			return true
		}
	}
	return !first && (r == 0xB7 || r >= 0x300 && r <= 0x36F || r == 0x203F || r == 0x2040)
}

// isName reports whether b is an XML name.
func isName(b []byte) bool {
	if len(b) == 0 {
		return false
	}
	for i := 0; i < len(b); {
		r, n := rune(b[i]), 1
		if r >= utf8.RuneSelf {
			r, n = utf8.DecodeRune(b[i:])
			if r == utf8.RuneError && n == 1 {
				return false
			}
		}
		if !isNameRune(r, i == 0) {
			return false
		}
		i += n
	}
	return true
}

// isChar reports whether r may stand in an XML document (production 2).
func isChar(r rune) bool {
	return r >= 0x20 && r <= 0xD7FF || r == '\t' || r == '\n' || r == '\r' ||
		r >= 0xE000 && r <= 0xFFFD || r >= 0x10000 && r <= 0x10FFFF
}

// badChar gives the position of the first byte of b that is not part of a legal
// character, or -1.
func badChar(b []byte) int {
	for i := 0; i < len(b); {
		c := b[i]
		if c < utf8.RuneSelf {
			if c < 0x20 && c != '\t' && c != '\n' && c != '\r' {
				return i
			}
			i++
			continue
		}
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n == 1 || !isChar(r) {
			return i
		}
		i += n
	}
	return -1
}

func isSpace(c byte) bool { return c == ' ' || c == '\t' || c == '\n' || c == '\r' }

func isBlank(b []byte) bool {
	for _, c := range b {
		if !isSpace(c) {
			return false
		}
	}
	return true
}

func trimSpace(b []byte) []byte {
	for len(b) > 0 && isSpace(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && isSpace(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}
