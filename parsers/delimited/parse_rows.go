package delimited

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// maxColumns bounds the number of a column in exports without a header row.
const maxColumns = 4096

// numbered checks what a profile says instead of a header row.
func (c *checker) numbered() {
	p := c.profile
	if p.Header != headerNone {
		for i := range p.Columns {
			if path := fmt.Sprintf("columns[%d].number", i); c.Has(path) {
				c.Fault(path, "leave it out, or set header: none", "column %q has a number, and the header row names it", p.Columns[i].Name)
			}
		}
		if c.Has("preamble.line_count") {
			c.Fault("preamble.line_count", "leave it out, or set header: none", "preamble.line_count is given, and the header row ends the preamble")
		}
		return
	}
	if p.HeaderRow != nil {
		c.Fault("header_row", "leave one of them out", "header_row is given, and header is none")
	}
	if p.Preamble != nil && p.Preamble.LineCount < 1 {
		c.Fault("preamble.line_count", "without a header row only their count tells where the lines end", "preamble.line_count is missing or not above 0")
	}
	taken, last := map[int]string{}, 0
	for i, col := range p.Columns {
		path := fmt.Sprintf("columns[%d].number", i)
		other, twice := taken[col.Number]
		switch {
		case !c.Has(path):
			c.Fault(path, "without a header row each column has its number, from 1", "column %q has no number", col.Name)
			continue
		case col.Number < 1 || col.Number > maxColumns:
			c.Fault(path, "columns count from 1", "the number of column %q is %d", col.Name, col.Number)
			continue
		case twice:
			c.Fault(path, "", "columns %q and %q have the number %d", other, col.Name, col.Number)
		}
		taken[col.Number] = col.Name
		last = max(last, col.Number)
	}
	if len(taken) < last && p.OtherColumns != otherIgnore {
		for n := 1; n <= last; n++ {
			if _, ok := taken[n]; !ok {
				c.Fault("columns", "describe it under columns or set other_columns: ignore", "column number %d is not described", n)
				return
			}
		}
	}
}

// questions refuses what a proposal left open. Keys with a list of words are refused
// where that list is checked.
func (c *checker) questions() {
	p := c.profile
	texts := map[string]string{"footer": p.Footer, "comment": p.Comment, "title": p.Title, "name": p.Name}
	for i, col := range p.Columns {
		path := fmt.Sprintf("columns[%d].", i)
		texts[path+"name"], texts[path+"meaning"], texts[path+"unit"] = col.Name, col.Meaning, col.Unit
	}
	if p.Preamble != nil {
		for i, line := range p.Preamble.Lines {
			path := fmt.Sprintf("preamble.lines[%d].", i)
			texts[path+"name"], texts[path+"meaning"] = line.Name, line.Meaning
		}
	}
	q := p.Qualifiers
	for key, list := range map[string][]string{
		"key": p.Key, "header_row": p.HeaderRow, "qualifiers.below": q.Below, "qualifiers.above": q.Above, "qualifiers.below_range": q.BelowRange,
		"qualifiers.above_range": q.AboveRange, "qualifiers.not_found": q.NotFound, "qualifiers.not_a_number": q.NotANumber, "qualifiers.empty": q.Empty,
	} {
		for i, text := range list {
			texts[fmt.Sprintf("%s[%d]", key, i)] = text
		}
	}
	for _, path := range slices.Sorted(maps.Keys(texts)) {
		if texts[path] == OpenQuestion {
			c.Fault(path, "the proposal's comments say what is known; write the answer or leave the key out", "%s is an open question", path)
		}
	}
}

// replicates wants replicate numbers where they tell rows of one acquisition apart.
func (c *checker) replicates() {
	p := c.profile
	if p.Shape != shapeWide || slices.Contains(p.Key, MeaningReplicate) {
		return
	}
	for i, col := range p.Columns {
		if col.Meaning == MeaningReplicate {
			c.Fault(fmt.Sprintf("columns[%d].meaning", i), "use shape: long with a key that replicates share, or add replicate to the key",
				"column %q numbers replicates, and in the wide shape each row is an acquisition of its own", col.Name)
		}
	}
}

