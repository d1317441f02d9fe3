package compressed

import (
	"archive/zip"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"underbond/parsers"
)

const flagEncrypted = 1

// openZip reads the directory of an archive and refuses what could lead anywhere but to
// a stream of bytes.
func openZip(src *source, size int64, limits parsers.Limits) (*Content, error) {
	z, err := zip.NewReader(src, size)
	var failed *sourceError
	switch {
	case errors.As(err, &failed):
		return nil, fmt.Errorf("read the archive's directory: %w", failed.err)
	case errors.Is(err, zip.ErrFormat):
		return nil, parsers.Refuse(CodeCut, parsers.Place{Offset: size}, "the zip archive has no directory at its end, or not the one that belongs there")
	case err != nil && !errors.Is(err, zip.ErrInsecurePath):
		return nil, parsers.Refuse(CodeDamaged, parsers.Place{}, "the zip archive's directory is damaged: %v", err)
	}
	if len(z.File) > maxMembers {
		return nil, parsers.Refuse(CodeLimitMembers, parsers.Place{}, "the archive has %d members, more than %d", len(z.File), maxMembers)
	}
	c := &Content{Kind: Zip}
	seen := map[string]bool{}
	var total uint64
	for _, f := range z.File {
		m := &Member{Name: printable(f.Name), kind: Zip, src: src, limits: limits, packed: int64(min(f.CompressedSize64, uint64(size)))}
		if err := m.check(f, seen); err != nil {
			return nil, err
		}
		if f.Mode().IsDir() {
			continue
		}
		if total += min(f.UncompressedSize64, uint64(limits.TotalBytes)+1); total > uint64(limits.TotalBytes) {
			return nil, m.refuse(CodeLimitBytes, "the members hold more than %d bytes together", limits.TotalBytes)
		}
		m.open = func() (io.ReadCloser, error) {
			s := &stream{m: m}
			r, err := f.Open()
			if err != nil {
				return nil, s.wrong(err)
			}
			s.r, s.close = r, r.Close
			return s, nil
		}
		c.Members = append(c.Members, m)
	}
	if len(c.Members) == 0 {
		return nil, parsers.Refuse(CodeEmpty, parsers.Place{}, "the archive holds no data")
	}
	if err := apart(z.File, size); err != nil {
		return nil, err
	}
	if len(c.Members) == 1 {
		c.Members[0].Name = ""
	}
	return c, nil
}

func (m *Member) refuse(code, format string, args ...any) error {
	return parsers.Refuse(code, parsers.Place{Element: m.Name}, format, args...)
}

// check judges a member's entry in the directory.
func (m *Member) check(f *zip.File, seen map[string]bool) error {
	slashed := strings.ReplaceAll(f.Name, `\`, "/")
	clean := path.Clean(slashed)
	switch mode := f.Mode(); {
	case mode&fs.ModeType != 0 && !mode.IsDir():
		return m.refuse(CodeLink, "the member is a link or a device, not data")
	case !fs.ValidPath(clean) || clean == "." || slices.Contains(strings.Split(slashed, "/"), "..") || hasVolume(slashed) || strings.ContainsRune(slashed, 0):
		return m.refuse(CodeName, "the member's name does not lead to a place inside the archive")
	case seen[clean]:
		return m.refuse(CodeDuplicate, "the archive has two members of this name")
	case f.Flags&flagEncrypted != 0:
		return m.refuse(CodeMethod, "the member is encrypted")
	case f.Method != zip.Store && f.Method != zip.Deflate:
		return m.refuse(CodeMethod, "the member is compressed by method %d; only stored and deflated members are read", f.Method)
	case f.UncompressedSize64 > freeBytes && f.UncompressedSize64/uint64(ratio(m.limits)) > f.CompressedSize64:
		return m.refuse(CodeRatio, "%d bytes are to come out of %d; no measurement is that monotonous", f.UncompressedSize64, f.CompressedSize64)
	}
	seen[clean] = true
	return nil
}

// hasVolume finds a drive letter, which makes a name absolute on some systems.
func hasVolume(name string) bool {
	return len(name) >= 2 && name[1] == ':' && (name[0]|0x20 >= 'a' && name[0]|0x20 <= 'z')
}

// apart refuses members whose data overlap: one set of bytes given out many times is how
// a small archive becomes a huge one.
func apart(files []*zip.File, size int64) error {
	type span struct {
		from, to int64
		name     string
	}
	const localHeader = 30
	var spans []span
	for _, f := range files {
		from, err := f.DataOffset()
		var failed *sourceError
		if errors.As(err, &failed) {
			return fmt.Errorf("read a member's header: %w", failed.err)
		}
		if err != nil || f.CompressedSize64 > uint64(size) || from+int64(f.CompressedSize64) > size {
			return parsers.Refuse(CodeDamaged, parsers.Place{Element: printable(f.Name)}, "the archive's directory does not lead to the member's data")
		}
		spans = append(spans, span{from - localHeader - int64(len(f.Name)), from + int64(f.CompressedSize64), f.Name})
	}
	slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	for i := 1; i < len(spans); i++ {
		if spans[i].from < spans[i-1].to {
			return parsers.Refuse(CodeOverlap, parsers.Place{Element: printable(spans[i].name)},
				"the member shares bytes with member %s", printable(spans[i-1].name))
		}
	}
	return nil
}

// printable gives a name that is safe to show: bytes that are no UTF-8, control and
// formatting characters and the backslash are escaped as in a Go string literal.
func printable(name string) string {
	var b strings.Builder
	for i := 0; i < len(name); {
		r, width := utf8.DecodeRuneInString(name[i:])
		switch {
		case r == utf8.RuneError && width == 1:
			fmt.Fprintf(&b, `\x%02x`, name[i])
		case r == '\\':
			b.WriteString(`\\`)
		case r == '\'' || strconv.IsPrint(r):
			b.WriteRune(r)
		default:
			quoted := strconv.QuoteRune(r)
			b.WriteString(quoted[1 : len(quoted)-1])
		}
		i += width
	}
	return b.String()
}
