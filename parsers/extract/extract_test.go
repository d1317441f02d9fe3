package extract_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers"
	"underbond/parsers/extract"
)

// kept keeps what comes.
type kept struct {
	calls    []string
	traces   []parsers.Chromatogram
	problems []parsers.Problem
	fail     error
}

func (k *kept) Begin(parsers.Header) error { k.calls = append(k.calls, "begin"); return nil }
func (k *kept) Signal(s parsers.Signal) error {
	k.calls = append(k.calls, fmt.Sprintf("%T", s))
	if c, ok := s.(*parsers.Chromatogram); ok {
		k.traces = append(k.traces, *c)
	}
	return k.fail
}
func (k *kept) End(t parsers.Trailer) error {
	k.calls, k.problems = append(k.calls, "end"), t.Problems
	return nil
}

var (
	massAxis = parsers.Quantity{Name: "m/z", Unit: "1"}
	lightnm  = parsers.Quantity{Name: "wavelength", Unit: "nm"}
	nan      = math.NaN()
)

func mass(time float64, level int, polarity string, x, y []float64) *parsers.Spectrum {
	return &parsers.Spectrum{XAxis: massAxis, YAxis: parsers.Quantity{Name: "intensity"}, MSLevel: level, Polarity: polarity, ScanTime: time, X: x, Y: y}
}

func light(time float64, x, y []float64) *parsers.Spectrum {
	return &parsers.Spectrum{XAxis: lightnm, YAxis: parsers.Quantity{Name: "absorbance"}, ScanTime: time, X: x, Y: y}
}

func run(t interface{ Fatal(...any) }, traces []extract.Trace, signals ...parsers.Signal) *kept {
	k := &kept{}
	sink, err := extract.New(k, traces)
	if err != nil {
		t.Fatal(err)
	}
	if err := sink.Begin(parsers.Header{}); err != nil {
		t.Fatal(err)
	}
	for _, s := range signals {
		if err := sink.Signal(s); err != nil {
			t.Fatal(err)
		}
	}
	if err := sink.End(parsers.Trailer{Problems: []parsers.Problem{{Code: "before"}}}); err != nil {
		t.Fatal(err)
	}
	return k
}

func TestTraces(t *testing.T) {
	gone := mass(3, 1, "positive", nil, nil)
	gone.Lost, gone.XAxis = true, parsers.Quantity{}
	unread := mass(4, 1, "positive", []float64{100, 200}, []float64{nan, nan})
	unread.Lost = true
	signals := []parsers.Signal{
		&parsers.Chromatogram{Index: 0},
		mass(1, 1, "positive", []float64{100, 200, 300}, []float64{1, 5, 2}),
		mass(2, 2, "negative", []float64{300, 100.01, 200}, []float64{4, 3, 1}),
		gone, unread,
		mass(5, 1, "positive", nil, nil),
		mass(nan, 1, "positive", []float64{100}, []float64{7}),
		light(1.5, []float64{279, 280, 281, 400}, []float64{0.1, 0.2, 0.6, 9}),
		light(2.5, []float64{400}, []float64{1}),
	}
	tests := map[string]struct {
		trace       extract.Trace
		time, value []float64
		id          string
		untimed     bool
	}{
		"total":       {extract.Trace{Kind: extract.TotalIon}, []float64{1, 2, 3, 4, 5}, []float64{8, 8, nan, nan, 0}, "total ion current", true},
		"base peak":   {extract.Trace{Kind: extract.BasePeak, MSLevel: 2}, []float64{2}, []float64{4}, "basepeak, MS level 2", false},
		"positive":    {extract.Trace{Kind: extract.TotalIon, Polarity: "negative", ID: "n"}, []float64{2}, []float64{8}, "n", false},
		"window":      {extract.Trace{Kind: extract.Window, Target: 100, Tolerance: 0.01}, []float64{1, 2, 3, 4, 5}, []float64{1, 3, nan, nan, 0}, "selected ion current, m/z 100 ± 0.01", true},
		"at a limit":  {extract.Trace{Kind: extract.Window, Target: 150, Tolerance: 50, MSLevel: 1}, []float64{1, 3, 4, 5}, []float64{6, nan, nan, 0}, "selected ion current, m/z 150 ± 50, MS level 1", true},
		"ppm":         {extract.Trace{Kind: extract.Window, Target: 100, Tolerance: 99, PPM: true}, []float64{1, 2, 3, 4, 5}, []float64{1, 0, nan, nan, 0}, "selected ion current, m/z 100 ± 99 ppm", true},
		"wavelength":  {extract.Trace{Kind: extract.Wavelength, Target: 280, Tolerance: 1}, []float64{1.5, 2.5}, []float64{0.3, nan}, "absorption, 280 ± 1 nm", false},
		"one of them": {extract.Trace{Kind: extract.Wavelength, Target: 400}, []float64{1.5, 2.5}, []float64{9, 1}, "absorption, 400 ± 0 nm", false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			k := run(t, []extract.Trace{tt.trace}, signals...)
			c := k.traces[len(k.traces)-1]
			if len(k.traces) != 2 || c.Index != 1 || c.ID != tt.id || c.Kind != string(tt.trace.Kind) || c.TimeAxis.Unit != "s" {
				t.Errorf("%+v", c)
			}
			near := func(a, b float64) bool { return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-12 }
			if !slices.Equal(c.Time, tt.time) || !slices.EqualFunc(c.Value, tt.value, near) {
				t.Errorf("%v %v, want %v %v", c.Time, c.Value, tt.time, tt.value)
			}
			if untimed := len(k.problems) == 2 && k.problems[1].Code == extract.CodeNoTime && k.problems[1].Grade == parsers.Lost; untimed != tt.untimed {
				t.Errorf("problems %v", k.problems)
			}
			if k.calls[0] != "begin" || k.calls[len(k.calls)-1] != "end" || len(k.calls) != len(signals)+3 {
				t.Errorf("calls %v", k.calls)
			}
		})
	}
}

