package signal

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Exact figures of a Gaussian peak; plates with the printed constants 5.54 and 16.
func TestShapeOfGaussian(t *testing.T) {
	for name, tt := range map[string]struct {
		n                int
		noise, tolerance float64
	}{"dense": {8001, 0, 1e-4}, "about 25 points a peak": {601, 0, 0.012}, "with noise": {4001, 0.05, 0.02}} {
		t.Run(name, func(t *testing.T) {
			const centre, s = 7.3, 0.08
			times, values := sample(tt.n, 20, tt.noise, gaussian(50, centre, s))
			r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.02})
			if len(r.Peaks) != 1 {
				t.Fatalf("%d peaks", len(r.Peaks))
			}
			p := r.Peaks[0]
			within(t, "width at 10 %", p.Width10, 4.29193205258*s, tt.tolerance)
			within(t, "width at 5 %", p.Width05, 4.89549366136*s, tt.tolerance)
			within(t, "width between tangents", p.WidthBase, 4*s, 10*tt.tolerance)
			within(t, "plates", p.Plates, 5.54*math.Pow(centre/(2.35482004503*s), 2), 2*tt.tolerance)
			within(t, "plates by tangents", p.PlatesTangent, 16*math.Pow(centre/(4*s), 2), 20*tt.tolerance)
			within(t, "tailing", p.Tailing, 1, 2*tt.tolerance)
			within(t, "asymmetry", p.Asymmetry, 1, 4*tt.tolerance)
			if !math.IsNaN(p.Resolution) || !math.IsNaN(p.ResolutionTangent) || !math.IsNaN(p.PeakToValley) {
				t.Errorf("a peak alone has neighbours: %+v", p)
			}
			if p.StartKind != LimitBaseline || p.EndKind != LimitBaseline {
				t.Errorf("limits %s and %s", p.StartKind, p.EndKind)
			}
		})
	}
}

// Crossings of an exponentially modified Gaussian, found on a fine grid.
func TestShapeOfTailingPeak(t *testing.T) {
	at := emg(12, 8, 0.08, 0.12)
	const fine = 1e-5
	top, apex := 0.0, 0.0
	for x := 7.5; x < 9; x += fine {
		if v := at(x); v > top {
			top, apex = v, x
		}
	}
	edges := func(part float64) (left, right float64) {
		for left = apex; at(left) > part*top; left -= fine {
		}
		for right = apex; at(right) > part*top; right += fine {
		}
		return apex - left, right - apex
	}
	times, values := sample(8001, 20, 0, at)
	r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.02})
	if len(r.Peaks) != 1 {
		t.Fatalf("%d peaks", len(r.Peaks))
	}
	p := r.Peaks[0]
	f, back := edges(0.05)
	within(t, "tailing", p.Tailing, (f+back)/(2*f), 2e-3)
	a, b := edges(0.10)
	within(t, "asymmetry", p.Asymmetry, b/a, 2e-3)
	within(t, "width at 10 %", p.Width10, a+b, 1e-3)
	within(t, "apex", p.Apex, apex, 1e-5)
	if !(p.Tailing > 1.2 && p.Asymmetry > p.Tailing) {
		t.Errorf("tailing %v, asymmetry %v", p.Tailing, p.Asymmetry)
	}
}

// Two Gaussian peaks at distance d have the resolution d/4σ by tangents, and 0.22 % more with the
// printed 1.18; the valley between equal ones is 2 exp(-d²/8σ²) high.
func TestResolution(t *testing.T) {
	const s, centre = 0.08, 8.0
	for name, resolution := range map[string]float64{"touching": 1.2, "baseline": 1.5, "apart": 3} {
		t.Run(name, func(t *testing.T) {
			d := 4 * s * resolution
			times, values := sample(8001, 20, 0, gaussian(50, centre, s), gaussian(50, centre+d, s))
			r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.02, Baseline: Drop})
			if len(r.Peaks) != 2 {
				t.Fatalf("%d peaks", len(r.Peaks))
			}
			p := r.Peaks[0]
			within(t, "resolution", p.Resolution, 1.18/1.17741002252*resolution, 5e-3)
			within(t, "resolution by tangents", p.ResolutionTangent, resolution, 5e-3)
			if valley := 2 * math.Exp(-d*d/(8*s*s)); resolution < 2 {
				within(t, "peak to valley", p.PeakToValley, 1/valley, 0.05)
			}
			if last := r.Peaks[1]; !math.IsNaN(last.Resolution) || !math.IsNaN(last.PeakToValley) {
				t.Errorf("the last peak has a next one: %+v", last)
			}
		})
	}
	t.Run("hidden flanks", func(t *testing.T) {
		times, values := sample(8001, 20, 0, gaussian(50, centre, s), gaussian(50, centre+3.2*s, s))
		r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.02, Baseline: Drop})
		if len(r.Peaks) != 2 {
			t.Fatalf("%d peaks", len(r.Peaks))
		}
		for _, p := range r.Peaks {
			if !math.IsNaN(p.Width05) || !math.IsNaN(p.Width10) || !math.IsNaN(p.Tailing) || !math.IsNaN(p.Asymmetry) {
				t.Errorf("figures of a hidden flank: %+v", p)
			}
			within(t, "width at half height from the free side", p.WidthHalf, 2.3548*s, 0.03)
		}
	})
}

// At 5 % of its height a small peak is lost in noise, and nothing is said about that level.
func TestShapeBelowNoise(t *testing.T) {
	times, values := sample(4001, 20, 1, gaussian(20, 8, 0.1))
	r := find(t, times, values, Settings{Threshold: 4, MinWidth: 0.1, Smoothing: 15})
	if len(r.Peaks) != 1 {
		t.Fatalf("%d peaks", len(r.Peaks))
	}
	if p := r.Peaks[0]; !math.IsNaN(p.Width05) || !math.IsNaN(p.Tailing) || math.IsNaN(p.WidthHalf) {
		t.Errorf("got %+v", p)
	}
}

// Widths come in the unit of time, and plates, tailing and resolution have none.
func TestShapeFollowsTheUnitOfTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times, values, s := scene(t)
		seconds := make([]float64, len(times))
		for i := range times {
			seconds[i] = 64 * times[i]
		}
		before, err := Find(times, values, s)
		if err != nil {
			t.Fatal(err)
		}
		s.MinWidth *= 64
		after, err := Find(seconds, values, s)
		if err != nil || len(before.Peaks) != len(after.Peaks) {
			t.Fatalf("%d peaks became %d, %v", len(before.Peaks), len(after.Peaks), err)
		}
		for i, p := range before.Peaks {
			q := after.Peaks[i]
			for what, pair := range map[string][2]float64{
				"width": {64 * p.WidthHalf, q.WidthHalf}, "base": {64 * p.WidthBase, q.WidthBase}, "area": {64 * p.Area, q.Area},
				"plates": {p.Plates, q.Plates}, "tailing": {p.Tailing, q.Tailing}, "resolution": {p.Resolution, q.Resolution},
			} {
				if math.IsNaN(pair[0]) != math.IsNaN(pair[1]) || math.Abs(pair[0]-pair[1]) > 1e-4*math.Abs(pair[0]) {
					t.Fatalf("%s: want %v, got %v", what, pair[0], pair[1])
				}
			}
		}
	})
}
