package propose

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"underbond/parsers/delimited/rows"
)

// line is a line of a file with something written in it.
type line struct {
	number int
	raw    string
	cells  []string // without spaces around them
	ended  bool
}

// filled counts the cells in which something is written.
func (l *line) filled() int {
	n := 0
	for _, cell := range l.cells {
		if cell != "" {
			n++
		}
	}
	return n
}

// layout is one way to read a file as a table.
type layout struct {
	delimiter byte
	unquoted  bool
	rows      int
	// fits is the part of all lines that belong to the table, header row and data; a
	// header row above counts for it too.
	fits float64
}

// sheet is a file in its parts.
type sheet struct {
	file     string
	preamble []line
	header   *line // nil: there is none
	rows     []line
	footer   *line
	comments []line
	prefix   string // of comments
	ended    bool   // the last line has a line end
	width    int
	maybe    bool // the header row may be data
}

// split cuts a text into lines and cells; err is a *rows.Fault.
func split(text string, delimiter byte, unquoted bool) ([]line, error) {
	s := rows.New(strings.NewReader(text), rows.Options{Delimiter: delimiter, Unquoted: unquoted})
	var lines []line
	for {
		row, err := s.Next()
		if err == io.EOF {
			return lines, nil
		}
		if err != nil {
			return nil, err
		}
		l := line{number: row.Line, raw: string(row.Raw), ended: row.Ended}
		for _, cell := range row.Cells {
			l.cells = append(l.cells, strings.TrimSpace(string(cell)))
		}
		if l.filled() > 0 {
			lines = append(lines, l)
		}
	}
}

// named is what a header row adds to a layout's fit: decimal commas cut rows evenly, but
// not the names above them.
const named = 0.3

// layouts gives the ways in which a text is a table, the best first.
func layouts(text string) ([]layout, error) {
	var found []layout
	var fault error
	for _, delimiter := range []byte{',', ';', '\t', '|'} {
		for _, unquoted := range []bool{false, true} {
			if unquoted && !strings.Contains(text, `"`) {
				continue
			}
			lines, err := split(text, delimiter, unquoted)
			if err != nil {
				if fault == nil {
					fault = err
				}
				continue
			}
			s := parts(lines)
			if s == nil {
				break
			}
			l := layout{delimiter: delimiter, unquoted: unquoted, rows: len(s.rows)}
			if l.fits = float64(len(s.rows)) / float64(len(lines)-len(s.comments)); s.header != nil {
				l.fits += named
			}
			found = append(found, l)
			break
		}
	}
	slices.SortStableFunc(found, func(a, b layout) int { return cmp.Compare(b.fits, a.fits) })
	if len(found) == 0 {
		return nil, fault
	}
	return found, nil
}

// parts takes lines apart; nil when they hold no table of two columns or more.
func parts(lines []line) *sheet {
	s := &sheet{ended: len(lines) > 0 && lines[len(lines)-1].ended}
	s.width = commonWidth(lines)
	if s.width < 2 {
		return nil
	}
	lines = s.cutComments(lines)
	first, named := s.firstRow(lines)
	if first < 0 {
		return nil
	}
	begin := first
	if named {
		begin--
		s.header = &lines[begin]
	}
	s.preamble, s.rows = lines[:begin], lines[first:]
	if n := len(s.rows); n > 1 {
		if last := &s.rows[n-1]; len(last.cells) != s.width || s.width > 3 && last.filled() <= 2 && s.rows[n-2].filled() > 2 {
			s.footer, s.rows = last, s.rows[:n-1]
		}
	}
	return s
}

// commonWidth is the number of cells that most lines have.
func commonWidth(lines []line) int {
	counts := map[int]int{}
	best := 0
	for _, l := range lines {
		counts[len(l.cells)]++
	}
	for width, n := range counts {
		if width > 1 && (best == 0 || n > counts[best] || n == counts[best] && width > best) {
			best = width
		}
	}
	return best
}

// cutComments takes out lines that begin as comments do and are no rows.
func (s *sheet) cutComments(lines []line) []line {
	for _, prefix := range []string{"#", "//"} {
		isComment := func(l line) bool { return strings.HasPrefix(l.raw, prefix) && len(l.cells) != s.width }
		if !slices.ContainsFunc(lines, isComment) {
			continue
		}
		var rest []line
		for _, l := range lines {
			if isComment(l) {
				s.comments = append(s.comments, l)
			} else {
				rest = append(rest, l)
			}
		}
		s.prefix = prefix
		return rest
	}
	return lines
}

// base is the file's name without its folder, for documents.
func (s *sheet) base() string { return filepath.Base(s.file) }

