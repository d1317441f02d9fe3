package mzml

import (
	"fmt"
	"math"

	"underbond/parsers"
)

// emit judges the signal as a whole and gives it to the sink.
func (r *reading) emit() error {
	it := &r.item
	if it.bothPolarities {
		r.remark(CodeValue, "the scan is stated to be positive and negative")
		it.polarity = ""
	}
	if it.bothModes {
		r.remark(CodeValue, "the spectrum is stated to be profile and centroid")
		it.representation = ""
	}
	x, y := r.points()
	r.judge(x, y)
	var signal parsers.Signal
	if it.chromatogram {
		signal = r.chromatogram(x, y)
	} else {
		signal = r.spectrum(x, y)
	}
	if err := r.sink.Signal(signal); err != nil {
		return fmt.Errorf("%s: %w", it.name(), err)
	}
	return nil
}

// points gives the pairs. Ordinates that could not be decoded are missing, NaN; without
// its axis a signal has no points, and neither has one whose arrays do not match.
func (r *reading) points() (x, y []float64) {
	it := &r.item
	axis, value := &it.axis, &it.value
	switch {
	case !axis.found && !value.found && it.arrays == 0:
		if it.declared > 0 || !it.lengthKnown {
			r.remark(CodeArrayMissing, "no arrays where %d points are declared", it.declared)
		}
		return nil, nil
	case !axis.found:
		r.remark(CodeArrayMissing, "no array is an axis (%s)", oneOf(it.chromatogram, "time", "m/z, wavelength or mass"))
		return nil, nil
	case axis.twice:
		r.remark(CodeArrayMissing, "two %s arrays", axis.name)
		return nil, nil
	case !axis.whole:
		return nil, nil
	}
	x = axis.values
	switch {
	case !value.found:
		r.remark(CodeArrayMissing, "no array of values")
	case value.twice:
		r.remark(CodeArrayMissing, "two arrays of values")
	case !value.whole:
	case len(value.values) != len(x):
		r.remark(CodeArrayLength, "%d axis values and %d ordinates", len(x), len(value.values))
		return nil, nil
	default:
		return x, value.values
	}
	y = value.values[:0]
	for range x {
		y = append(y, math.NaN())
	}
	value.values = y
	return x, y
}

// judge remarks on points that are there and may surprise.
func (r *reading) judge(x, y []float64) {
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
		r.remark(CodeAxisOrder, "the axis falls from %g to %g at point %d", x[falls-1], x[falls], falls+1)
	}
	if odd >= 0 {
		r.remark(CodeNotFinite, "point %d is (%g, %g)", odd+1, x[odd], y[odd])
	}
}

func (r *reading) spectrum(x, y []float64) *parsers.Spectrum {
	it := &r.item
	return &parsers.Spectrum{
		Index: it.index, ID: it.id, Kind: spectrumKinds[it.kind],
		XAxis: quantity(it.axis.name, it.axis.unit, it.axis.unitText),
		YAxis: quantity(it.value.name, it.value.unit, it.value.unitText),
		X:     x, Y: y, Fields: it.fields,
		MSLevel: it.level, Polarity: it.polarity, Representation: it.representation, ScanTime: it.scanTime,
	}
}

func (r *reading) chromatogram(x, y []float64) *parsers.Chromatogram {
	it := &r.item
	c := &parsers.Chromatogram{
		Index: it.index, ID: it.id, Kind: chromatogramKinds[it.kind],
		TimeAxis:  quantity(it.axis.name, it.axis.unit, it.axis.unitText),
		ValueAxis: quantity(it.value.name, it.value.unit, it.value.unitText),
		Time:      x, Value: y, Fields: it.fields,
		Precursor: it.precursor, Product: it.product, Wavelength: math.NaN(),
	}
	if math.IsNaN(c.Precursor) {
		c.Precursor = it.selected
	}
	if len(it.nanometres) == 1 {
		c.Wavelength = it.nanometres[0]
	}
	if !it.axis.found {
		return c
	}
	multiply, divide, ok := units[it.axis.unit].seconds()
	if !ok {
		c.TimeAxis.Unit = ""
		r.remark(CodeTimeUnit, "the time array has no unit of time")
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
