package custody

import (
	"strconv"
	"strings"
	"unicode/utf8"
)

// Printable gives a form of a path that is safe to show and still unambiguous:
// invalid UTF-8, control and formatting characters and the backslash are
// escaped as in a Go string literal, everything else stays.
func Printable(path []byte) string {
	var b strings.Builder
	for len(path) > 0 {
		r, size := utf8.DecodeRune(path)
		switch {
		case r == utf8.RuneError && size == 1:
			const digits = "0123456789abcdef"
			b.WriteString(`\x`)
			b.WriteByte(digits[path[0]>>4])
			b.WriteByte(digits[path[0]&15])
		case r == '\\':
			b.WriteString(`\\`)
		case r == '\'' || strconv.IsPrint(r):
			b.WriteRune(r)
		default:
			quoted := strconv.QuoteRune(r)
			b.WriteString(quoted[1 : len(quoted)-1])
		}
		path = path[size:]
	}
	return b.String()
}
