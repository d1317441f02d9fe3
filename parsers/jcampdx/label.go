package jcampdx

import "bytes"

// label is one labelled data record's first line: ##NAME= value.
type label struct {
	name  string // as written
	norm  string // upper case without blanks, dashes, slashes and underscores
	value []byte
	equal bool // the "=" is there
}

// stripComment cuts a "$$" comment off a line.
func stripComment(line []byte) []byte {
	for from := 0; ; {
		i := bytes.IndexByte(line[from:], '$')
		if i < 0 {
			return line
		}
		i += from
		if i+1 < len(line) && line[i+1] == '$' {
			return line[:i]
		}
		from = i + 1
	}
}

// parseLabel reads a line as a label. "##" counts only at the start of the line,
// where blanks may stand before it.
func parseLabel(line []byte) (label, bool) {
	start := 0
	for start < len(line) && isSpace(line[start]) {
		start++
	}
	if len(line)-start < 2 || line[start] != '#' || line[start+1] != '#' {
		return label{}, false
	}
	rest := line[start+2:]
	name, value, equal := bytes.Cut(rest, []byte("="))
	return label{
		name: string(bytes.TrimSpace(name)), norm: normalise(name),
		value: bytes.TrimSpace(value), equal: equal,
	}, true
}

// normalise gives a label name in the form in which names are compared.
func normalise(name []byte) string {
	out := make([]byte, 0, len(name))
	for _, c := range name {
		switch {
		case c == ' ' || c == '\t' || c == '-' || c == '/' || c == '_':
		case c >= 'a' && c <= 'z':
			out = append(out, c-'a'+'A')
		default:
			out = append(out, c)
		}
	}
	return string(out)
}

func isSpace(c byte) bool { return c == ' ' || c == '\t' || c == '\v' || c == '\f' }

func isBlank(line []byte) bool {
	for _, c := range line {
		if !isSpace(c) {
			return false
		}
	}
	return true
}

// isTail reports whether a line may follow the last ##END=: white space, the
// Ctrl-Z of an old end-of-file mark and NUL padding.
func isTail(line []byte) bool {
	for _, c := range line {
		if !isSpace(c) && c != 0 && c != 0x1A {
			return false
		}
	}
	return true
}

// tableLabels are the labels that open a table of data.
var tableLabels = map[string]bool{
	"XYDATA": true, "XYPOINTS": true, "PEAKTABLE": true, "RADATA": true, "DATATABLE": true,
	"PEAKASSIGNMENTS": true, "PEAKASSIGNMENT": true,
}
