package qc

import (
	"underbond/parsers"
	"underbond/parsers/extract"
	"underbond/qc/method"
)

// extraction says a trace to extract in the words of package extract.
func extraction(t method.Trace) extract.Trace {
	out := extract.Trace{MSLevel: t.MSLevel, Polarity: t.Polarity}
	switch t.Extract {
	case method.ExtractTotalIon:
		out.Kind = extract.TotalIon
	case method.ExtractBasePeak:
		out.Kind = extract.BasePeak
	case method.ExtractIon:
		out.Kind = extract.Window
		if t.MZ != nil {
			out.Target = *t.MZ
		}
		if value, ppm, err := method.ParseTolerance(t.Tolerance); err == nil {
			out.Tolerance, out.PPM = value, ppm
		}
	case method.ExtractWavelength:
		out.Kind = extract.Wavelength
		if t.Wavelength != nil && t.Bandwidth != nil {
			out.Target, out.Tolerance = *t.Wavelength, *t.Bandwidth/2
		}
	}
	return out
}

// planExtraction sets up one extraction for each different trace that the plan asks for. A
// trace that cannot be extracted, which no valid method asks for, is one without spectra.
func (r *Reducer) planExtraction() {
	var traces []extract.Trace
	made := &extracted{reducer: r}
	for i, want := range r.plan.Traces {
		if want.Extract == "" || i > 0 && compareSelections(want.Trace, r.plan.Traces[i-1].Trace) == 0 {
			continue
		}
		if t := extraction(want.Trace); t.Validate() == nil {
			traces, made.items = append(traces, t), append(made.items, i)
		}
	}
	if len(traces) == 0 {
		return
	}
	if sink, err := extract.New(made, traces); err == nil {
		r.extract, r.made = sink, made
	}
}

// endExtraction takes the extracted traces and gives the acquisition's problems with
// those of the extraction.
func (r *Reducer) endExtraction(t parsers.Trailer) ([]parsers.Problem, error) {
	if r.extract == nil {
		return t.Problems, nil
	}
	r.made.ending = true
	if err := r.extract.End(t); err != nil {
		return nil, err
	}
	return r.made.problems, nil
}

// extracted is the sink behind the extraction: it takes what the extraction adds. What
// that passes on, the reducer has already seen.
type extracted struct {
	reducer  *Reducer
	items    []int // by trace extracted: the first plan item that asks for it
	ending   bool
	next     int // trace
	problems []parsers.Problem
}

// Begin implements parsers.Sink.
func (x *extracted) Begin(parsers.Header) error {
	x.ending, x.next, x.problems = false, 0, nil
	return nil
}

// Signal implements parsers.Sink.
func (x *extracted) Signal(s parsers.Signal) error {
	c, ok := s.(*parsers.Chromatogram)
	if !x.ending || !ok {
		return nil
	}
	x.reducer.extractedTrace(x.items[x.next], c)
	x.next++
	return nil
}

// End implements parsers.Sink.
func (x *extracted) End(t parsers.Trailer) error {
	x.problems = t.Problems
	return nil
}

// extractedTrace takes a trace that was extracted for a plan item and those that follow it with the
// same selection, once for each way to integrate it.
func (r *Reducer) extractedTrace(item int, c *parsers.Chromatogram) {
	if len(c.Time) == 0 {
		return
	}
	want := r.plan.Traces[item].Trace
	for i := item; i < len(r.plan.Traces) && compareSelections(r.plan.Traces[i].Trace, want) == 0; i++ {
		r.matches[i]++
		trace := traceOf(c)
		trace.Extracted, trace.Departure = &want, r.plan.Traces[i].Departure
		r.integrate(c, trace)
		r.reduction.Traces = append(r.reduction.Traces, *trace)
	}
}
