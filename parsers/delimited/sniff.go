package delimited

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"

	"underbond/parsers"
)

// Sniff implements parsers.Reader: it looks for the header row that the profile
// describes. The more columns it names, the surer the match. Without a header row the
// first row must be one that the profile can read, which makes no match sure.
func (r *reader) Sniff(head []byte) parsers.Guess {
	guess := parsers.Guess{Format: parsers.FormatDelimited}
	enc, skip, refusal := settle(r.profile.Encoding, head)
	if refusal != nil {
		guess.Reason = refusal.Message
		return guess
	}
	body := head[skip:]
	body = body[:len(body)-len(body)%unitBytes(enc)]
	s := r.session(decoded(bytes.NewReader(body), enc), enc, parsers.DefaultLimits, len(head)*3+1)
	if err := s.head(); err != nil {
		guess.Reason = reasonOf(err)
		return guess
	}
	columns := len(r.profile.Columns)
	if r.profile.Header == headerNone {
		if err := s.firstRow(); err != nil {
			guess.Reason = reasonOf(err)
			return guess
		}
		guess.Confidence = 20 + min(columns, 20)
		guess.Reason = fmt.Sprintf("the first row fits the %d columns of profile %s, which has no header row", columns, r.profile.Name)
		return guess
	}
	guess.Confidence = 55 + min(5*columns, 35)
	switch {
	case r.profile.HeaderRow != nil:
		guess.Confidence += 5
	case s.width > columns:
		guess.Confidence -= 15
	}
	guess.Reason = fmt.Sprintf("the header row has the %d columns of profile %s", columns, r.profile.Name)
	if pre := r.profile.Preamble; pre != nil && slices.ContainsFunc(pre.Lines, func(f PreambleField) bool { return f.Required }) {
		guess.Confidence += 4
		guess.Reason += " and follows its preamble"
	}
	return guess
}

// reasonOf is the message of a refusal with its line.
func reasonOf(err error) string {
	var refusal *parsers.Refusal
	if errors.As(err, &refusal) {
		return fmt.Sprintf("%s: %s", refusal.Where, refusal.Message)
	}
	return err.Error()
}

// firstRow reads the first row, of an export without a header row, as Read would.
func (s *session) firstRow() error {
	row, err := s.next()
	if err == io.EOF {
		return parsers.Refuse("delimited-empty", parsers.Place{Line: s.scanner.Line()}, "there is no row")
	}
	if err != nil {
		return err
	}
	if err := s.sized(row); err != nil {
		return err
	}
	cells, err := s.cells(row)
	if err != nil {
		return err
	}
	if text := s.fact(MeaningStart, cells); text != "" && startOf(text, s.offset(cells), s.layout).Local == "" {
		return parsers.Refuse("delimited-start", parsers.Place{Line: row.Line}, "the start %q is not a date and time in the form %s", text, s.profile.DateFormat)
	}
	return nil
}
