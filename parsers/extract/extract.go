// Package extract makes chromatograms from spectra as they stream by: total ion current,
// base peak, the sum over a window of m/z, the mean over a window of wavelengths.
//
// The package is part of the pure core.
package extract

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"underbond/parsers"
)

// Kind is what a trace takes from each spectrum.
type Kind string

// Kinds of traces.
const (
	TotalIon   Kind = "total ion current"    // sum of all intensities of a mass spectrum
	BasePeak   Kind = "basepeak"             // largest intensity of a mass spectrum
	Window     Kind = "selected ion current" // sum of the intensities in a window of m/z
	Wavelength Kind = "absorption"           // mean of the ordinates in a window of wavelengths
)

// Trace asks for one chromatogram.
type Trace struct {
	ID   string // of the chromatogram; empty: the trace's description
	Kind Kind
	// Target is the centre of the window: m/z, or a wavelength in nanometres.
	Target float64
	// Tolerance is half of the window's width in daltons, parts per million of the
	// target (PPM), or nanometres. Both limits belong to the window.
	Tolerance float64
	PPM       bool
	// MSLevel and Polarity choose mass spectra; 0 and "" take all.
	MSLevel  int
	Polarity string
}

// Limits gives the window's limits.
func (t Trace) Limits() (low, high float64) {
	half := t.Tolerance
	if t.PPM {
		half = t.Target * t.Tolerance / 1e6
	}
	return t.Target - half, t.Target + half
}

// String describes the trace.
func (t Trace) String() string {
	text := string(t.Kind)
	switch {
	case t.Kind == Wavelength:
		text += fmt.Sprintf(", %g ± %g nm", t.Target, t.Tolerance)
	case t.Kind == Window && t.PPM:
		text += fmt.Sprintf(", m/z %g ± %g ppm", t.Target, t.Tolerance)
	case t.Kind == Window:
		text += fmt.Sprintf(", m/z %g ± %g", t.Target, t.Tolerance)
	}
	if t.MSLevel > 0 {
		text += fmt.Sprintf(", MS level %d", t.MSLevel)
	}
	if t.Polarity != "" {
		text += ", " + t.Polarity
	}
	return text
}

// Validate says what is wrong with a trace.
func (t Trace) Validate() error {
	low, high := t.Limits()
	switch t.Kind {
	case TotalIon, BasePeak:
		return nil
	case Window, Wavelength:
		if !(t.Target > 0) || !(t.Tolerance >= 0) || math.IsInf(low, 0) || math.IsInf(high, 0) {
			return fmt.Errorf("trace %s: the window is not one of positive numbers", t)
		}
		if t.Kind == Wavelength && t.PPM {
			return fmt.Errorf("trace %s: a tolerance in ppm is for m/z", t)
		}
		return nil
	}
	return fmt.Errorf("trace %s: there is no such kind", t)
}

// CodeNoTime is the code of the loss that spectra without a time are to a trace.
const CodeNoTime = "extract-no-time"

// Sink passes on what it is given and adds, before the end of each acquisition, one
// chromatogram for each trace, in the order asked for and numbered after those of the
// acquisition. A trace has one point for each spectrum of its kind, in file order, at the
// spectrum's scan time in seconds. The value is 0 where nothing lies in the window of
// m/z, and missing (NaN) where an ordinate in it is missing, where data of the spectrum
// was lost, and where no wavelength lies in the window.
//
// Spectra without a time make no point; a problem at the end says how many.
type Sink struct {
	next   parsers.Sink
	traces []Trace
	made   []*made
	count  int // chromatograms of the acquisition
}

// made is a trace being made.
type made struct {
	time, value []float64
	unit        parsers.Quantity
	untimed     int
	lost        bool
}

var _ parsers.Sink = (*Sink)(nil)

// New makes a sink before another.
func New(next parsers.Sink, traces []Trace) (*Sink, error) {
	for _, t := range traces {
		if err := t.Validate(); err != nil {
			return nil, err
		}
	}
	return &Sink{next: next, traces: slices.Clone(traces)}, nil
}

