package signal

import (
	"errors"
	"math"
	"slices"
	"testing"
)

const root2pi = 2.50662827463

func peaksWith(t *testing.T, times, values []float64, s Settings, n int) []Peak {
	t.Helper()
	s.Threshold, s.MinWidth = 10, 0.02
	r := find(t, times, values, s)
	if len(r.Peaks) != n {
		t.Fatalf("%d peaks, want %d: %+v", len(r.Peaks), n, r.Peaks)
	}
	return r.Peaks
}

// Two equal peaks at resolution 1: on a common baseline they keep their areas, valley to
// valley they lose what is below the line to the valley.
func TestOverlap(t *testing.T) {
	const s = 0.08
	times, values := sample(8001, 20, 0, gaussian(50, 8, s), gaussian(50, 8+4*s, s))
	area := 50 * s * root2pi
	for _, baseline := range []Baseline{"", Shapes, Drop} {
		p := peaksWith(t, times, values, Settings{Baseline: baseline}, 2)
		within(t, "first area", p[0].Area, area, 2e-3)
		within(t, "second area", p[1].Area, area, 2e-3)
		if p[0].EndKind != LimitDrop || p[1].StartKind != LimitDrop || p[0].End != p[1].Start || p[0].Shared != (baseline != Drop) {
			t.Errorf("%q: %+v", baseline, p)
		}
		// One line under both.
		slope := (p[0].BaselineEnd - p[0].BaselineStart) / (p[0].End - p[0].Start)
		same := (p[1].BaselineEnd - p[1].BaselineStart) / (p[1].End - p[1].Start)
		if math.Abs(slope-same) > 1e-9 || math.Abs(p[0].BaselineEnd-p[1].BaselineStart) > 1e-9 {
			t.Errorf("%q: baseline %+v", baseline, p)
		}
	}
	p := peaksWith(t, times, values, Settings{Baseline: Valley}, 2)
	valley := 2 * 50 * math.Exp(-2)
	within(t, "level of the valley", p[0].BaselineEnd, valley, 0.02)
	lost := valley / 2 * (p[0].End - p[0].Start)
	within(t, "area valley to valley", p[0].Area, area-lost, 0.02)
	if p[0].EndKind != LimitValley || p[1].StartKind != LimitValley {
		t.Errorf("limits %+v", p)
	}
}

// A baseline that sags between two groups: the valley below the common line belongs to the baseline.
func TestValleyBelowTheLine(t *testing.T) {
	const s = 0.1
	sag := func(t float64) float64 { return 0.6 * (t - 8.35) * (t - 8.35) }
	times, values := sample(4001, 20, 0.01, gaussian(20, 8, s), gaussian(20, 8.7, s), sag)
	p := peaksWith(t, times, values, Settings{Baseline: Drop}, 2)
	for _, p := range p {
		within(t, "area", p.Area, 20*s*root2pi, 0.04)
	}
	if p[0].EndKind == LimitDrop {
		t.Errorf("limits %+v", p)
	}
}

func TestTangentSkim(t *testing.T) {
	// A small peak far down the tail of a tall one.
	tall, small := emg(20, 8, 0.08, 0.3), gaussian(2, 9.2, 0.05)
	times, values := sample(10001, 20, 0, tall, small)
	p := peaksWith(t, times, values, Settings{Baseline: Skim}, 2)
	within(t, "rider", p[1].Area, 2*0.05*root2pi, 0.2)
	within(t, "carrier", p[0].Area, 20, 0.01)
	if !p[1].Rider || !p[0].Skimmed || p[1].EndKind != LimitTangent || p[0].End < p[1].End {
		t.Errorf("got %+v", p)
	}
	dropped := peaksWith(t, times, values, Settings{Baseline: Drop}, 2)
	if !(dropped[1].Area > 1.3*p[1].Area) {
		t.Errorf("by the perpendicular the rider has %v, by the tangent %v", dropped[1].Area, p[1].Area)
	}
	within(t, "sum", dropped[0].Area+dropped[1].Area, p[0].Area+p[1].Area, 1e-3)

	t.Run("on the front", func(t *testing.T) {
		mirrored := slices.Clone(values)
		slices.Reverse(mirrored)
		q := peaksWith(t, times, mirrored, Settings{Baseline: Skim}, 2)
		within(t, "rider", q[0].Area, p[1].Area, 0.02)
		within(t, "carrier", q[1].Area, p[0].Area, 0.01)
		if !q[0].Rider || !q[1].Skimmed || q[0].StartKind != LimitTangent {
			t.Errorf("got %+v", q)
		}
	})
	t.Run("not small enough", func(t *testing.T) {
		p := peaksWith(t, times, values, Settings{Baseline: Skim, SkimRatio: 1000}, 2)
		if p[1].Rider || p[0].Skimmed {
			t.Errorf("got %+v", p)
		}
	})
}

