package delimited

import (
	"context"
	"errors"
	"fmt"
	"io"

	"underbond/parsers"
	"underbond/parsers/delimited/rows"
)

// reader reads the exports that one profile describes. It does not change after New.
type reader struct {
	profile *Profile
	numbers numberReader
	layout  string // of the start, for package time
}

// New makes the reader of a profile that ParseProfile gave. Options.Encoding has no
// effect on it: the profile states the encoding.
func New(p *Profile) parsers.Reader {
	r := &reader{profile: p, numbers: newNumberReader(p)}
	if p.DateFormat != "" {
		r.layout, _ = dateLayout(p.DateFormat)
	}
	return r
}

// Format implements parsers.Reader.
func (r *reader) Format() string { return parsers.FormatDelimited }

// Read implements parsers.Reader. Each acquisition has one signal, a *parsers.Table
// named for the profile, with the profile's columns in the profile's order.
func (r *reader) Read(ctx context.Context, src io.Reader, opt parsers.Options, sink parsers.Sink) ([]parsers.Problem, error) {
	limits := opt.Limits.WithDefaults()
	text, enc, err := open(&limited{src: src, ctx: ctx, left: limits.TotalBytes}, r.profile.Encoding)
	if err != nil {
		return nil, fmt.Errorf("open delimited text: %w", err)
	}
	s := r.session(text, enc, limits, limits.TokenBytes)
	s.sink = sink
	if err := s.head(); err != nil {
		return nil, err
	}
	if err := s.data(ctx); err != nil {
		return nil, err
	}
	return s.warnings, nil
}

// session begins to read text.
func (r *reader) session(text io.Reader, enc string, limits parsers.Limits, maxRow int) *session {
	return &session{
		reader: r, limits: limits, checked: enc == encodingUTF8, scanner: r.scanner(text, maxRow),
		seen: map[string]int{}, analyte: -1, replicate: -1,
	}
}

func (r *reader) scanner(text io.Reader, maxRow int) *rows.Scanner {
	return rows.New(text, rows.Options{Delimiter: r.profile.Delimiter[0], Unquoted: r.profile.Quoting == quotingNone, MaxRow: maxRow})
}

// limited ends a source that is longer than allowed or no longer wanted.
type limited struct {
	src  io.Reader
	ctx  context.Context
	left int64
}

func (l *limited) Read(p []byte) (int, error) {
	if err := l.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := l.src.Read(p)
	if l.left -= int64(n); l.left < 0 {
		return 0, parsers.Refuse("delimited-limit", parsers.Place{}, "the content is longer than the limit of bytes")
	}
	return n, err
}

// refusalOf turns a fault of the text into a refusal; other errors pass.
func refusalOf(err error) error {
	var f *rows.Fault
	if !errors.As(err, &f) {
		return err
	}
	return parsers.Refuse("delimited-"+f.Code, parsers.Place{Line: f.Line, Column: f.Cell}, "%s (character %d of the line)", f.Message, f.Column)
}
