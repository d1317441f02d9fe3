package mzml

import (
	"bytes"
	"fmt"
	"math"

	"underbond/parsers"
)

// item is a spectrum or chromatogram that is read, decoded and given to the sink. Its
// memory is used again.
type item struct {
	chromatogram bool
	index        int
	id           string
	declared     int  // defaultArrayLength
	lengthKnown  bool // it was there and a number
	where        parsers.Place

	kind           term
	level          int
	polarity       string
	representation string
	scans          int
	scanTime       float64
	bothPolarities bool
	bothModes      bool // profile and centroid

	precursors []parsers.Precursor
	windows    []parsers.Window // scanned
	product    parsers.Window
	nanometres []float64 // distinct values in nm among the trace's own terms

	fields   []parsers.Field
	kept     int // bytes of fields
	arrays   []array
	payloads int // bytes
	crowded  int // arrays that were not kept
	problems []parsers.Problem

	extras  []parsers.Array
	missing []float64 // ordinates that are lost
}

// reset makes the item ready for another signal.
func (it *item) reset() {
	*it = item{
		scanTime: math.NaN(), product: noWindow, precursors: it.precursors[:0], windows: it.windows[:0],
		nanometres: it.nanometres[:0], fields: it.fields[:0], arrays: it.arrays[:0], problems: it.problems[:0],
		extras: it.extras[:0], missing: it.missing[:0],
	}
}

// shrink lets go of memory that only an unusual signal needs.
func (it *item) shrink() {
	arrays := it.arrays[:cap(it.arrays)]
	for i := range arrays {
		if a := &arrays[i]; cap(a.values) > idleValues || cap(a.packed) > 8*idleValues || i >= 16 {
			*a = array{}
		}
	}
	if cap(it.missing) > idleValues {
		it.missing = nil
	}
	it.reset()
}

// site is where a term stands in a signal.
type site uint8

const (
	siteSignal site = iota
	siteScan
	siteWindow // of a scan
	sitePrecursor
	siteIon
	siteActivation
	siteProduct
	siteOther
)

// list reads a list of spectra or chromatograms, whose start tag was read last.
func (r *reading) list(chromatograms bool) error {
	s := r.s
	slot, name := 0, "spectrum"
	if chromatograms {
		slot, name = 1, "chromatogram"
	}
	if r.listed[slot] {
		return s.fail(CodeStructure, s.tag, "a second %sList", name)
	}
	r.listed[slot] = true
	if err := r.begin(); err != nil {
		return err
	}
	stated := string(s.attr("count"))
	where := r.here()
	n := 0
	for {
		r.item = r.pipe.slot()
		more, err := r.child()
		if err != nil {
			return err
		}
		if !more {
			break
		}
		if string(s.local) != name {
			if err := r.misplaced(); err != nil {
				return err
			}
			continue
		}
		if r.signalCount++; r.signalCount > r.lim.Signals {
			return s.fail(CodeLimitCount, s.tag, "more than %d signals", r.lim.Signals)
		}
		if err := r.signal(chromatograms, n); err != nil {
			return err
		}
		if err := r.put(r.item); err != nil {
			return err
		}
		n++
	}
	last := r.item
	r.item = nil
	if err := r.drain(); err != nil {
		return err
	}
	for _, p := range last.problems { // what stands after the last signal
		r.run.add(p)
	}
	last.reset()
	if declared, ok := parseCount([]byte(stated)); !ok || declared != n {
		r.run.add(parsers.Warn(CodeCount, where, "the %sList states the count %.20q and holds %d", name, stated, n))
	}
	return nil
}

// signal reads a spectrum or chromatogram into the item.
func (r *reading) signal(chromatogram bool, index int) error {
	s, it := r.s, r.item
	it.chromatogram, it.index, it.id = chromatogram, index, string(s.attr("id"))
	length := s.attr("defaultArrayLength")
	if it.declared, it.lengthKnown = parseCount(length); it.lengthKnown && it.declared > r.lim.Points {
		return s.fail(CodeLimitPoints, s.tag, "%d points declared where %d are allowed", it.declared, r.lim.Points)
	}
	if v := s.attr("index"); v != nil {
		if n, ok := parseCount(v); !ok || n != index {
			r.remark(CodeIndexAttribute, "the index attribute is %.20q at position %d", v, index)
		}
	}
	if !it.lengthKnown {
		r.remark(CodeArrayLength, "defaultArrayLength %.20q is no number of points", length)
	}
	for _, key := range []string{"sourceFileRef", "spotID", "dataProcessingRef"} {
		if v := s.attr(key); len(v) > 0 {
			if err := r.itemField(key, string(v)); err != nil {
				return err
			}
		}
	}
	take := func(p *param) error { return r.signalTerm(siteSignal, "", p) }
	for {
		more, err := r.child()
		if err != nil {
			return err
		}
		if !more {
			break
		}
		var handled bool
		if handled, err = r.params(take); err == nil && !handled {
			switch string(s.local) {
			case "binaryDataArrayList":
				err = r.arrayList()
			case "scanList", "precursorList", "precursor", "productList", "product":
				err = r.nested(siteOther, "")
			default:
				err = r.misplaced()
			}
		}
		if err != nil {
			return err
		}
	}
	it.where = s.spot(s.tag)
	return nil
}