// firstRow finds the first data row: one of the common width with a number or a date.
// named tells that a header row stands before it.
func (s *sheet) firstRow(lines []line) (at int, named bool) {
	for i := range lines {
		l := &lines[i]
		if len(l.cells) != s.width || l.filled() < max(2, s.width/2) || !slices.ContainsFunc(l.cells, isData) {
			continue
		}
		return i, i > 0 && s.names(&lines[i-1])
	}
	// Without any number the first full line may be the header row.
	for i := range lines {
		if s.names(&lines[i]) && i+1 < len(lines) {
			s.maybe = true
			return i + 1, true
		}
	}
	return -1, false
}

// names tells whether a line can be the header row. Names that are missing or there
// twice are for later to complain of.
func (s *sheet) names(l *line) bool {
	return len(l.cells) == s.width && l.filled() >= max(2, s.width*3/4) && !slices.ContainsFunc(l.cells, isData)
}

// read settles encoding and delimiter by the first file and takes all files apart.
func (m *maker) read(files []File, asked string) error {
	p := &m.Profile
	var best layout
	for i, f := range files {
		text, encoding, why, err := decode(f, asked)
		if err != nil {
			return err
		}
		if i == 0 {
			p.Encoding = encoding
			m.decide("encoding", "%s", why)
			found, err := layouts(text)
			if err != nil || len(found) == 0 {
				return noTable(f.Name, err)
			}
			best = found[0]
			m.delimiter(found)
		} else if encoding != p.Encoding {
			return &FileError{File: f.Name, Text: fmt.Sprintf("the encoding is %s, that of %s is %s", encoding, files[0].Name, p.Encoding), Hint: "one profile has one encoding"}
		}
		lines, err := split(text, best.delimiter, best.unquoted)
		if err != nil {
			return noTable(f.Name, err)
		}
		s := parts(lines)
		if s == nil {
			return noTable(f.Name, nil)
		}
		s.file = f.Name
		if err := s.check(); err != nil {
			return err
		}
		if err := s.like(m.sheets); err != nil {
			return err
		}
		m.sheets = append(m.sheets, s)
	}
	return nil
}

func (m *maker) delimiter(found []layout) {
	p, best := &m.Profile, found[0]
	p.Delimiter = string(best.delimiter)
	m.decide("delimiter", "it cuts all %d rows of the first file into cells of one number", best.rows)
	if best.unquoted {
		p.Quoting = "none"
		m.decide("quoting", "quotes stand inside cells, so they enclose none")
	}
	for _, other := range found[1:] {
		if other.fits > best.fits-0.1 {
			m.ask("delimiter", "%q and %q both cut the rows into cells of one number", best.delimiter, other.delimiter)
			p.Delimiter = open
			return
		}
	}
}

func noTable(file string, err error) error {
	var fault *rows.Fault
	if errors.As(err, &fault) {
		return &FileError{File: file, Line: fault.Line, Text: fmt.Sprintf("character %d: %s", fault.Column, fault.Message), Hint: "such a file is refused under every profile: export it again"}
	}
	return &FileError{File: file, Text: "no table was found: no delimiter cuts the lines into rows of two columns or more"}
}

// check refuses what no profile can describe.
func (s *sheet) check() error {
	if s.header != nil {
		for i, name := range s.header.cells {
			switch {
			case name == "":
				return &FileError{File: s.file, Line: s.header.number, Text: fmt.Sprintf("column %d of the header row has no name", i+1)}
			case slices.Index(s.header.cells, name) < i:
				return &FileError{File: s.file, Line: s.header.number, Text: fmt.Sprintf("column %d of the header row is %q again", i+1, name), Hint: "columns are told apart by name"}
			}
		}
	}
	for _, l := range s.rows {
		if len(l.cells) != s.width {
			return &FileError{File: s.file, Line: l.number, Text: fmt.Sprintf("the row has %d cells, the table %d", len(l.cells), s.width), Hint: "such a file is refused under every profile: export it again"}
		}
	}
	return nil
}

// like wants the columns of the sheets before.
func (s *sheet) like(before []*sheet) error {
	if len(before) == 0 {
		return nil
	}
	first := before[0]
	var names, want []string
	if s.header != nil {
		names = s.header.cells
	}
	if first.header != nil {
		want = first.header.cells
	}
	if s.width != first.width || !slices.Equal(names, want) {
		return &FileError{File: s.file, Text: fmt.Sprintf("the columns are %s, those of %s are %s", quoted(names), first.file, quoted(want)), Hint: "give only files of one kind of export"}
	}
	return nil
}
