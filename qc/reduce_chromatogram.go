package qc

import (
	"fmt"
	"strings"

	"underbond/parsers"
	"underbond/qc/signal"
	"underbond/qc/unit"
)

// chromatogram takes a chromatogram that a selection of the plan agrees with.
func (r *Reducer) chromatogram(c *parsers.Chromatogram) {
	trace := Trace{
		Index: c.Index, ID: strings.Clone(c.ID), Kind: strings.Clone(c.Kind),
		Wavelength: given(c.Wavelength), Precursor: given(c.Precursor), Product: given(c.Product),
		Points: len(c.Time), Peaks: []Peak{},
	}
	wanted := false
	for i, want := range r.plan.Traces {
		if traceAgrees(want, &trace) {
			r.matches[i]++
			wanted = true
		}
	}
	if !wanted {
		return
	}
	r.integrate(c, &trace)
	r.reduction.Traces = append(r.reduction.Traces, trace)
}

// integrate seeks the peaks of a trace. Times come out in minutes.
func (r *Reducer) integrate(c *parsers.Chromatogram, trace *Trace) {
	element := trace.ID
	if element == "" {
		element = fmt.Sprintf("chromatogram %d", c.Index+1)
	}
	perMinute, err := unit.Convert(1, "min", c.TimeAxis.Unit)
	if err != nil {
		r.problem(ProblemTimeAxis, element, "the method asks for times in minutes, and the axis is %s", quantityWords(c.TimeAxis))
		return
	}
	if len(c.Time) != len(c.Value) {
		r.problem(ProblemChromatogram, element, "%d times and %d values", len(c.Time), len(c.Value))
		return
	}
	minutes, values, missing := present(c.Time, c.Value)
	trace.Points = len(minutes)
	if missing > 0 {
		r.problem(ProblemChromatogram, element, "%d of %d points have no time or no value; within the chromatogram that leaves a gap, so no peaks are sought", missing, len(c.Time))
		return
	}
	if len(minutes) == 0 {
		r.problem(ProblemChromatogram, element, "the chromatogram has no points")
		return
	}
	for i := range minutes {
		minutes[i] /= perMinute
	}
	if r.plan.Integration == nil {
		r.problem(ProblemPlan, element, "the method has no integration settings, so no peaks are sought")
		return
	}
	found, err := signal.Find(minutes, values, signal.Settings{
		Threshold: r.plan.Integration.Threshold, MinWidth: r.plan.Integration.MinWidth, Smoothing: r.plan.Integration.Smoothing,
	})
	if err != nil {
		r.problem(ProblemChromatogram, element, "no peaks are sought: %v", err)
		return
	}
	if found.Noise == nil {
		r.problem(ProblemChromatogram, element, "%d points are too few to estimate the noise, so no peaks are sought", len(minutes))
		return
	}
	trace.FirstMin, trace.LastMin, trace.Noise = given(minutes[0]), given(minutes[len(minutes)-1]), given(*found.Noise)
	for i, p := range found.Peaks {
		if !finitePeak(p) {
			r.problem(ProblemChromatogram, element, "peak %d is left out: its figures are beyond what a number carries", i+1)
			continue
		}
		trace.Peaks = append(trace.Peaks, peakOf(p))
	}
}

func peakOf(p signal.Peak) Peak {
	return Peak{
		Apex: p.Apex, Start: p.Start, End: p.End, StartKind: string(p.StartKind), EndKind: string(p.EndKind),
		Height: p.Height, Area: p.Area, WidthHalf: p.WidthHalf,
		BaselineStart: p.BaselineStart, BaselineEnd: p.BaselineEnd, SignalToNoise: p.SignalToNoise,
		Width10: given(p.Width10), Width05: given(p.Width05), WidthBase: given(p.WidthBase),
		Plates: given(p.Plates), PlatesTangent: given(p.PlatesTangent), Tailing: given(p.Tailing), Asymmetry: given(p.Asymmetry),
		Resolution: given(p.Resolution), ResolutionTangent: given(p.ResolutionTangent), PeakToValley: given(p.PeakToValley),
		Rider: p.Rider, Skimmed: p.Skimmed, Shoulder: p.Shoulder,
	}
}

// finitePeak tells whether all figures of a peak can be written down.
func finitePeak(p signal.Peak) bool {
	for _, v := range []float64{p.Apex, p.Start, p.End, p.Height, p.Area, p.WidthHalf, p.BaselineStart, p.BaselineEnd, p.SignalToNoise} {
		if given(v) == nil {
			return false
		}
	}
	return true
}

// present copies the points from the first to the last that has a time and a value,
// and counts those between that have not.
func present(times, values []float64) (t, v []float64, missing int) {
	there := func(i int) bool { return given(times[i]) != nil && given(values[i]) != nil }
	from, till := 0, len(times)
	for from < till && !there(from) {
		from++
	}
	for till > from && !there(till-1) {
		till--
	}
	for i := from; i < till; i++ {
		if !there(i) {
			missing++
		}
	}
	return append([]float64(nil), times[from:till]...), append([]float64(nil), values[from:till]...), missing
}