// nested reads what stands inside of a signal besides its arrays.
func (r *reading) nested(at site, label string) error {
	s, it := r.s, r.item
	if err := r.keepItem(64); err != nil {
		return err
	}
	switch string(s.local) {
	case "scan":
		// The first scan is the signal's own; spectra summed over several have more.
		if it.scans++; it.scans == 1 {
			at = siteScan
		}
	case "scanWindow":
		if at == siteScan {
			at = siteWindow
			it.windows = append(it.windows, noWindow)
		}
	case "precursor":
		at = sitePrecursor
		it.precursors = append(it.precursors, parsers.Precursor{SpectrumID: string(s.attr("spectrumRef")), Isolation: noWindow, Energy: math.NaN()})
		defer it.isolated(&it.precursors[len(it.precursors)-1].Isolation)
	case "selectedIon":
		if at == sitePrecursor {
			at = siteIon
			p := &it.precursors[len(it.precursors)-1]
			p.Ions = append(p.Ions, parsers.Ion{MZ: math.NaN(), Intensity: math.NaN()})
		}
	case "activation":
		if at == sitePrecursor {
			at = siteActivation
		}
	case "product":
		at = siteProduct
		defer it.isolated(&it.product)
	}
	if !isList(s.local) {
		label = r.join(label, s.local, ", ")
		for _, a := range s.attrs {
			if bytes.IndexByte(a.name, ':') >= 0 || string(a.name) == "xmlns" {
				continue
			}
			if err := r.itemField(r.join(label, a.name, ": "), string(a.value)); err != nil {
				return err
			}
		}
	}
	take := func(p *param) error { return r.signalTerm(at, label, p) }
	for {
		more, err := r.child()
		if err != nil || !more {
			return err
		}
		handled, err := r.params(take)
		if err == nil && !handled {
			err = r.nested(at, label)
		}
		if err != nil {
			return err
		}
	}
}

// signalTerm takes up one term of a signal.
func (r *reading) signalTerm(at site, label string, p *param) error {
	it := r.item
	switch p.accession {
	case termMSLevel:
		if at == siteSignal {
			n, ok := parseCount(p.value)
			if !ok || n == 0 {
				r.remark(CodeValue, "the MS level is %.20q", p.value)
			} else {
				it.level = n
			}
			return nil
		}
	case termPositive, termNegative:
		if at == siteSignal || at == siteScan {
			state(&it.polarity, &it.bothPolarities, oneOf(p.accession == termPositive, "positive", "negative"))
			return nil
		}
	case termCentroid, termProfile:
		if at == siteSignal {
			state(&it.representation, &it.bothModes, oneOf(p.accession == termCentroid, "centroid", "profile"))
			return nil
		}
	case termScanStart:
		if at == siteScan {
			r.scanStart(p)
		}
	default:
		if at > siteScan {
			r.selection(at, p)
		}
		if at == siteSignal {
			kinds := spectrumKinds
			if it.chromatogram {
				kinds = chromatogramKinds
			}
			if _, ok := kinds[p.accession]; ok {
				if it.kind == 0 || general[it.kind] {
					it.kind = p.accession
				}
				return nil
			}
			if it.chromatogram && p.unit == unitNanometre {
				r.wavelength(p)
			}
		}
	}
	return r.itemField(r.join(label, p.label(), ": "), p.text())
}

func oneOf(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}

// state sets a property that has two states and may be stated in several places.
func state(property *string, both *bool, value string) {
	if *property != "" && *property != value {
		*both = true
	}
	*property = value
}

// scanStart takes up the scan's time. Without a unit it is not taken: minutes and seconds
// are both common, even within one file.
func (r *reading) scanStart(p *param) {
	v, ok := parseDouble(p.value)
	if !ok || math.IsNaN(v) || math.IsInf(v, 0) {
		r.remark(CodeValue, "the scan start time is %.40q", p.value)
		return
	}
	multiply, divide, ok := units[p.unit].seconds()
	if !ok {
		r.remark(CodeTimeUnit, "the scan start time %.40q has no unit of time", p.value)
		return
	}
	r.item.scanTime = v * multiply / divide
}

// wavelength takes up a value in nanometres of a trace.
func (r *reading) wavelength(p *param) {
	v, ok := parseDouble(p.value)
	if !ok {
		return
	}
	for _, w := range r.item.nanometres {
		if w == v {
			return
		}
	}
	if len(r.item.nanometres) < 2 {
		r.item.nanometres = append(r.item.nanometres, v)
	}
}

// itemField keeps a header value of the signal.
func (r *reading) itemField(name, text string) error {
	r.item.fields = append(r.item.fields, parsers.Field{Name: name, Text: text})
	return r.keepItem(len(name) + len(text) + 32)
}

// keepItem counts what is kept of one signal beside its arrays.
func (r *reading) keepItem(n int) error {
	if r.item.kept += n; r.item.kept > r.lim.TokenBytes {
		return r.s.fail(CodeLimitToken, r.s.tag, "more than %d bytes of values in one signal", r.lim.TokenBytes)
	}
	return nil
}

// name is the signal as problems name it.
func (it *item) name() string {
	if it.chromatogram {
		return fmt.Sprintf("chromatogram %d %.200q", it.index, it.id)
	}
	return fmt.Sprintf("spectrum %d %.200q", it.index, it.id)
}

// remark adds a problem of the signal as a whole.
func (it *item) remark(grade func(string, parsers.Place, string, ...any) parsers.Problem, code, format string, args ...any) {
	where := it.where
	where.Element = it.name()
	it.problems = append(it.problems, grade(code, where, format, args...))
}
