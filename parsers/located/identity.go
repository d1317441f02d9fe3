package located

// IsName tells whether text can be the name or version of a document: up to 64 of the
// letters a-z and A-Z, digits, point, hyphen and underscore, not beginning with a
// point or hyphen. Names go into addresses, file names and reports unchanged.
func IsName(text string) bool {
	if text == "" || len(text) > 64 || text[0] == '.' || text[0] == '-' {
		return false
	}
	for i := range len(text) {
		c := text[i]
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '.', c == '-', c == '_':
		default:
			return false
		}
	}
	return true
}

// NameHint says what IsName asks for.
const NameHint = "use letters a-z, digits, point, hyphen and underscore, at most 64"

// Identity checks kind, name and version of a YAML document.
func (d *Document) Identity(want, kind, name, version string) {
	switch {
	case !d.Has("kind"):
		d.Fault("kind", "begin the document with kind: "+want, "kind is missing")
	case kind != want:
		d.Fault("kind", "", "kind is %q, not %q", kind, want)
	}
	d.label("name", name)
	d.label("version", version)
}

func (d *Document) label(path, text string) {
	switch {
	case !d.Has(path):
		d.Fault(path, NameHint, "%s is missing", path)
	case !IsName(text):
		d.Fault(path, NameHint, "%s is %q", path, text)
	}
}
