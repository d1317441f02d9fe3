package jcampdx

import (
	"maps"
	"math"
	"strings"

	"underbond/parsers"
)

// turnPage begins a page: what the page before said for itself no longer holds.
func (b *block) turnPage(text string) {
	if b.common == nil {
		b.common = b.said
	}
	b.said = maps.Clone(b.common)
	b.page = text
}

// leavePages ends what pages have said, at the begin or end of NTUPLES data.
func (b *block) leavePages() {
	if b.common != nil {
		b.said = b.common
	}
	b.common, b.page = nil, ""
}

// member gives entry i of one of the parallel lists; empty entries are absent.
func (d declared) member(label string, i int) (value, bool) {
	v, ok := d[label]
	if !ok {
		return v, false
	}
	list := strings.Split(v.text, ",")
	if i >= len(list) {
		return v, false
	}
	v.text = strings.TrimSpace(list[i])
	return v, v.text != ""
}

// variable finds the place of a symbol in the lists.
func (d declared) variable(symbol string) (int, bool) {
	v, ok := d["SYMBOL"]
	if !ok {
		return 0, false
	}
	for i, s := range strings.Split(v.text, ",") {
		if strings.EqualFold(strings.TrimSpace(s), symbol) {
			return i, true
		}
	}
	return 0, false
}

// describeTuple reads the lists for a table with the variables x and y. Extremes and
// the first ordinate are those of the whole data set and bind only when one page
// holds all of the variable.
func (d declared) describeTuple(x, y string, whole bool) (description, bool) {
	xi, okX := d.variable(x)
	yi, okY := d.variable(y)
	if !okX || !okY {
		return description{}, false
	}
	var out description
	read := func(label string, i int) number {
		v, ok := d.member(label, i)
		return out.number(v, ok)
	}
	units := func(i int) string {
		if v, ok := d.member("UNITS", i); ok {
			return v.text
		}
		return ""
	}
	out.x = axis{units: units(xi), factor: read("FACTOR", xi), first: read("FIRST", xi), last: read("LAST", xi)}
	out.y = axis{units: units(yi), factor: read("FACTOR", yi)}
	if whole {
		out.y.first, out.y.min, out.y.max = read("FIRST", yi), read("MIN", yi), read("MAX", yi)
	}
	if v, ok := d["NPOINTS"]; ok {
		out.points = out.number(v, true)
	} else {
		out.points = read("VARDIM", yi)
	}
	return out, true
}

// describe reads what the block declares of the table.
func (p *pendingTable) describe() (description, error) {
	if p.kind != "DATATABLE" {
		if p.kind == "RADATA" {
			return p.said.describe("R", "A"), nil
		}
		return p.said.describe("X", "Y"), nil
	}
	if p.list == (variables{}) {
		return description{}, nil // the list is not known; the table is lost
	}
	x, y := p.list.x, p.list.y
	if !p.list.even {
		x, y = p.list.members[:1], p.list.members[1:2]
	}
	if _, ok := p.said["SYMBOL"]; !ok {
		return p.said.describe("X", "Y"), nil
	}
	whole := strings.HasSuffix(strings.ToUpper(p.name), "XYDATA")
	d, ok := p.said.describeTuple(x, y, whole)
	if !ok {
		return d, parsers.Refuse("jcampdx-variables", p.place,
			"the variables %s and %s are not both in ##SYMBOL=%s", x, y, clip(p.said["SYMBOL"].text))
	}
	return d, nil
}

// scanTime reads a page such as "T=12.5" as seconds from the start of the run, when
// the page's variable has a unit of time.
func (p *pendingTable) scanTime(page string) float64 {
	symbol, text, ok := strings.Cut(page, "=")
	if !ok {
		return math.NaN()
	}
	i, ok := p.said.variable(strings.TrimSpace(symbol))
	if !ok {
		return math.NaN()
	}
	units, found := p.said.member("UNITS", i)
	if !found {
		return math.NaN()
	}
	v, _, ok := headerNumber(text)
	switch unit := quantity(units.text).Unit; {
	case ok && unit == "s":
		return v
	case ok && unit == "ms":
		return v / 1e3
	case ok && unit == "min":
		return v * 60
	}
	return math.NaN()
}