func (c *checker) start() {
	p := c.profile
	all := c.meansOf()
	has := slices.Contains(all, MeaningStart)
	switch {
	case has && p.DateFormat == "":
		c.Fault("date_format", dateHint, "date_format is missing, and the profile has a start")
	case !has && p.DateFormat != "":
		c.Fault("date_format", "leave it out, or give a column or preamble line the meaning start", "date_format is given, and nothing means start")
	}
	layout := ""
	if p.DateFormat != "" {
		var err error
		if layout, err = dateLayout(p.DateFormat); err != nil {
			c.Fault("date_format", dateHint, "date_format: %v", err)
		}
	}
	c.offset(layout, has, slices.Contains(all, MeaningOffset))
}

// offset wants one source of the offset from UTC at most.
func (c *checker) offset(layout string, start, named bool) {
	if c.Has("utc_offset") {
		if _, ok := offsetOf(c.profile.UTCOffset); !ok {
			c.Fault("utc_offset", `write it as "+01:00" or "Z"`, "utc_offset is %q", c.profile.UTCOffset)
		}
	}
	var sources []string
	if strings.Contains(layout, "Z07") {
		sources = append(sources, "date_format")
	}
	if named {
		sources = append(sources, "a column or preamble line")
	}
	if c.Has("utc_offset") {
		sources = append(sources, "utc_offset")
	}
	switch {
	case len(sources) > 1:
		c.Fault("utc_offset", "keep one of them", "the offset from UTC comes from %s", strings.Join(sources, " and from "))
	case len(sources) == 1 && !start:
		c.Fault("utc_offset", "leave it out, or give a column or preamble line the meaning start", "an offset from UTC is given, and nothing means start")
	}
}

// listed is one text of the qualifiers with its place in the document.
type listed struct{ path, key, text string }

func (c *checker) qualifiers() {
	q := c.profile.Qualifiers
	var all []listed
	for _, list := range []struct {
		key   string
		texts []string
	}{
		{"below", q.Below}, {"above", q.Above}, {"below_range", q.BelowRange}, {"above_range", q.AboveRange},
		{"not_found", q.NotFound}, {"not_a_number", q.NotANumber}, {"empty", q.Empty},
	} {
		for i, text := range list.texts {
			all = append(all, listed{fmt.Sprintf("qualifiers.%s[%d]", list.key, i), list.key, text})
		}
	}
	for i, flag := range q.AfterNumber {
		path := fmt.Sprintf("qualifiers.after_number[%d]", i)
		for _, key := range []string{"text", "says"} {
			if !c.Has(path + "." + key) {
				c.Fault(path+"."+key, "", "%s.%s is missing", path, key)
			}
		}
		c.oneOf(path+".says", flag.Says, flagValue, MarkBelow, MarkAbove, MarkNotFound, MarkNotANumber)
		all = append(all, listed{path + ".text", "after_number", flag.Text})
	}
	c.texts(all)
}

// texts refuses qualifiers that could be taken for a number or for one another.
func (c *checker) texts(all []listed) {
	seen := map[string]string{}
	n := numberReader{decimal: c.profile.DecimalMark, group: c.profile.GroupMark}
	for _, l := range all {
		// A text behind a number may also be a whole cell, with a meaning of its own.
		role := l.text
		if l.key == "after_number" {
			role = "0" + l.text
		}
		if other, twice := seen[role]; twice {
			c.Fault(l.path, "", "qualifier %q is already under %s", l.text, other)
		}
		seen[role] = l.key
		_, whole := n.number(l.text)
		_, behind := n.number("0" + l.text)
		_, before := n.number(l.text + "0")
		switch {
		case whole == nil:
			c.Fault(l.path, "a number in a cell is always a value", "qualifier %q is a number", l.text)
		case l.key == "after_number" && behind == nil, (l.key == "below" || l.key == "above") && before == nil:
			c.Fault(l.path, "use signs that numbers do not have", "qualifier %q can be a part of a number", l.text)
		}
		if strings.TrimSpace(l.text) != l.text {
			c.Fault(l.path, "", "qualifier %q begins or ends with a space", l.text)
		}
	}
}
