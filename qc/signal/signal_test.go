package signal

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// shape is a function of time with a known area.
type shape func(t float64) float64

func gaussian(height, centre, s float64) shape {
	return func(t float64) float64 { u := (t - centre) / s; return height * math.Exp(-u*u/2) }
}

// emg is the exponentially modified Gaussian of the given area.
func emg(area, mu, s, tau float64) shape {
	return func(t float64) float64 {
		z := (s/tau - (t-mu)/s) / math.Sqrt2
		if z > 25 {
			return 0 // and the exponential may overflow
		}
		return area / (2 * tau) * math.Exp(s*s/(2*tau*tau)-(t-mu)/tau) * math.Erfc(z)
	}
}

// sample takes n points from 0 to end of the sum of shapes, plus normal noise.
func sample(n int, end, noise float64, shapes ...shape) (times, values []float64) {
	chance := rand.New(rand.NewPCG(7, 11))
	for i := range n {
		t := end * float64(i) / float64(n-1)
		v := noise * chance.NormFloat64()
		for _, s := range shapes {
			v += s(t)
		}
		times, values = append(times, t), append(values, v)
	}
	return times, values
}

func find(t testing.TB, times, values []float64, s Settings) Result {
	t.Helper()
	r, err := Find(times, values, s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func within(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %.8g, want %.8g within a relative %g", what, got, want, relative)
	}
}

// Exact figures of a Gaussian: area h·s·√(2π), full width at half height 2.35482 s.
func TestGaussian(t *testing.T) {
	tests := map[string]struct {
		n         int
		noise     float64
		smoothing int
		area      float64 // relative tolerances
		height    float64
		width     float64
	}{
		"dense":          {4001, 0, 0, 1e-3, 1e-5, 1e-4},
		"sparse":         {401, 0, 0, 1e-3, 1e-3, 2e-3},
		"smoothed":       {4001, 0, 11, 1e-3, 1e-5, 1e-4},
		"with noise":     {4001, 0.1, 0, 0.01, 0.005, 0.01},
		"noise smoothed": {4001, 0.1, 15, 0.01, 0.005, 0.01},
	}
	const height, centre, s = 50.0, 7.3, 0.08
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			times, values := sample(tt.n, 20, tt.noise, gaussian(height, centre, s))
			r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.02, Smoothing: tt.smoothing})
			if len(r.Peaks) != 1 {
				t.Fatalf("%d peaks: %+v", len(r.Peaks), r.Peaks)
			}
			p := r.Peaks[0]
			within(t, "area", p.Area, height*s*math.Sqrt(2*math.Pi), tt.area)
			within(t, "height", p.Height, height, tt.height)
			within(t, "width at half height", p.WidthHalf, 2.35482004503*s, tt.width)
			within(t, "apex", p.Apex, centre, 1e-3)
			within(t, "signal to noise", p.SignalToNoise, 2*p.Height/(6**r.Noise), 1e-12)
			if tt.noise > 0 {
				within(t, "noise", *r.Noise, tt.noise, 0.05)
			}
			if !(p.Start < centre-3*s && p.End > centre+3*s && p.Start > centre-8*s && p.End < centre+8*s) {
				t.Errorf("limits %v and %v", p.Start, p.End)
			}
		})
	}
}

// The parameter A of an exponentially modified Gaussian is its area, whatever its tail.
func TestExponentiallyModifiedGaussian(t *testing.T) {
	for name, tau := range map[string]float64{"short tail": 0.03, "tail as wide as the peak": 0.08, "long tail": 0.2} {
		t.Run(name, func(t *testing.T) {
			times, values := sample(6001, 20, 0, emg(12, 8, 0.08, tau))
			r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.02})
			if len(r.Peaks) != 1 {
				t.Fatalf("%d peaks", len(r.Peaks))
			}
			within(t, "area", r.Peaks[0].Area, 12, 2e-3)
			if p := r.Peaks[0]; !(p.End-p.Apex > p.Apex-p.Start) {
				t.Errorf("a tailing peak from %v over %v to %v", p.Start, p.Apex, p.End)
			}
		})
	}
}

// Areas follow the actual time steps.
func TestUnevenSteps(t *testing.T) {
	shape := gaussian(50, 7.3, 0.08)
	chance := rand.New(rand.NewPCG(3, 4))
	var times, values []float64
	for at := 0.0; at < 20; at += 0.004 + 0.008*chance.Float64() {
		times, values = append(times, at), append(values, shape(at))
	}
	r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.02})
	if len(r.Peaks) != 1 {
		t.Fatalf("%d peaks", len(r.Peaks))
	}
	within(t, "area", r.Peaks[0].Area, 50*0.08*math.Sqrt(2*math.Pi), 2e-3)
}

