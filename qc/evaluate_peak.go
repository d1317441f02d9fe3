package qc

import (
	"fmt"
	"math"

	"underbond/qc/method"
	"underbond/qc/rule"
)

// readPeak takes the only peak whose apex lies in the retention window. Several are
// not identified, whichever is the larger.
func readPeak(red *Reduction, source *method.ChromatogramSource) reading {
	p, why := identify(red, source.Trace, source)
	if p == nil {
		return why
	}
	r := reading{state: readFound, value: responseOf(p, source)}
	if source.Qualifier != nil {
		if why := qualify(red, source, r.value); why != "" {
			return nothing("not identified: %s", why)
		}
	}
	return r
}

// identify gives the only peak of a trace whose apex lies in a source's retention window,
// or nil and the reading that follows.
func identify(red *Reduction, from method.Trace, source *method.ChromatogramSource) (*Peak, reading) {
	trace, why := selectTrace(red, from, source.Integration)
	if trace == nil {
		return nil, nothing("%s", why)
	}
	low, high := source.Retention-source.Window, source.Retention+source.Window
	var peaks []*Peak
	for i := range trace.Peaks {
		if rule.Within(trace.Peaks[i].Apex, &low, &high) {
			peaks = append(peaks, &trace.Peaks[i])
		}
	}
	switch len(peaks) {
	case 0:
		return nil, reading{state: readNotFound, reason: fmt.Sprintf("no peak from %s to %s min", words(low), words(high))}
	case 1:
		return peaks[0], reading{}
	}
	return nil, nothing("not identified: %d peaks from %s to %s min (at %s and %s min)", len(peaks), words(low), words(high), words(peaks[0].Apex), words(peaks[1].Apex))
}

func responseOf(p *Peak, source *method.ChromatogramSource) float64 {
	if source.Response == "height" {
		return p.Height
	}
	return p.Area
}

// qualify says why the qualifier does not bear the peak out; empty when it does.
func qualify(red *Reduction, source *method.ChromatogramSource, response float64) string {
	q := source.Qualifier
	p, why := identify(red, q.Trace, source)
	if p == nil {
		return "qualifier: " + why.reason
	}
	ratio := responseOf(p, source) / response
	low, high := q.Ratio*(1-q.Tolerance/100), q.Ratio*(1+q.Tolerance/100)
	switch {
	case number(&ratio) == nil:
		return "the qualifier ratio is not a number"
	case !rule.Within(ratio, &low, &high):
		return fmt.Sprintf("the qualifier ratio is %s (limit %s)", besideLimits(ratio, &low, &high), between(&low, &high))
	}
	return ""
}

// placed gives a source with its retention time in minutes. A relative one is that
// times the retention time of the internal standard in the same acquisition; why says
// what is missing for it.
func (e *evaluator) placed(m *entry, source method.Source) (placed method.Source, why string) {
	c := source.Chromatogram
	if c == nil || c.RelativeRetention == nil {
		return source, ""
	}
	is := e.method.InternalStandard
	if is == nil || is.Source.Chromatogram == nil {
		return source, "the retention time is relative to an internal standard that the method does not have"
	}
	p, absent := identify(m.Reduction, is.Source.Chromatogram.Trace, is.Source.Chromatogram)
	if p == nil {
		return source, fmt.Sprintf("internal standard %s: %s", is.Name, absent.reason)
	}
	at := *c
	at.Retention = *c.RelativeRetention * p.Apex
	return method.Source{Chromatogram: &at}, ""
}

// selectTrace gives the only chromatogram that agrees with every field asked for, or that
// was extracted as asked for, as integrated with a departure from the method's settings.
func selectTrace(red *Reduction, want method.Trace, departure *method.PeakIntegration) (*Trace, string) {
	var found []*Trace
	for i := range red.Traces {
		if t := &red.Traces[i]; compareDepartures(t.Departure, departure) == 0 && traceAgrees(want, t) {
			found = append(found, t)
		}
	}
	switch len(found) {
	case 0:
		return nil, "no such chromatogram"
	case 1:
		return found[0], ""
	}
	return nil, fmt.Sprintf("%d chromatograms agree with the method (%s and %s)", len(found), found[0].ID, found[1].ID)
}

// Tolerances within which a chromatogram's own figures agree with the method's: they
// absorb how figures are written, not what is measured.
const (
	wavelengthTolerance = 0.1  // nm
	massTolerance       = 0.01 // m/z
)

func traceAgrees(want method.Trace, t *Trace) bool {
	if want.Extract != "" || t.Extracted != nil {
		return t.Extracted != nil && compareSelections(want, *t.Extracted) == 0
	}
	near := func(want, have *float64, tolerance float64) bool {
		return want == nil || have != nil && math.Abs(*have-*want) <= tolerance
	}
	return (want.ID == "" || want.ID == t.ID) && (want.Kind == "" || sameName(want.Kind, t.Kind)) &&
		near(want.Wavelength, t.Wavelength, wavelengthTolerance) &&
		near(want.Precursor, t.Precursor, massTolerance) && near(want.Product, t.Product, massTolerance)
}
