package signal

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Whatever is measured, peaks lie within the recording and in order, with finite figures
// that were asked for, and none is smaller than the settings allow.
func TestAnySignal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var times, values []float64
		at, level := 0.0, 0.0
		whole := rapid.Bool().Draw(t, "whole numbers")
		for range rapid.IntRange(0, 120).Draw(t, "points") {
			at += rapid.SampledFrom([]float64{0, 0.1, 0.1, 0.1, 0.3}).Draw(t, "step")
			if level = 0.7*level + rapid.Float64Range(-5, 9).Draw(t, "value"); whole {
				level = math.Round(level)
			}
			times, values = append(times, at), append(values, level)
		}
		s := Settings{
			Threshold: rapid.Float64Range(0.1, 3).Draw(t, "threshold"), MinWidth: rapid.SampledFrom([]float64{0, 0.2}).Draw(t, "width"),
			Smoothing: rapid.SampledFrom([]int{0, 5}).Draw(t, "smoothing"), Shoulders: rapid.Bool().Draw(t, "shoulders"),
			Baseline: rapid.SampledFrom([]Baseline{Shapes, Drop, Valley, Skim, Set}).Draw(t, "baseline"), SkimRatio: 1,
		}
		if s.Baseline == Set {
			if len(times) == 0 || !(at > times[0]) {
				return
			}
			s.Lines = []Span{{times[0] + (at-times[0])/4, times[0] + (at-times[0])/2}}
		}
		r, err := Find(times, values, s)
		if err != nil {
			t.Fatal(err)
		}
		last := math.Inf(-1)
		for _, p := range r.Peaks {
			for what, v := range map[string]float64{"height": p.Height, "area": p.Area, "width": p.WidthHalf, "baseline": p.BaselineStart, "baseline end": p.BaselineEnd} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%s is %v in %+v", what, v, p)
				}
			}
			if !(p.Start >= times[0] && p.Start < p.End && p.End <= times[len(times)-1] && p.Apex >= p.Start && p.Apex <= p.End && p.Apex >= last) {
				t.Fatalf("out of place after %v: %+v", last, p)
			}
			if !(p.SignalToNoise >= s.Threshold && p.WidthHalf >= s.MinWidth && p.Area > 0) {
				t.Fatalf("not by %+v: %+v", s, p)
			}
			last = p.Apex
		}
	})
}