func TestNeighbours(t *testing.T) {
	tests := map[string]struct {
		second shape
		apexes []float64
	}{
		"resolved":              {gaussian(20, 9, 0.08), []float64{8, 9}},
		"valley":                {gaussian(40, 8.3, 0.08), []float64{8, 8.3}},
		"shoulder without dip":  {gaussian(10, 8.15, 0.08), []float64{8}},
		"small beside large":    {gaussian(2, 8.6, 0.08), []float64{8, 8.6}},
		"below the threshold":   {gaussian(0.2, 9, 0.08), []float64{8}},
		"narrower than allowed": {gaussian(30, 9, 0.004), []float64{8}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			times, values := sample(6001, 20, 0.02, gaussian(50, 8, 0.08), tt.second)
			r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.05, Smoothing: 9})
			if len(r.Peaks) != len(tt.apexes) {
				t.Fatalf("%d peaks, want %d: %+v", len(r.Peaks), len(tt.apexes), r.Peaks)
			}
			for i, want := range tt.apexes {
				within(t, "apex", r.Peaks[i].Apex, want, 5e-3)
			}
			if len(r.Peaks) == 2 && r.Peaks[0].End > r.Peaks[1].Start {
				t.Errorf("peaks overlap: %+v", r.Peaks)
			}
		})
	}
}

// Where the baseline falls steeply and bends, the limits still stay with the peak.
func TestCurvedBaseline(t *testing.T) {
	tests := map[string]struct {
		shape     shape
		noise     float64
		smoothing int
		tolerance float64
	}{
		"symmetric":          {gaussian(50, 8.3, 0.08), 0.02, 0, 0.005},
		"symmetric smoothed": {gaussian(50, 8.3, 0.08), 0.02, 25, 0.005},
		"more noise":         {gaussian(50, 8.3, 0.08), 0.5, 9, 0.03},
		"tailing":            {emg(10, 8.3, 0.08, 0.15), 0.02, 9, 0.02},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			drift := func(at float64) float64 { return 5 * math.Sin(at/5) }
			times, values := sample(6001, 20, tt.noise, tt.shape, drift)
			r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.05, Smoothing: tt.smoothing})
			if len(r.Peaks) != 1 {
				t.Fatalf("%d peaks: %+v", len(r.Peaks), r.Peaks)
			}
			var area float64
			for i := 1; i < len(times); i++ {
				area += (tt.shape(times[i-1]) + tt.shape(times[i])) / 2 * (times[i] - times[i-1])
			}
			within(t, "area", r.Peaks[0].Area, area, tt.tolerance)
			if p := r.Peaks[0]; p.Start < 7.5 || p.End > 10 {
				t.Errorf("limits %v and %v", p.Start, p.End)
			}
		})
	}
}

// A recording that ends within a peak gives the part that is there.
func TestCutPeak(t *testing.T) {
	times, values := sample(4001, 20, 0.01, gaussian(50, 19.9, 0.08))
	r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.05})
	if len(r.Peaks) != 1 || r.Peaks[0].End != 20 {
		t.Errorf("got %+v", r.Peaks)
	}
}

// A spike that is no peak by its width does not cut the peak that it sits on.
func TestSpikeOnFlank(t *testing.T) {
	times, values := sample(6001, 20, 0.01, gaussian(50, 8, 0.15))
	clean := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.05})
	spike := 2475 // 8.25, on the flank
	values[spike] += 8
	spiked := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.05})
	if len(clean.Peaks) != 1 || len(spiked.Peaks) != 1 {
		t.Fatalf("%d and %d peaks", len(clean.Peaks), len(spiked.Peaks))
	}
	within(t, "area", spiked.Peaks[0].Area, clean.Peaks[0].Area+8*20.0/6000, 1e-3)
	within(t, "start", spiked.Peaks[0].Start, clean.Peaks[0].Start, 1e-2)
	within(t, "end", spiked.Peaks[0].End, clean.Peaks[0].End, 1e-2)
}

