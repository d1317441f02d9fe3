package qc

import (
	"fmt"
	"slices"
	"strings"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/signal"
	"underbond/qc/unit"
)

// chromatogram takes a chromatogram of the acquisition that a selection of the plan agrees
// with, once for each way to integrate it.
func (r *Reducer) chromatogram(c *parsers.Chromatogram) {
	var ways []*method.PeakIntegration
	recorded := traceOf(c)
	for i, want := range r.plan.Traces {
		if want.Extract != "" || !traceAgrees(want.Trace, recorded) {
			continue
		}
		r.matches[i]++
		if !slices.ContainsFunc(ways, func(p *method.PeakIntegration) bool { return compareDepartures(p, want.Departure) == 0 }) {
			ways = append(ways, want.Departure)
		}
	}
	for _, departure := range ways {
		trace := *recorded
		trace.Departure, trace.Peaks = departure, []Peak{}
		r.integrate(c, &trace)
		r.reduction.Traces = append(r.reduction.Traces, trace)
	}
}

func traceOf(c *parsers.Chromatogram) *Trace {
	return &Trace{
		Index: c.Index, ID: strings.Clone(c.ID), Kind: strings.Clone(c.Kind),
		Wavelength: given(c.Wavelength), Precursor: given(c.Precursor), Product: given(c.Product),
		Points: len(c.Time), Peaks: []Peak{},
	}
}

// integrate seeks the peaks of a trace, or integrates it between the limits that are
// fixed for it. Times come out in minutes.
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
	settings := signalSettings(r.plan.Integration.With(trace.Departure))
	window := fixedWindow(trace.Departure)
	var found signal.Result
	if window == nil {
		found, err = signal.Find(minutes, values, settings)
	} else {
		found, err = signal.Between(minutes, values, []signal.Span{*window}, settings)
	}
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
		if window != nil && !(p.SignalToNoise >= settings.Threshold) {
			continue // nothing there but noise, whose highest point is no retention time
		}
		trace.Peaks = append(trace.Peaks, peakOf(p))
	}
}

// signalSettings gives the settings in the words of package signal.
func signalSettings(in method.Integration) signal.Settings {
	s := signal.Settings{
		Threshold: in.Threshold, MinWidth: in.MinWidth, Smoothing: in.Smoothing,
		Baseline: signal.Baseline(in.Baseline), Shoulders: in.Shoulders,
	}
	if in.MaxWidth != nil {
		s.MaxWidth = *in.MaxWidth
	}
	if in.SkimRatio != nil {
		s.SkimRatio = *in.SkimRatio
	}
	for _, l := range in.Lines {
		s.Lines = append(s.Lines, signal.Span(l))
	}
	if in.Noise != nil {
		noise := signal.Span(*in.Noise)
		s.Noise = &noise
	}
	return s
}

// fixedWindow gives the limits that are fixed; nil when peaks are sought.
func fixedWindow(p *method.PeakIntegration) *signal.Span {
	if p == nil || p.Start == nil || p.End == nil {
		return nil
	}
	return &signal.Span{From: *p.Start, To: *p.End}
}

func peakOf(p signal.Peak) Peak {
	return Peak{
		Apex: p.Apex, Start: p.Start, End: p.End, StartKind: string(p.StartKind), EndKind: string(p.EndKind),
		Height: p.Height, Area: p.Area, WidthHalf: p.WidthHalf,
		BaselineStart: p.BaselineStart, BaselineEnd: p.BaselineEnd, SignalToNoise: p.SignalToNoise,
		Width10: given(p.Width10), Width05: given(p.Width05), WidthBase: given(p.WidthBase),
		Plates: given(p.Plates), PlatesTangent: given(p.PlatesTangent), Tailing: given(p.Tailing), Asymmetry: given(p.Asymmetry),
		Resolution: given(p.Resolution), ResolutionTangent: given(p.ResolutionTangent), PeakToValley: given(p.PeakToValley),
		Rider: p.Rider, Skimmed: p.Skimmed, Shared: p.Shared, Shoulder: p.Shoulder,
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
