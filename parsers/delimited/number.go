package delimited

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"underbond/parsers/located"
)

// numberReader reads number cells of one profile.
type numberReader struct {
	decimal, group string
	words          map[string]string // whole cell to mark
	before, after  []affix           // longest first
}

// affix is a text before or behind a number and the mark that it gives; an empty mark
// lets the number stand.
type affix struct{ text, mark string }

func newNumberReader(p *Profile) numberReader {
	n := numberReader{decimal: p.DecimalMark, group: p.GroupMark, words: map[string]string{}}
	q := p.Qualifiers
	for mark, lists := range map[string][][]string{
		MarkNotFound: {q.NotFound}, MarkNotANumber: {q.NotANumber}, MarkEmpty: {q.Empty}, MarkBelow: {q.BelowRange}, MarkAbove: {q.AboveRange},
	} {
		for _, word := range slices.Concat(lists...) {
			n.words[word] = mark
		}
	}
	for _, text := range q.Below {
		n.before = append(n.before, affix{text, MarkBelow})
	}
	for _, text := range q.Above {
		n.before = append(n.before, affix{text, MarkAbove})
	}
	for _, flag := range q.AfterNumber {
		mark := flag.Says
		if mark == flagValue {
			mark = ""
		}
		n.after = append(n.after, affix{flag.Text, mark})
	}
	longest := func(a, b affix) int { return cmp.Compare(len(b.text), len(a.text)) }
	slices.SortStableFunc(n.before, longest)
	slices.SortStableFunc(n.after, longest)
	return n
}

// cell reads a cell's text: a value, or the mark that says why there is none.
func (n *numberReader) cell(text string) (v float64, mark string, err error) {
	if v, ok := quick(text, n.decimal); ok {
		return v, "", nil
	}
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, MarkEmpty, nil
	}
	if mark, ok := n.words[text]; ok {
		return 0, mark, nil
	}
	if v, err = n.number(text); err == nil {
		return v, "", nil
	}
	v, mark, ok := n.qualified(text)
	if ok {
		return v, mark, nil
	}
	return 0, "", err
}

// qualified reads a number with a text before or behind it, or both.
func (n *numberReader) qualified(text string) (v float64, mark string, ok bool) {
	for _, a := range n.after {
		rest, found := strings.CutSuffix(text, a.text)
		if !found {
			continue
		}
		rest = strings.TrimSpace(rest)
		if v, err := n.number(rest); err == nil {
			if a.mark != "" {
				v = 0
			}
			return v, a.mark, true
		}
		if _, mark, ok := n.limit(rest); ok {
			return 0, cmp.Or(a.mark, mark), true
		}
	}
	return n.limit(text)
}

func (n *numberReader) limit(text string) (v float64, mark string, ok bool) {
	for _, a := range n.before {
		if rest, found := strings.CutPrefix(text, a.text); found {
			if _, err := n.number(strings.TrimSpace(rest)); err == nil {
				return 0, a.mark, true
			}
		}
	}
	return 0, "", false
}

// number reads text with the profile's marks.
func (n *numberReader) number(text string) (float64, error) {
	plain := text
	if n.group != "" && strings.Contains(text, n.group) {
		mantissa, exponent := text, ""
		if e := strings.IndexAny(text, "eE"); e >= 0 {
			mantissa, exponent = text[:e], text[e:]
		}
		whole, fraction, _ := strings.Cut(mantissa, n.decimal)
		groups := strings.Split(strings.TrimLeft(whole, "+-"), n.group)
		for i, g := range groups {
			if i == 0 && (len(g) < 1 || len(g) > 3) || i > 0 && len(g) != 3 || strings.Contains(fraction+exponent, n.group) {
				return 0, fmt.Errorf("%q has the group mark %q where no thousands are", text, n.group)
			}
		}
		plain = strings.ReplaceAll(text, n.group, "")
	}
	if n.decimal == "," {
		if strings.Contains(plain, ".") {
			return 0, fmt.Errorf("%q has a point, and the profile's decimal mark is a comma", text)
		}
		plain = strings.Replace(plain, ",", ".", 1)
	} else if strings.Contains(plain, ",") {
		return 0, fmt.Errorf("%q has a comma, and the profile's decimal mark is a point", text)
	}
	v, err := located.Number(plain)
	if err != nil && plain != text {
		return 0, fmt.Errorf("%q cannot be used: read with the profile's marks it is %w", text, err)
	}
	return v, err
}

// tens are the powers of ten that a double holds exactly.
var tens = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// quick reads the usual case: sign, digits, decimal mark and digits, all so few that
// mantissa and power of ten are exact doubles and their quotient is rounded once. It
// says false for everything else, right or wrong.
func quick(text, decimal string) (float64, bool) {
	i, mantissa, digits, point := 0, uint64(0), 0, -1
	negative := len(text) > 0 && text[0] == '-'
	if negative {
		i = 1
	}
	for ; i < len(text); i++ {
		switch c := text[i]; {
		case c-'0' <= 9:
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
		case c == decimal[0] && point < 0:
			point = digits
		default:
			return 0, false
		}
	}
	if digits == 0 || digits > 15 { // 10^15 < 2^53
		return 0, false
	}
	v := float64(mantissa)
	if point >= 0 {
		v /= tens[digits-point]
	}
	if negative {
		v = -v
	}
	return v, true
}