func TestRefusedTraces(t *testing.T) {
	for name, trace := range map[string]extract.Trace{
		"no kind":            {},
		"no target":          {Kind: extract.Window, Tolerance: 1},
		"target NaN":         {Kind: extract.Window, Target: nan, Tolerance: 1},
		"tolerance NaN":      {Kind: extract.Window, Target: 1, Tolerance: nan},
		"negative tolerance": {Kind: extract.Window, Target: 1, Tolerance: -1},
		"infinite":           {Kind: extract.Window, Target: 1, Tolerance: math.Inf(1)},
		"ppm of nm":          {Kind: extract.Wavelength, Target: 280, Tolerance: 1, PPM: true},
	} {
		if _, err := extract.New(&kept{}, []extract.Trace{trace}); err == nil {
			t.Errorf("%s: %+v is taken", name, trace)
		}
	}
}

func TestErrorsPass(t *testing.T) {
	boom := errors.New("full")
	sink, err := extract.New(&kept{fail: boom}, []extract.Trace{{Kind: extract.TotalIon}})
	if err != nil {
		t.Fatal(err)
	}
	if err := sink.Begin(parsers.Header{}); err != nil {
		t.Fatal(err)
	}
	if err := sink.Signal(mass(1, 1, "", nil, nil)); !errors.Is(err, boom) {
		t.Errorf("signal: %v", err)
	}
	if err := sink.End(parsers.Trailer{}); !errors.Is(err, boom) {
		t.Errorf("end: %v", err)
	}
}

// Any spectra give what looking at every point gives.
func TestAgainstEveryPoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		grid := rapid.IntRange(0, 40)
		trace := extract.Trace{
			Kind:   rapid.SampledFrom([]extract.Kind{extract.TotalIon, extract.BasePeak, extract.Window}).Draw(t, "kind"),
			Target: 1 + float64(grid.Draw(t, "target")), Tolerance: float64(grid.Draw(t, "tolerance")) / 4,
			PPM: rapid.Bool().Draw(t, "ppm"), MSLevel: rapid.IntRange(0, 2).Draw(t, "level"),
		}
		if trace.PPM {
			trace.Tolerance *= 1e5
		}
		half := trace.Tolerance
		if trace.PPM {
			half = trace.Target * trace.Tolerance / 1e6
		}
		var signals []parsers.Signal
		var want []float64
		for i := range rapid.IntRange(0, 6).Draw(t, "spectra") {
			s := mass(float64(i), rapid.IntRange(1, 2).Draw(t, "ms level"), "", nil, nil)
			for range rapid.IntRange(0, 12).Draw(t, "points") {
				s.X = append(s.X, float64(grid.Draw(t, "x")))
				s.Y = append(s.Y, float64(grid.Draw(t, "y")))
			}
			if rapid.Bool().Draw(t, "sorted") {
				slices.Sort(s.X)
			}
			signals = append(signals, s)
			if trace.MSLevel != 0 && trace.MSLevel != s.MSLevel {
				continue
			}
			v := 0.0
			for j, x := range s.X {
				switch {
				case trace.Kind == extract.BasePeak:
					v = max(v, s.Y[j])
				case trace.Kind == extract.TotalIon, x >= trace.Target-half && x <= trace.Target+half:
					v += s.Y[j]
				}
			}
			want = append(want, v)
		}
		if got := run(t, []extract.Trace{trace}, signals...).traces[0]; !slices.Equal(got.Value, want) || len(got.Time) != len(want) {
			t.Errorf("%v, want %v for %+v", got.Value, want, trace)
		}
	})
}