func TestNothingToFind(t *testing.T) {
	flat := make([]float64, 200)
	noise := make([]float64, 2000)
	chance := rand.New(rand.NewPCG(1, 2))
	for i := range noise {
		noise[i] = chance.NormFloat64()
	}
	tests := map[string]struct {
		values   []float64
		hasNoise bool
	}{
		"empty": {nil, false}, "one point": {flat[:1], false}, "short": {flat[:10], false},
		"constant": {flat, true}, "noise alone": {noise, true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			times := make([]float64, len(tt.values))
			for i := range times {
				times[i] = float64(i)
			}
			r := find(t, times, tt.values, Settings{Threshold: 3})
			if len(r.Peaks) != 0 || (r.Noise != nil) != tt.hasNoise {
				t.Errorf("got %+v", r)
			}
		})
	}
}

// A signal counted in whole numbers, zero nearly everywhere, has no noise by its median; its step stands in.
func TestCounts(t *testing.T) {
	times, values := sample(2001, 20, 0, gaussian(300, 8, 0.1))
	for i := range values {
		values[i] = math.Floor(values[i])
	}
	r := find(t, times, values, Settings{Threshold: 10, MinWidth: 0.05})
	if len(r.Peaks) != 1 || *r.Noise != 1/math.Sqrt(12) {
		t.Fatalf("got %d peaks, noise %v", len(r.Peaks), *r.Noise)
	}
	within(t, "area", r.Peaks[0].Area, 300*0.1*math.Sqrt(2*math.Pi), 0.01)
}

func TestFindRefuses(t *testing.T) {
	good := Settings{Threshold: 3}
	tests := map[string]struct {
		times, values []float64
		settings      Settings
		want          error
	}{
		"no threshold":       {nil, nil, Settings{}, ErrSettings},
		"NaN threshold":      {nil, nil, Settings{Threshold: math.NaN()}, ErrSettings},
		"infinite threshold": {nil, nil, Settings{Threshold: math.Inf(1)}, ErrSettings},
		"negative width":     {nil, nil, Settings{Threshold: 3, MinWidth: -1}, ErrSettings},
		"even smoothing":     {counting(40), wave(40), Settings{Threshold: 3, Smoothing: 4}, ErrSettings},
		"lengths":            {[]float64{1, 2}, []float64{1}, good, ErrTimes},
		"time goes back":     {[]float64{1, 2, 1.5}, []float64{1, 2, 3}, good, ErrTimes},
		"time NaN":           {[]float64{1, math.NaN()}, []float64{1, 2}, good, ErrTimes},
		"value NaN":          {[]float64{1, 2}, []float64{1, math.NaN()}, good, ErrValues},
		"value infinite":     {[]float64{1, 2}, []float64{math.Inf(1), 2}, good, ErrValues},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if r, err := Find(tt.times, tt.values, tt.settings); !errors.Is(err, tt.want) {
				t.Errorf("got %+v, %v; want %v", r, err, tt.want)
			}
		})
	}
}

func counting(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i)
	}
	return out
}

func wave(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Sin(float64(i))
	}
	return out
}

// scene draws a chromatogram of a few peaks with noise.
func scene(t *rapid.T) (times, values []float64, s Settings) {
	var shapes []shape
	at := 1.0
	for range rapid.IntRange(1, 4).Draw(t, "peaks") {
		at += rapid.Float64Range(0.6, 3).Draw(t, "distance")
		width := rapid.Float64Range(0.05, 0.15).Draw(t, "s")
		if rapid.Bool().Draw(t, "tails") {
			shapes = append(shapes, emg(rapid.Float64Range(1, 50).Draw(t, "area"), at, width, rapid.Float64Range(0.03, 0.2).Draw(t, "tau")))
		} else {
			shapes = append(shapes, gaussian(rapid.Float64Range(5, 100).Draw(t, "height"), at, width))
		}
	}
	noise := rapid.SampledFrom([]float64{0, 0.01, 0.1}).Draw(t, "noise")
	times, values = sample(rapid.IntRange(800, 2000).Draw(t, "n"), 16, noise, shapes...)
	return times, values, Settings{Threshold: 10, MinWidth: 0.02, Smoothing: rapid.SampledFrom([]int{0, 7}).Draw(t, "smoothing")}
}

func both(t *rapid.T, times, a, b []float64, s Settings) (Result, Result) {
	before, err := Find(times, a, s)
	if err != nil {
		t.Fatal(err)
	}
	after, err := Find(times, b, s)
	if err != nil {
		t.Fatal(err)
	}
	if len(before.Peaks) != len(after.Peaks) {
		t.Fatalf("%d peaks became %d", len(before.Peaks), len(after.Peaks))
	}
	return before, after
}

