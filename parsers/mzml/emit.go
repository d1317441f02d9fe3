package mzml

import (
	"fmt"
	"math"
	"slices"

	"underbond/parsers"
)

// emit judges the signal as a whole, whose arrays are decoded, and gives it to the sink.
func (r *reading) emit(it *item) error {
	signal := it.signal()
	for _, p := range it.problems {
		r.run.add(p)
	}
	if err := r.sink.Signal(signal); err != nil {
		return fmt.Errorf("%s: %w", it.name(), err)
	}
	return nil
}

// signal puts the signal together.
func (it *item) signal() parsers.Signal {
	if it.bothPolarities {
		it.remark(parsers.Warn, CodeValue, "the scan is stated to be positive and negative")
		it.polarity = ""
	}
	if it.bothModes {
		it.remark(parsers.Warn, CodeValue, "the spectrum is stated to be profile and centroid")
		it.representation = ""
	}
	if it.crowded > 0 {
		it.remark(parsers.Lose, CodeArrayCoding, "%d arrays are not read, since those before hold more than %d bytes", it.crowded, payloadsMax)
	}
	p := it.placed()
	x, y := it.points(p)
	it.judge(x, y)
	if it.chromatogram {
		return it.trace(p, x, y)
	}
	return it.spectrum(p, x, y)
}

// points gives the pairs. Ordinates that could not be decoded are missing, NaN; without
// its axis a signal has no points, and neither has one whose arrays do not match.
func (it *item) points(p places) (x, y []float64) {
	switch {
	case len(it.arrays) == 0:
		if it.declared > 0 || !it.lengthKnown {
			it.remark(parsers.Lose, CodeArrayMissing, "no arrays where %d points are declared", it.declared)
		}
		return nil, nil
	case p.axis == nil:
		it.remark(parsers.Lose, CodeArrayMissing, "no array is an axis (%s)", oneOf(it.chromatogram, "time", "m/z, wavelength or mass"))
		return nil, nil
	case p.axisTwice:
		it.remark(parsers.Lose, CodeArrayMissing, "two %s arrays", p.axis.title())
		return nil, nil
	case !p.axis.whole:
		return nil, nil
	}
	x = p.axis.values
	switch {
	case p.value == nil:
		it.remark(parsers.Lose, CodeArrayMissing, "no array of values")
	case p.valueTwice:
		it.remark(parsers.Lose, CodeArrayMissing, "two arrays of values")
	case !p.value.whole:
	case len(p.value.values) != len(x):
		it.remark(parsers.Lose, CodeArrayLength, "%d axis values and %d ordinates", len(x), len(p.value.values))
		return nil, nil
	default:
		return x, p.value.values
	}
	y = it.missing[:0]
	for range x {
		y = append(y, math.NaN())
	}
	it.missing = y
	return x, y
}

// judge remarks on points that are there and may surprise.
func (it *item) judge(x, y []float64) {
	falls, odd := -1, -1
	for i, v := range x {
		if i > 0 && falls < 0 && v < x[i-1] {
			falls = i
		}
		if odd < 0 && (math.IsNaN(v) || math.IsInf(v, 0) || math.IsInf(y[i], 0)) {
			odd = i
		}
	}
	if falls >= 0 {
		it.remark(parsers.Warn, CodeAxisOrder, "the axis falls from %g to %g at point %d", x[falls-1], x[falls], falls+1)
	}
	if odd >= 0 {
		it.remark(parsers.Warn, CodeNotFinite, "point %d is (%g, %g)", odd+1, x[odd], y[odd])
	}
}

// lost reports whether data of the signal is lost.
func (it *item) lost() bool {
	return slices.ContainsFunc(it.problems, func(p parsers.Problem) bool { return p.Grade == parsers.Lost })
}

// axes describes the two axes.
func (p places) axes() (x, y parsers.Quantity) {
	if p.axis != nil {
		x = p.axis.quantity()
	}
	if p.value != nil {
		y = p.value.quantity()
	}
	return x, y
}

func (it *item) spectrum(p places, x, y []float64) *parsers.Spectrum {
	s := &parsers.Spectrum{
		Index: it.index, ID: it.id, Kind: spectrumKinds[it.kind], X: x, Y: y, Fields: it.fields,
		MSLevel: it.level, Polarity: it.polarity, Representation: it.representation, ScanTime: it.scanTime,
		Precursors: it.precursors, ScanWindows: it.windows, Extra: it.extra(p), Lost: it.lost(),
	}
	s.XAxis, s.YAxis = p.axes()
	return s
}

func (it *item) trace(p places, x, y []float64) *parsers.Chromatogram {
	c := &parsers.Chromatogram{
		Index: it.index, ID: it.id, Kind: chromatogramKinds[it.kind], Time: x, Value: y, Fields: it.fields,
		Precursor: it.selected(), Product: it.product.Target, Wavelength: math.NaN(), Extra: it.extra(p), Lost: it.lost(),
	}
	c.TimeAxis, c.ValueAxis = p.axes()
	if len(it.nanometres) == 1 {
		c.Wavelength = it.nanometres[0]
	}
	if p.axis == nil {
		return c
	}
	multiply, divide, ok := units[p.axis.unit].seconds()
	if !ok {
		c.TimeAxis.Unit = ""
		it.remark(parsers.Warn, CodeTimeUnit, "the time array has no unit of time")
		return c
	}
	c.TimeAxis.Unit = "s"
	if multiply != 1 || divide != 1 {
		for i, v := range x {
			x[i] = v * multiply / divide
		}
	}
	return c
}

// selected is the m/z that the signal's precursor was selected by: the target of the
// isolation window, else the first selected ion.
func (it *item) selected() float64 {
	for _, p := range it.precursors {
		if !math.IsNaN(p.Isolation.Target) {
			return p.Isolation.Target
		}
	}
	for _, p := range it.precursors {
		for _, ion := range p.Ions {
			if !math.IsNaN(ion.MZ) {
				return ion.MZ
			}
		}
	}
	return math.NaN()
}
