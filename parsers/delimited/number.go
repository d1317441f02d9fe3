package delimited

import (
	"fmt"
	"strings"

	"underbond/parsers/located"
)

// numberReader reads number cells of one profile.
type numberReader struct {
	decimal, group string
	words          map[string]string // whole cell to mark
	prefixes       []prefix
}

type prefix struct{ text, mark string }

func newNumberReader(p *Profile) numberReader {
	n := numberReader{decimal: p.DecimalMark, group: p.GroupMark, words: map[string]string{}}
	q := p.Qualifiers
	for mark, words := range map[string][]string{MarkNotFound: q.NotFound, MarkNotANumber: q.NotANumber, MarkEmpty: q.Empty} {
		for _, word := range words {
			n.words[word] = mark
		}
	}
	for _, text := range q.Below {
		n.prefixes = append(n.prefixes, prefix{text, MarkBelow})
	}
	for _, text := range q.Above {
		n.prefixes = append(n.prefixes, prefix{text, MarkAbove})
	}
	return n
}

// cell reads a cell's text: a value, or the mark that says why there is none.
func (n *numberReader) cell(text string) (v float64, mark string, err error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, MarkEmpty, nil
	}
	if v, err = n.number(text); err == nil {
		return v, "", nil
	}
	if mark, ok := n.words[text]; ok {
		return 0, mark, nil
	}
	for _, p := range n.prefixes {
		if limit, ok := strings.CutPrefix(text, p.text); ok {
			if _, err := n.number(strings.TrimSpace(limit)); err != nil {
				return 0, "", err
			}
			return 0, p.mark, nil
		}
	}
	return 0, "", err
}

// number reads text with the profile's marks.
func (n *numberReader) number(text string) (float64, error) {
	plain := text
	if n.group != "" && strings.Contains(text, n.group) {
		whole, fraction, _ := strings.Cut(text, n.decimal)
		groups := strings.Split(strings.TrimLeft(whole, "+-"), n.group)
		for i, g := range groups {
			if i == 0 && (len(g) < 1 || len(g) > 3) || i > 0 && len(g) != 3 || strings.Contains(fraction, n.group) {
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