func TestAddedLineChangesNoPeak(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times, values, s := scene(t)
		offset, slope := rapid.Float64Range(-500, 500).Draw(t, "offset"), rapid.Float64Range(-20, 20).Draw(t, "slope")
		moved := make([]float64, len(values))
		for i := range values {
			moved[i] = values[i] + offset + slope*times[i]
		}
		before, after := both(t, times, values, moved, s)
		for i, p := range before.Peaks {
			q := after.Peaks[i]
			line := func(at float64) float64 { return offset + slope*at }
			same(t, "area", q.Area, p.Area, 1e-4*p.Area)
			same(t, "height", q.Height, p.Height, 1e-4*p.Height)
			same(t, "width", q.WidthHalf, p.WidthHalf, 1e-4*p.WidthHalf)
			same(t, "apex", q.Apex, p.Apex, 1e-6)
			same(t, "baseline at the start", q.BaselineStart, p.BaselineStart+line(q.Start), 1e-4*p.Height)
			same(t, "baseline at the end", q.BaselineEnd, p.BaselineEnd+line(q.End), 1e-4*p.Height)
		}
	})
}

// Multiplying by a power of two changes no bit but the exponent.
func TestScaledSignalScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times, values, s := scene(t)
		k := math.Ldexp(1, rapid.IntRange(-30, 30).Draw(t, "power of two"))
		scaled := make([]float64, len(values))
		for i := range values {
			scaled[i] = k * values[i]
		}
		before, after := both(t, times, values, scaled, s)
		if *after.Noise != k**before.Noise {
			t.Fatalf("noise %v became %v", *before.Noise, *after.Noise)
		}
		for i, p := range before.Peaks {
			p.Height, p.Area, p.BaselineStart, p.BaselineEnd = k*p.Height, k*p.Area, k*p.BaselineStart, k*p.BaselineEnd
			if want, got := fmt.Sprintf("%+v", p), fmt.Sprintf("%+v", after.Peaks[i]); want != got { // NaN is not equal to itself
				t.Fatalf("want %s, got %s", want, got)
			}
		}
	})
}

// Starting the clock earlier moves apexes and limits, and the plates with them; nothing else.
func TestShiftedTimeShifts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times, values, s := scene(t)
		shift := rapid.Float64Range(0, 100).Draw(t, "shift")
		later := make([]float64, len(times))
		for i := range times {
			later[i] = times[i] + shift
		}
		before, err := Find(times, values, s)
		if err != nil {
			t.Fatal(err)
		}
		after, err := Find(later, values, s)
		if err != nil {
			t.Fatal(err)
		}
		if len(before.Peaks) != len(after.Peaks) {
			t.Fatalf("%d peaks became %d", len(before.Peaks), len(after.Peaks))
		}
		for i, p := range before.Peaks {
			q := after.Peaks[i]
			same(t, "apex", q.Apex, p.Apex+shift, 1e-9)
			same(t, "start", q.Start, p.Start+shift, 0.05)
			same(t, "area", q.Area, p.Area, 1e-4*p.Area)
			same(t, "height", q.Height, p.Height, 1e-4*p.Height)
			same(t, "width", q.WidthHalf, p.WidthHalf, 1e-4*p.WidthHalf)
		}
	})
}

func TestNoiseLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, values := sample(rapid.IntRange(50, 500).Draw(t, "n"), 1, 1)
		offset, drift, k := rapid.Float64Range(-99, 99).Draw(t, "offset"), rapid.Float64Range(-9, 9).Draw(t, "drift"), rapid.Float64Range(-9, 9).Draw(t, "k")
		moved := make([]float64, len(values))
		for i := range values {
			moved[i] = offset + drift*float64(i) + k*values[i]
		}
		before, ok := Noise(values)
		after, also := Noise(moved)
		if !ok || !also {
			t.Fatal("no noise")
		}
		same(t, "noise", after, math.Abs(k)*before, 1e-8)
	})
	// 10,000 normal deviates: the estimate has a standard error of about 1.6 %.
	_, values := sample(10000, 1, 3)
	sigma, _ := Noise(values)
	if !(math.Abs(sigma-3) < 0.15) {
		t.Errorf("noise of standard deviation 3 is estimated as %v", sigma)
	}
}

func same(t *rapid.T, what string, got, want, tolerance float64) {
	if !(math.Abs(got-want) <= tolerance) {
		t.Fatalf("%s is %v, want %v within %v", what, got, want, tolerance)
	}
}
