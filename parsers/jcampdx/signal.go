package jcampdx

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"underbond/parsers"
)

// openTable begins a table at its label. The table before it is complete now.
func (s *session) openTable(l label, place parsers.Place) error {
	b := s.top()
	if b.inner > 0 {
		return parsers.Refuse("jcampdx-table-in-link", place, "a block that holds blocks cannot hold a table")
	}
	if b.open != nil {
		if err := s.handOver(b, false); err != nil {
			return err
		}
	}
	list, known := parseVariables(string(l.value))
	text, err := s.text.decode(l.value, place)
	if err != nil {
		return err
	}
	p := &pendingTable{
		name: strings.TrimSpace(l.name + " " + text), kind: l.norm, list: list, place: place,
		said: maps.Clone(b.said), labels: len(b.fields), page: b.page,
	}
	if list.repaired {
		b.warn("jcampdx-variables", place, "a bracket is missing in the variable list %q", clip(text))
	}
	b.open, s.data = p, p
	b.tables++
	switch {
	case !known:
		return s.lose(b, parsers.Refuse("jcampdx-variables", place, "the variable list %q is not known", clip(text)))
	case list.even:
		s.even.reset(s.opt.Limits)
		p.data = &s.even
	case list.members == "XY":
		s.groups.reset(2, s.opt.Limits)
		p.data = &s.groups
	default:
		s.rows.reset(list.members, s.opt.Limits)
		p.data = &s.rows
	}
	return nil
}

// dataLine takes a line of the open table. The first one settles whether commas are
// decimal marks: only when the header says so and the line has no decimal point.
func (s *session) dataLine(line []byte) error {
	p := s.data
	if p.lost {
		return nil
	}
	if !p.anyData {
		p.anyData = true
		d, err := p.describe()
		if err != nil {
			return s.lose(s.top(), err)
		}
		if d.decimalComma() && bytes.IndexByte(line, '.') < 0 {
			p.comma = true
			p.data.useComma()
		}
	}
	place := s.lines.place()
	place.Element = p.place.Element
	if err := p.data.line(line, place); err != nil {
		return s.lose(s.top(), err)
	}
	return nil
}

// lose turns the refusal of the block's open table into a loss: what else the file holds
// is whole. Limits concern the content, and other errors are not about the table.
// Where no table of the file is whole, or the blocks themselves do not add up, the
// refusal stands.
func (s *session) lose(b *block, err error) error {
	var refusal *parsers.Refusal
	if !errors.As(err, &refusal) || strings.HasPrefix(refusal.Code, "jcampdx-limit-") {
		return err
	}
	refusal.Where.Record = s.record(b)
	if s.lost == nil {
		s.lost = refusal
	}
	loss := refusal.Problem
	loss.Grade = parsers.Lost
	b.keep(loss)
	b.open.lost = true
	return nil
}

// handOver gives the block's complete table to the sink, and the acquisition's header
// before its first one. Labels after the last table describe it where nothing before
// it did.
func (s *session) handOver(b *block, atEnd bool) error {
	p := b.open
	labels := p.labels
	if atEnd {
		labels = len(b.fields)
		for name, v := range b.said {
			if _, ok := p.said[name]; !ok {
				p.said[name] = v
			}
		}
	}
	d, data, err := s.complete(b, p)
	if err != nil {
		return err
	}
	b.open = nil
	own := b.fields[:labels:labels]
	b.fields, b.size = b.fields[labels:], 0
	if b.record == 0 {
		if s.records++; s.records > s.opt.Limits.Acquisitions {
			return parsers.Refuse("jcampdx-limit-acquisitions", p.place, "the file has more than %d data blocks", s.opt.Limits.Acquisitions)
		}
		b.record = s.records
		h := b.header(slices.Concat(b.outerFields(), own))
		if err := s.sink.Begin(h); err != nil {
			return fmt.Errorf("begin record %d: %w", b.record, err)
		}
		own = nil
	}
	if s.signals++; s.signals > s.opt.Limits.Signals {
		return parsers.Refuse("jcampdx-limit-signals", p.place, "the file has more than %d tables", s.opt.Limits.Signals)
	}
	if !p.lost {
		s.whole++
	}
	var signal parsers.Signal
	if data.table != nil {
		data.table.Name = p.name
		signal = data.table
		b.index++
	} else {
		signal = b.spectrum(p, d, data, own)
	}
	if err := s.sink.Signal(signal); err != nil {
		return fmt.Errorf("table %d of record %d: %w", b.index, b.record, err)
	}
	return nil
}

// complete gives the points of the block's open table and what it is declared to be,
// unless it is lost.
func (s *session) complete(b *block, p *pendingTable) (d description, data points, err error) {
	d, err = p.describe()
	if p.lost {
		return d, data, nil
	}
	if err == nil {
		b.keep(d.problems...)
		if p.comma {
			b.warn("jcampdx-decimal-comma", p.place, "the numbers have decimal commas")
		}
		data, err = p.data.finish(d, p.place)
	}
	if err != nil {
		return d, points{}, s.lose(b, err)
	}
	b.keep(data.problems...)
	return d, data, nil
}

// spectrum makes the signal of one table; that of a lost one has no points.
func (b *block) spectrum(p *pendingTable, d description, data points, own []parsers.Field) *parsers.Spectrum {
	out := &parsers.Spectrum{
		Index: b.index, ID: b.values["BLOCKID"].text, Kind: b.values["DATATYPE"].text, Table: p.name,
		XAxis: quantity(d.x.units), YAxis: quantity(d.y.units),
		X: data.x, Y: data.y, Fields: own, Lost: p.lost,
	}
	if p.page != "" {
		out.ID = p.page
	}
	b.index++
	if strings.Contains(strings.ToUpper(out.Kind), "MASS SPECTRUM") {
		out.ScanTime = p.scanTime(p.page)
		out.Representation = "profile"
		if p.kind == "PEAKTABLE" || strings.HasSuffix(strings.ToUpper(p.name), "PEAKS") {
			out.Representation = "centroid"
		}
		switch mode := b.values[".IONIZATIONMODE"].text; {
		case strings.HasSuffix(mode, "+"):
			out.Polarity = "positive"
		case strings.HasSuffix(mode, "-"):
			out.Polarity = "negative"
		}
	}
	return out
}