// Between set times the baseline is straight whatever the signal does there.
func TestSetTimes(t *testing.T) {
	hump := func(t float64) float64 { return 3 * math.Exp(-(t-10)*(t-10)/2) }
	times, values := sample(4001, 20, 0, gaussian(50, 8, 0.08), gaussian(50, 10, 0.08), hump)
	p := peaksWith(t, times, values, Settings{Baseline: Set, Lines: []Span{{9.5, 10.5}}}, 2)
	level := hump(9.5)
	within(t, "baseline", p[1].BaselineStart, level, 1e-6)
	within(t, "baseline", p[1].BaselineEnd, level, 1e-6)
	if p[1].Start < 9.5 || p[1].End > 10.5 {
		t.Errorf("limits %+v", p[1])
	}
	if math.Abs(p[0].BaselineStart-level) < 0.5 {
		t.Errorf("the line holds beyond its times: %+v", p[0])
	}
	within(t, "peak outside", p[0].Area, 50*0.08*root2pi, 0.02)
	tight := peaksWith(t, times, values, Settings{Baseline: Set, Lines: []Span{{9.9, 10.05}}}, 2)[1]
	if tight.StartKind != LimitSet || tight.EndKind != LimitSet || tight.Start < 9.9 || tight.End > 10.05 {
		t.Errorf("limits %+v", tight)
	}
	_, err := Find(times, values, Settings{Threshold: 10, Baseline: Set, Lines: []Span{{9.5, 20.5}}})
	if !errors.Is(err, ErrSpan) {
		t.Errorf("beyond the recording: %v", err)
	}
}

func TestWidths(t *testing.T) {
	times, values := sample(4001, 20, 0.01, gaussian(50, 5, 0.03), gaussian(50, 8, 0.1), gaussian(50, 14, 0.6))
	r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.15, MaxWidth: 0.5})
	if len(r.Peaks) != 1 || math.Abs(r.Peaks[0].Apex-8) > 0.01 {
		t.Errorf("got %+v", r.Peaks)
	}
}

// A bulge in a flank is part of its peak, unless shoulders are asked for.
func TestShoulders(t *testing.T) {
	const s = 0.1
	for name, tt := range map[string]struct {
		bulge shape
		at    float64
	}{"behind": {gaussian(18, 8+2.3*s, s), 8 + 2.3*s}, "before": {gaussian(18, 8-2.3*s, s), 8 - 2.3*s}} {
		t.Run(name, func(t *testing.T) {
			times, values := sample(6001, 20, 0.02, gaussian(50, 8, s), tt.bulge)
			whole := peaksWith(t, times, values, Settings{Smoothing: 9}, 1)[0]
			p := peaksWith(t, times, values, Settings{Smoothing: 9, Shoulders: true}, 2)
			shoulder, peak := p[1], p[0]
			if tt.at < 8 {
				shoulder, peak = p[0], p[1]
			}
			if !shoulder.Shoulder || peak.Shoulder || math.Abs(shoulder.Apex-tt.at) > 0.5*s {
				t.Errorf("got %+v", p)
			}
			within(t, "sum of areas", shoulder.Area+peak.Area, whole.Area, 1e-3)
			within(t, "shoulder", shoulder.Area, 18*s*root2pi, 0.25)
		})
	}
	for name, only := range map[string]shape{"symmetric": gaussian(50, 8, s), "tailing": emg(12, 8, s, 2*s)} {
		t.Run("none on a "+name+" peak", func(t *testing.T) {
			times, values := sample(6001, 20, 0.02, only)
			peaksWith(t, times, values, Settings{Smoothing: 9, Shoulders: true}, 1)
		})
	}
}

func TestNoiseOfASpan(t *testing.T) {
	times, values := sample(4001, 20, 0.1, gaussian(50, 8, 0.1))
	for i := range times {
		if times[i] > 12 {
			values[i] *= 10
		}
	}
	r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.1, Noise: &Span{0, 6}})
	within(t, "noise", *r.Noise, 0.1, 0.1)
	r = find(t, times, values, Settings{Threshold: 10, MinWidth: 0.1, Noise: &Span{13, 20}})
	within(t, "noise", *r.Noise, 1, 0.1)
	if _, err := Find(times, values, Settings{Threshold: 10, Noise: &Span{21, 22}}); !errors.Is(err, ErrSpan) {
		t.Errorf("beyond the recording: %v", err)
	}
}

func TestSettingsRefused(t *testing.T) {
	times, values := sample(200, 20, 0.1)
	for name, s := range map[string]Settings{
		"largest width below least": {MinWidth: 1, MaxWidth: 0.5}, "negative largest width": {MaxWidth: -1}, "NaN largest width": {MaxWidth: math.NaN()},
		"skim ratio": {SkimRatio: 0.5}, "NaN skim ratio": {SkimRatio: math.NaN()}, "unknown baseline": {Baseline: "spline"},
		"set without times": {Baseline: Set}, "times without set": {Lines: []Span{{1, 2}}}, "times reversed": {Baseline: Set, Lines: []Span{{2, 1}}},
		"times overlap": {Baseline: Set, Lines: []Span{{1, 3}, {2, 4}}}, "time NaN": {Baseline: Set, Lines: []Span{{math.NaN(), 4}}},
		"noise reversed": {Noise: &Span{2, 1}},
	} {
		t.Run(name, func(t *testing.T) {
			s.Threshold = 3
			if r, err := Find(times, values, s); !errors.Is(err, ErrSettings) {
				t.Errorf("got %+v, %v", r, err)
			}
		})
	}
}
