package delimited

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	"underbond/parsers"
)

// Sniff implements parsers.Reader: it looks for the header row that the profile
// describes. The more columns it names, the surer the match.
func (r *reader) Sniff(head []byte) parsers.Guess {
	guess := parsers.Guess{Format: parsers.FormatDelimited}
	enc, skip, refusal := settle(r.profile.Encoding, head)
	if refusal != nil {
		guess.Reason = refusal.Message
		return guess
	}
	body := head[skip:]
	body = body[:len(body)-len(body)%unitBytes(enc)]
	s := &session{
		reader: r, limits: parsers.DefaultLimits, checked: enc == encodingUTF8,
		scanner: r.scanner(decoded(bytes.NewReader(body), enc), len(head)*3+1),
	}
	if err := s.head(); err != nil {
		guess.Reason = reasonOf(err)
		return guess
	}
	columns := len(r.profile.Columns)
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
