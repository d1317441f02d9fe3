// Package propose works out a profile of delimited exports from files, as far as the
// files show it. What they do not show becomes an open question, never a guess: the
// proposed profile is refused until a person has answered.
package propose

import (
	"fmt"
	"path/filepath"
	"strings"

	"underbond/parsers/delimited"
	"underbond/parsers/located"
)

// File is an export. All files of one proposal come from the same kind of export.
type File struct {
	Name string
	Data []byte
}

// Options steer Make.
type Options struct {
	// Name of the profile; empty: from the first file's name.
	Name string
	// Encoding of the files, one of delimited.Encodings; empty: a byte order mark or
	// valid UTF-8 says it.
	Encoding string
}

// Note is a decision or a question about one key of the profile.
type Note struct {
	// Key is where it belongs, such as "decimal_mark" or "columns[3].unit".
	Key  string `json:"key"`
	Text string `json:"text"`
}

// Proposal is a profile with the reasons for it.
type Proposal struct {
	// Profile holds delimited.OpenQuestion where a question is open.
	Profile delimited.Profile `json:"profile"`
	// Decisions say what the files show, Questions what they leave open.
	Decisions []Note `json:"decisions"`
	Questions []Note `json:"questions"`
	// Files, Rows and Columns count what was looked at.
	Files   int `json:"files"`
	Rows    int `json:"rows"`
	Columns int `json:"columns"`
}

// FileError: a file cannot be described by any profile, or not together with the
// first one.
type FileError struct {
	File string
	Line int // 0: the file as a whole
	Text string
	Hint string
}

// Error gives "file:line: text" and the hint on a second line.
func (e *FileError) Error() string {
	place := e.File
	if e.Line > 0 {
		place = fmt.Sprintf("%s:%d", e.File, e.Line)
	}
	if e.Hint == "" {
		return place + ": " + e.Text
	}
	return place + ": " + e.Text + "\n    hint: " + e.Hint
}

// maker is a proposal in the making.
type maker struct {
	Proposal
	sheets  []*sheet
	columns []*column
	joined  []string // the starts as dates and times, of columns or of preamble lines
}

// Make proposes a profile for files; there is at least one. Errors are *FileError.
func Make(files []File, opt Options) (*Proposal, error) {
	m := &maker{}
	p := &m.Profile
	p.Kind, p.Version = "profile", "1"
	p.Name = opt.Name
	if p.Name == "" {
		p.Name = nameOf(files[0].Name)
	}
	if err := m.read(files, opt.Encoding); err != nil {
		return nil, err
	}
	m.gather()
	m.marks()
	m.describe()
	m.preamble()
	m.start()
	m.qualifiers()
	m.shape()
	m.end()
	m.Files, m.Columns = len(files), len(m.columns)
	for _, s := range m.sheets {
		m.Rows += len(s.rows)
	}
	return &m.Proposal, nil
}

func (m *maker) decide(key, format string, args ...any) {
	m.Decisions = append(m.Decisions, Note{key, fmt.Sprintf(format, args...)})
}

func (m *maker) ask(key, format string, args ...any) {
	m.Questions = append(m.Questions, Note{key, fmt.Sprintf(format, args...)})
}

// nameOf makes the name of a profile from that of a file.
func nameOf(file string) string {
	base := filepath.Base(file)
	base = strings.ToLower(strings.TrimSuffix(base, filepath.Ext(base)))
	name := strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r == '_' {
			return r
		}
		return '-'
	}, base), "-.")
	if name = name[:min(len(name), 64)]; !located.IsName(name) {
		return "export"
	}
	return name
}

func quoted(list []string) string {
	texts := make([]string, len(list))
	for i, text := range list {
		texts[i] = fmt.Sprintf("%q", text)
	}
	return strings.Join(texts, ", ")
}
