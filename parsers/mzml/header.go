package mzml

import (
	"bytes"
	"fmt"
)

// param is a cvParam or userParam.
type param struct {
	accession     term
	name, value   []byte
	unit          term
	unitName      []byte
	accessionText []byte
	userParam     bool
}

// text is the value as written with its unit.
func (p *param) text() string {
	if len(p.value) == 0 || len(p.unitName) == 0 {
		return string(p.value)
	}
	return string(p.value) + " " + string(p.unitName)
}

// label is the name as written, or the accession of a term without one.
func (p *param) label() []byte {
	if len(p.name) == 0 {
		return p.accessionText
	}
	return p.name
}

// readParam reads the cvParam or userParam whose start tag was read last, and passes over
// its content.
func (r *reading) readParam() (p param) {
	p.userParam = r.s.local[0] == 'u'
	for _, a := range r.s.attrs {
		switch string(a.name) {
		case "accession":
			p.accession, p.accessionText = termOf(a.value), a.value
		case "name":
			p.name = a.value
		case "value":
			p.value = a.value
		case "unitAccession":
			p.unit = termOf(a.value)
		case "unitName":
			p.unitName = a.value
		}
	}
	if p.userParam {
		p.accession = 0
	}
	return p
}

// params handles an element that is a term or refers to a group of terms. take sees
// each term; it may not keep its bytes.
func (r *reading) params(take func(*param) error) (handled bool, err error) {
	switch string(r.s.local) {
	case "cvParam", "userParam":
		p := r.readParam()
		if err := take(&p); err != nil {
			return true, err
		}
		return true, r.skip()
	case "referenceableParamGroupRef":
		ref := r.s.attr("ref")
		group, ok := r.groups[string(ref)]
		if !ok {
			r.warn(CodeReference, "there is no group of terms %.80q", ref)
		}
		for i := range group {
			if err := take(&group[i]); err != nil {
				return true, err
			}
		}
		return true, r.skip()
	}
	return false, nil
}

// paramGroups reads the groups of terms that others refer to.
func (r *reading) paramGroups() error {
	for {
		more, err := r.child()
		if err != nil || !more {
			return err
		}
		if string(r.s.local) != "referenceableParamGroup" {
			if err := r.misplaced(); err != nil {
				return err
			}
			continue
		}
		id := string(r.s.attr("id"))
		if _, twice := r.groups[id]; twice {
			return r.s.fail(CodeStructure, r.s.tag, "two groups of terms %.80q", id)
		}
		group := []param{}
		for {
			more, err := r.child()
			if err != nil {
				return err
			}
			if !more {
				break
			}
			if name := string(r.s.local); name != "cvParam" && name != "userParam" {
				if err := r.misplaced(); err != nil {
					return err
				}
				continue
			}
			p := r.readParam()
			for _, b := range []*[]byte{&p.name, &p.value, &p.unitName, &p.accessionText} {
				*b = bytes.Clone(*b)
			}
			if err := r.keep(len(p.name) + len(p.value) + len(p.unitName) + 128); err != nil {
				return err
			}
			group = append(group, p)
			if err := r.skip(); err != nil {
				return err
			}
		}
		r.groups[id] = group
	}
}

// describe keeps an element of the header and all that is in it as fields, named by the
// elements that they stand in.
func (r *reading) describe(label string) error {
	s := r.s
	if !isList(s.local) {
		label = r.join(label, s.local, ", ")
		for _, key := range []string{"id", "order"} {
			if v := s.attr(key); len(v) > 0 {
				label = r.join(label, v, " ")
			}
		}
		if string(s.local) == "sample" {
			r.samples = append(r.samples, sample{string(s.attr("id")), string(s.attr("name"))})
		}
		for _, a := range s.attrs {
			switch string(a.name) {
			case "id", "order", "count", "xmlns":
				continue
			}
			if bytes.IndexByte(a.name, ':') >= 0 {
				continue
			}
			if err := r.field(r.join(label, a.name, ": "), string(a.value)); err != nil {
				return err
			}
		}
	}
	take := func(p *param) error { return r.field(r.join(label, p.label(), ": "), p.text()) }
	for {
		more, err := r.child()
		if err != nil || !more {
			return err
		}
		handled, err := r.params(take)
		if err == nil && !handled {
			err = r.describe(label)
		}
		if err != nil {
			return err
		}
	}
}

// runElement reads the run, whose start tag was read last.
func (r *reading) runElement() error {
	s := r.s
	r.header.Title = string(s.attr("id"))
	if stamp := s.attr("startTimeStamp"); len(trimSpace(stamp)) > 0 {
		var ok bool
		if r.header.Start, ok = startOf(stamp); !ok {
			r.warn(CodeStart, "the start time stamp %.40q is no date and time", stamp)
		}
	}
	r.header.Sample = r.sampleName(s.attr("sampleRef"))
	for _, key := range []string{"sampleRef", "defaultInstrumentConfigurationRef", "defaultSourceFileRef"} {
		if v := s.attr(key); len(v) > 0 {
			if err := r.field("run: "+key, string(v)); err != nil {
				return err
			}
		}
	}
	take := func(p *param) error { return r.field(r.join("run", p.label(), ": "), p.text()) }
	for {
		more, err := r.child()
		if err != nil {
			return err
		}
		if !more {
			return r.begin()
		}
		switch string(s.local) {
		case "spectrumList":
			err = r.list(false)
		case "chromatogramList":
			err = r.list(true)
		case "sourceFileRefList":
			err = r.describe("run")
		default:
			var handled bool
			switch handled, err = r.params(take); {
			case err == nil && !handled:
				err = r.misplaced()
			}
		}
		if err != nil {
			return err
		}
	}
}

// sampleName finds the run's sample: the one that it refers to, or the only one.
func (r *reading) sampleName(ref []byte) string {
	for _, s := range r.samples {
		if string(ref) != s.id && (len(ref) > 0 || len(r.samples) > 1) {
			continue
		}
		if s.name != "" {
			return s.name
		}
		return s.id
	}
	if len(ref) > 0 {
		r.warn(CodeReference, "there is no sample %.80q", ref)
	}
	return ""
}

// begin gives the header to the sink, once.
func (r *reading) begin() error {
	if r.began {
		return nil
	}
	r.began = true
	if err := r.sink.Begin(r.header); err != nil {
		return fmt.Errorf("begin the mzML run: %w", err)
	}
	return nil
}
