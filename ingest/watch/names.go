package watch

import "path"

// foldName lowers ASCII letters only and leaves every other byte, so that a name
// that is no valid UTF-8 keeps its bytes.
func foldName(name string) string {
	b := []byte(name)
	for i, c := range b {
		if 'A' <= c && c <= 'Z' {
			b[i] = c + 'a' - 'A'
		}
	}
	return string(b)
}

// matches says whether one of the folded patterns fits the name.
func matches(patterns []string, name string) bool {
	name = foldName(name)
	for _, p := range patterns {
		if ok, _ := path.Match(p, name); ok { // the pattern was checked when the root was set up
			return true
		}
	}
	return false
}

// wants says whether a file of that name is watched.
func (r *Root) wants(name string) bool {
	return name != r.Marker && !matches(r.Ignore, name) && (len(r.Include) == 0 || matches(r.Include, name))
}
