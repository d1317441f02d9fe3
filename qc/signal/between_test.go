package signal

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestBetween(t *testing.T) {
	times, values := sample(2001, 20, 0, gaussian(50, 8, 0.1), func(t float64) float64 { return 2 + 0.3*t })
	r, err := Between(times, values, []Span{{7.2345, 8.7654}, {12, 13}}, Settings{Threshold: 3})
	if err != nil {
		t.Fatal(err)
	}
	p := r.Peaks[0]
	within(t, "area", p.Area, 50*0.1*root2pi, 1e-6)
	within(t, "apex", p.Apex, 8, 1e-4)
	if p.Start != 7.2345 || p.End != 8.7654 || p.StartKind != LimitSet || p.EndKind != LimitSet {
		t.Errorf("limits %+v", p)
	}
	within(t, "baseline", p.BaselineStart, 2+0.3*7.2345, 1e-6)
	within(t, "baseline", p.BaselineEnd, 2+0.3*8.7654, 1e-6)
	// A window with nothing in it gives that, not an error.
	if q := r.Peaks[1]; math.Abs(q.Area) > 1e-9 {
		t.Errorf("an empty window has the area %v", q.Area)
	}
	held, err := Between(times, values, []Span{{7.9, 8.1}}, Settings{Threshold: 3, Baseline: Set, Lines: []Span{{7, 9}}})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "area within one σ", held.Peaks[0].Area, 50*0.1*root2pi*0.682689492137, 1e-3)
	for name, w := range map[string]Span{
		"before the recording": {-1, 2}, "after": {19, 21}, "reversed": {9, 8}, "of no width": {8, 8}, "between two points": {8.001, 8.002}, "NaN": {math.NaN(), 9},
	} {
		if _, err := Between(times, values, []Span{w}, Settings{Threshold: 3}); !errors.Is(err, ErrSpan) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Between(times[:5], values[:5], []Span{{0, 0.03}}, Settings{Threshold: 3}); !errors.Is(err, ErrSpan) {
		t.Errorf("a short signal: %v", err)
	}
}

// An added line changes no area between fixed limits.
func TestBetweenIgnoresLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times, values, s := scene(t)
		from := rapid.Float64Range(0, 14).Draw(t, "from")
		window := []Span{{from, from + rapid.Float64Range(0.5, 1.5).Draw(t, "width")}}
		a, b := rapid.Float64Range(-50, 50).Draw(t, "offset"), rapid.Float64Range(-20, 20).Draw(t, "slope")
		moved := make([]float64, len(values))
		for i := range values {
			moved[i] = values[i] + a + b*times[i]
		}
		before, err := Between(times, values, window, s)
		if err != nil {
			t.Fatal(err)
		}
		after, err := Between(times, moved, window, s)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "area", after.Peaks[0].Area, before.Peaks[0].Area, 1e-8)
	})
}
