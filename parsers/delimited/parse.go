package delimited

import (
	"fmt"
	"slices"
	"strings"

	"underbond/parsers/located"
)

// ParseProfile reads and checks one profile document. The error is a located.Errors
// with every fault found.
func ParseProfile(file string, data []byte) (*Profile, error) {
	p := &Profile{}
	doc := located.Decode(file, data, p)
	if len(doc.Faults) > 0 {
		return nil, doc.Err()
	}
	c := &checker{Document: doc, profile: p}
	c.check()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

type checker struct {
	*located.Document
	profile *Profile
}

func (c *checker) check() {
	p := c.profile
	c.Identity("profile", p.Kind, p.Name, p.Version)
	c.questions()
	for _, key := range []string{"encoding", "delimiter", "decimal_mark", "columns", "shape"} {
		if !c.Has(key) {
			c.Fault(key, "", "%s is missing", key)
		}
	}
	c.oneOf("encoding", p.Encoding, Encodings()...)
	c.oneOf("delimiter", p.Delimiter, ",", ";", "\t", "|")
	c.oneOf("quoting", p.Quoting, quotingDouble, quotingNone)
	c.oneOf("other_columns", p.OtherColumns, otherRefuse, otherIgnore)
	c.oneOf("shape", p.Shape, shapeLong, shapeWide)
	c.oneOf("header", p.Header, headerIsRow, headerNone)
	c.oneOf("end", p.End, endNewline, endNone)
	c.marks()
	c.preamble()
	c.columns()
	c.headerRow()
	c.numbered()
	c.key()
	c.replicates()
	c.start()
	c.qualifiers()
	c.end()
}

func (c *checker) oneOf(path, value string, allowed ...string) {
	if c.Has(path) && !slices.Contains(allowed, value) {
		quoted := make([]string, len(allowed))
		for i, a := range allowed {
			quoted[i] = fmt.Sprintf("%q", a)
		}
		c.Fault(path, "allowed: "+strings.Join(quoted, ", "), "%s is %q", path, value)
	}
}

func (c *checker) marks() {
	p := c.profile
	c.oneOf("decimal_mark", p.DecimalMark, ".", ",")
	c.oneOf("group_mark", p.GroupMark, ",", ".", "'", "’", " ", "\u00a0", "\u202f")
	if p.GroupMark != "" && p.GroupMark == p.DecimalMark {
		c.Fault("group_mark", "", "group_mark and decimal_mark are both %q", p.GroupMark)
	}
	if p.Quoting == quotingNone && (p.DecimalMark == p.Delimiter || p.GroupMark == p.Delimiter) && p.Delimiter != "" {
		c.Fault("delimiter", "", "the delimiter %q is also a mark inside numbers, and nothing is quoted", p.Delimiter)
	}
	if p.Comment != "" && (strings.Contains(p.Comment, p.Delimiter) || strings.Contains(p.Comment, `"`)) {
		c.Fault("comment", `a line's first characters, such as "#"`, "comment is %q", p.Comment)
	}
}

func (c *checker) preamble() {
	pre := c.profile.Preamble
	if pre == nil {
		return
	}
	if !c.Has("preamble.separator") {
		c.Fault("preamble.separator", `give ":" or "=", or the delimiter`, "preamble.separator is missing")
	}
	c.oneOf("preamble.separator", pre.Separator, ":", "=", c.profile.Delimiter)
	c.oneOf("preamble.other", pre.Other, preambleKeep, preambleRefuse)
	names := map[string]bool{}
	for i, line := range pre.Lines {
		path := fmt.Sprintf("preamble.lines[%d]", i)
		switch {
		case !c.Has(path + ".name"):
			c.Fault(path+".name", "", "%s.name is missing", path)
		case names[line.Name]:
			c.Fault(path+".name", "keep one of the two", "preamble line %q is listed twice", line.Name)
		}
		names[line.Name] = true
		c.meaning(path+".meaning", line.Meaning)
		if line.Meaning != "" && line.Meaning != MeaningStart && c.takenBefore(i) {
			c.Fault(path+".meaning", "a fact comes from one column or one preamble line", "meaning %q is already given to another place", line.Meaning)
		}
		if line.Volatile && line.Meaning != "" {
			c.Fault(path+".volatile", "what changes with every export cannot be a fact of the acquisition", "preamble line %q is volatile and has a meaning", line.Name)
		}
	}
}

// takenBefore tells whether a column or an earlier line has the meaning of preamble line i.
func (c *checker) takenBefore(i int) bool {
	lines := c.profile.Preamble.Lines
	meaning := lines[i].Meaning
	return slices.ContainsFunc(c.profile.Columns, func(col ColumnSpec) bool { return col.Meaning == meaning }) ||
		slices.ContainsFunc(lines[:i], func(f PreambleField) bool { return f.Meaning == meaning })
}

// meaning wants words without surrounding spaces.
func (c *checker) meaning(path, text string) {
	if strings.TrimSpace(text) != text {
		c.Fault(path, "", "%s: %q begins or ends with a space", path, text)
	}
}

func (c *checker) columns() {
	p := c.profile
	if c.Has("columns") && len(p.Columns) == 0 {
		c.Fault("columns", "", "columns is empty")
	}
	names, meanings := map[string]bool{}, map[string]string{}
	for i, col := range p.Columns {
		path := fmt.Sprintf("columns[%d]", i)
		for _, key := range []string{"name", "type"} {
			if !c.Has(path + "." + key) {
				c.Fault(path+"."+key, "", "%s.%s is missing", path, key)
			}
		}
		c.meaning(path+".name", col.Name)
		c.meaning(path+".meaning", col.Meaning)
		c.oneOf(path+".type", col.Type, typeNumber, typeText, typeTime)
		if names[col.Name] && col.Name != "" {
			c.Fault(path+".name", "keep one of the two", "column %q is listed twice", col.Name)
		}
		names[col.Name] = true
		if other, taken := meanings[col.Meaning]; taken && col.Meaning != "" && col.Meaning != MeaningStart {
			c.Fault(path+".meaning", "give each column its own meaning", "column %q means %q as column %q does", col.Name, col.Meaning, other)
		}
		meanings[col.Meaning] = col.Name
		switch {
		case (col.Type == typeTime) != (col.Meaning == MeaningStart):
			c.Fault(path, "the start is the only time that is read; give other times type: text", "column %q has type %q and meaning %q", col.Name, col.Type, col.Meaning)
		case col.Type != typeNumber && col.Unit != "":
			c.Fault(path+".unit", "leave it out", "column %q is not a number and has a unit", col.Name)
		}
	}
}

func (c *checker) headerRow() {
	p := c.profile
	if p.HeaderRow == nil {
		return
	}
	for _, col := range p.Columns {
		if !slices.Contains(p.HeaderRow, col.Name) && col.Name != "" {
			c.Fault("header_row", "list all names in the order of the file", "header_row lacks column %q", col.Name)
		}
	}
	for i, name := range p.HeaderRow {
		path := fmt.Sprintf("header_row[%d]", i)
		if slices.Index(p.HeaderRow, name) < i {
			c.Fault(path, "", "header_row has %q twice", name)
		}
		if !slices.ContainsFunc(p.Columns, func(col ColumnSpec) bool { return col.Name == name }) && p.OtherColumns != otherIgnore {
			c.Fault(path, "describe it under columns or set other_columns: ignore", "header_row has %q, which columns does not describe", name)
		}
	}
}

// meansOf gives all meanings of columns and preamble lines.
func (c *checker) meansOf() []string {
	var all []string
	for _, col := range c.profile.Columns {
		if col.Meaning != "" {
			all = append(all, col.Meaning)
		}
	}
	if pre := c.profile.Preamble; pre != nil {
		for _, line := range pre.Lines {
			if line.Meaning != "" {
				all = append(all, line.Meaning)
			}
		}
	}
	return all
}

func (c *checker) key() {
	all := c.meansOf()
	for i, meaning := range c.profile.Key {
		path := fmt.Sprintf("key[%d]", i)
		switch {
		case !slices.Contains(all, meaning):
			c.Fault(path, located.Hint(meaning, all), "key: neither a column nor a preamble line means %q", meaning)
		case slices.Index(c.profile.Key, meaning) < i:
			c.Fault(path, "", "key has %q twice", meaning)
		}
	}
}

func (c *checker) end() {
	p := c.profile
	if p.End == endNewline && p.Footer != "" {
		c.Fault("end", "leave it out: a footer proves more", "both end and footer are given")
	}
	if strings.Count(p.Footer, footerRows) > 1 {
		c.Fault("footer", "", "footer has %s twice", footerRows)
	}
	if p.Footer != "" && p.Comment != "" && strings.HasPrefix(p.Footer, p.Comment) {
		c.Fault("footer", "", "footer %q looks like a comment", p.Footer)
	}
}
