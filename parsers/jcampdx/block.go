package jcampdx

import "underbond/parsers"

// block is one open block: from ##TITLE= to ##END=.
type block struct {
	outer  *block // that holds this one
	title  string
	place  parsers.Place
	fields []parsers.Field  // since the last table
	handed []parsers.Field  // outer labels as inner blocks repeat them, once asked for
	values map[string]value // of identifying labels, the first of each
	size   int              // bytes of header text kept
	said   declared
	inner  int // first-level inner blocks
	tables int // tables opened
	record int // number of the acquisition once it has begun
	index  int // signals given out
	open   *pendingTable
	page   string   // page of NTUPLES data, such as "N=1"
	common declared // what held before the first page; nil outside of pages
	problemList
}

// identifying are the labels that say what a block is; block.values keeps them.
var identifying = map[string]bool{
	"JCAMPDX": true, "DATATYPE": true, "BLOCKS": true, "BLOCKID": true,
	"LONGDATE": true, "DATE": true, "TIME": true,
	"SAMPLEDESCRIPTION": true, "SAMPLE": true, "NAMES": true, ".IONIZATIONMODE": true,
}

// pendingTable is a table whose data has been read or is being read. It is handed
// over when the next table or the end of the block shows that its labels are complete.
type pendingTable struct {
	data    table
	name    string // as the format spells it, such as "XYDATA (X++(Y..Y))"
	kind    string // normalised label
	list    variables
	place   parsers.Place
	said    declared
	labels  int    // how many of the block's fields stand before the table
	page    string // of NTUPLES data
	anyData bool
	comma   bool // numbers have decimal commas
	lost    bool // the table is damaged and left out
}

// table is what collects the lines of data after a table label.
type table interface {
	line(b []byte, place parsers.Place) error
	useComma()
	finish(d description, place parsers.Place) (points, error)
}

// add keeps a label that is complete.
func (b *block) add(norm string, v value) {
	switch norm {
	case "TITLE":
		b.title = v.text
		return
	case "PAGE":
		b.turnPage(v.text)
	case "NTUPLES", "ENDNTUPLES":
		b.leavePages()
	}
	if _, ok := b.values[norm]; !ok && identifying[norm] {
		b.values[norm] = v
	}
	if earlier, ok := b.said[norm]; ok && b.tables == 0 && b.common == nil && earlier.text != v.text {
		b.warn("jcampdx-repeated-label", v.place, "the label stands twice in the block, with %q and %q; the last one is used",
			clip(earlier.text), clip(v.text))
	}
	if describing[norm] {
		b.said[norm] = v
	}
	if norm != "JCAMPDX" {
		b.fields = append(b.fields, parsers.Field{Name: v.name, Text: v.text})
	}
}

// header makes the acquisition's header with the given labels.
func (b *block) header(fields []parsers.Field) parsers.Header {
	text := func(names ...string) string {
		for _, name := range names {
			if v := b.values[name].text; v != "" {
				return v
			}
		}
		return ""
	}
	h := parsers.Header{
		Record: b.record, Format: parsers.FormatJCAMPDX, Version: text("JCAMPDX"), Title: b.title,
		Sample: text("SAMPLEDESCRIPTION", "SAMPLE", "NAMES"),
		Fields: fields,
	}
	start, why := readStart(text("LONGDATE"), text("DATE"), text("TIME"))
	h.Start = start
	if why != "" {
		where := b.values["DATE"].place
		if v, ok := b.values["LONGDATE"]; ok {
			where = v.place
		}
		b.warn("jcampdx-date", where, "%s", why)
	}
	return h
}

// problemList keeps problems up to a bound and counts the rest.
type problemList struct {
	list    []parsers.Problem
	losses  int // among list
	dropped int
	// droppedLosses are counted apart, so that no number of warnings hides a loss.
	droppedLosses int
}

// mostProblems bounds the warnings, and the losses, kept for one acquisition or for the file.
const mostProblems = 100

func (p *problemList) warn(code string, where parsers.Place, format string, args ...any) {
	p.keep(parsers.Warn(code, where, format, args...))
}

func (p *problemList) keep(problems ...parsers.Problem) {
	for _, one := range problems {
		switch lost := one.Grade == parsers.Lost; {
		case lost && p.losses >= mostProblems:
			p.droppedLosses++
			continue
		case lost:
			p.losses++
		case len(p.list)-p.losses >= mostProblems:
			p.dropped++
			continue
		}
		p.list = append(p.list, one)
	}
}

// all gives the warnings, the last of which says how many were left out. Places
// without a record get the given one.
func (p *problemList) all(record int) []parsers.Problem {
	if p.dropped > 0 {
		p.list = append(p.list, parsers.Warn("jcampdx-more-problems", parsers.Place{}, "%d more warnings are not listed", p.dropped))
		p.dropped = 0
	}
	if p.droppedLosses > 0 {
		more := parsers.Warn("jcampdx-more-problems", parsers.Place{}, "%d more tables are lost", p.droppedLosses)
		more.Grade = parsers.Lost
		p.list = append(p.list, more)
		p.droppedLosses = 0
	}
	for i := range p.list {
		if p.list[i].Where.Record == 0 {
			p.list[i].Where.Record = record
		}
	}
	return p.list
}