// Begin implements parsers.Sink.
func (s *Sink) Begin(h parsers.Header) error {
	s.made, s.count = nil, 0
	for range s.traces {
		s.made = append(s.made, &made{})
	}
	return s.next.Begin(h)
}

// Signal implements parsers.Sink.
func (s *Sink) Signal(signal parsers.Signal) error {
	switch signal := signal.(type) {
	case *parsers.Spectrum:
		sorted := slices.IsSorted(signal.X)
		for i, t := range s.traces {
			if t.takes(signal) {
				s.made[i].add(t, signal, sorted)
			}
		}
	case *parsers.Chromatogram:
		s.count = max(s.count, signal.Index+1)
	}
	return s.next.Signal(signal)
}

// takes tells whether a spectrum is one for the trace. One whose axis is lost is taken
// when all else agrees, so that the trace shows the gap.
func (t Trace) takes(s *parsers.Spectrum) bool {
	axis, mass := "m/z", s.MSLevel > 0
	if t.Kind == Wavelength {
		axis, mass = "wavelength", s.MSLevel == 0
	}
	if s.XAxis.Name != axis && !(s.Lost && s.XAxis.Name == "" && mass) {
		return false
	}
	return t.Kind == Wavelength || (t.MSLevel == 0 || t.MSLevel == s.MSLevel) && (t.Polarity == "" || t.Polarity == s.Polarity)
}

func (m *made) add(t Trace, s *parsers.Spectrum, sorted bool) {
	if math.IsNaN(s.ScanTime) {
		m.untimed++
		return
	}
	v := t.value(s, sorted)
	if m.unit.Name == "" {
		m.unit = s.YAxis
	}
	m.lost = m.lost || s.Lost
	m.time, m.value = append(m.time, s.ScanTime), append(m.value, v)
}

// value takes the trace's value from a spectrum.
func (t Trace) value(s *parsers.Spectrum, sorted bool) float64 {
	if s.Lost && (len(s.X) == 0 || slices.ContainsFunc(s.Y, math.IsNaN)) {
		return math.NaN()
	}
	x, y := s.X, s.Y
	low, high := t.Limits()
	whole := t.Kind == TotalIon || t.Kind == BasePeak
	if sorted && !whole {
		from := sort.SearchFloat64s(x, low)
		till := from + sort.Search(len(x)-from, func(i int) bool { return x[from+i] > high })
		x, y = x[from:till], y[from:till]
	}
	sum, top, n := 0.0, 0.0, 0
	for i, v := range y {
		if !whole && !(x[i] >= low && x[i] <= high) {
			continue
		}
		if n++; n == 1 || v > top || math.IsNaN(v) {
			top = v
		}
		if math.IsNaN(v) {
			return v
		}
		sum += v
	}
	switch {
	case t.Kind == BasePeak:
		return top
	case t.Kind != Wavelength:
		return sum
	case n == 0:
		return math.NaN()
	}
	return sum / float64(n)
}

// End implements parsers.Sink.
func (s *Sink) End(trailer parsers.Trailer) error {
	trailer.Problems = slices.Clip(trailer.Problems)
	for i, t := range s.traces {
		m := s.made[i]
		c := &parsers.Chromatogram{
			Index: s.count + i, ID: t.ID, Kind: string(t.Kind), Time: m.time, Value: m.value,
			TimeAxis: parsers.Quantity{Name: "time", Unit: "s"}, ValueAxis: m.unit,
			Precursor: math.NaN(), Product: math.NaN(), Wavelength: math.NaN(), Lost: m.lost || m.untimed > 0,
		}
		if c.ID == "" {
			c.ID = t.String()
		}
		if t.Kind == Wavelength {
			c.Wavelength = t.Target
		}
		if m.untimed > 0 {
			trailer.Problems = append(trailer.Problems, parsers.Lose(CodeNoTime, parsers.Place{Element: c.ID}, "%d spectra have no time and make no point", m.untimed))
		}
		if err := s.next.Signal(c); err != nil {
			return fmt.Errorf("chromatogram %s: %w", c.ID, err)
		}
	}
	s.made = nil
	return s.next.End(trailer)
}
