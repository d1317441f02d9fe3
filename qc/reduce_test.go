package qc_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/qc"
	"underbond/qc/method"
)

// reduce runs one acquisition through a reducer.
func reduce(t testing.TB, m *method.Method, signals ...parsers.Signal) *qc.Reduction {
	t.Helper()
	var out *qc.Reduction
	r := qc.NewReducer(qc.NewPlan(m), func(_ parsers.Header, _ parsers.Trailer, red *qc.Reduction) error {
		out = red
		return nil
	})
	if err := r.Begin(parsers.Header{Record: 3}); err != nil {
		t.Fatal(err)
	}
	for _, s := range signals {
		if err := r.Signal(s); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.End(parsers.Trailer{}); err != nil {
		t.Fatal(err)
	}
	canonical(t, out) // a reduction can always be stored
	if out.Engine != qc.Engine || out.Plan != qc.NewPlan(m).Digest() {
		t.Errorf("engine %q, plan %q", out.Engine, out.Plan)
	}
	return out
}

// hasProblem wants exactly one problem, with this code, place and words.
func hasProblem(t *testing.T, red *qc.Reduction, code, element, words string) {
	t.Helper()
	if len(red.Problems) != 1 {
		t.Fatalf("problems %v, want one", red.Problems)
	}
	p := red.Problems[0]
	if p.Code != code || p.Where.Element != element || p.Where.Record != 3 || p.Grade != parsers.Warned || !strings.Contains(p.Message, words) {
		t.Errorf("problem %v (%s), want %s at %q in record 3 with %q", p, p.Grade, code, element, words)
	}
}

func noProblems(t *testing.T, red *qc.Reduction) {
	t.Helper()
	if len(red.Problems) != 0 {
		t.Fatalf("problems %v, want none", red.Problems)
	}
}

// recorder takes n points over minutes of a straight line and three Gaussian peaks, in seconds.
func recorder(n int, wavelength float64) *parsers.Chromatogram {
	chance := rand.New(rand.NewPCG(5, 6))
	c := &parsers.Chromatogram{
		Index: 1, ID: "UV 280", Kind: "absorption", TimeAxis: parsers.Quantity{Name: "time", Unit: "s"},
		ValueAxis: parsers.Quantity{Name: "absorbance", Unit: "1"}, Precursor: math.NaN(), Product: math.NaN(), Wavelength: wavelength,
	}
	for i := range n {
		minutes := 20 * float64(i) / float64(n-1)
		v := 3 + 0.1*minutes + 0.01*chance.NormFloat64()
		for _, p := range [][2]float64{{4, 50}, {9, 20}, {14.5, 8}} {
			u := (minutes - p[0]) / 0.08
			v += p[1] * math.Exp(-u*u/2)
		}
		c.Time, c.Value = append(c.Time, 60*minutes), append(c.Value, v)
	}
	return c
}

func TestReduceChromatogram(t *testing.T) {
	red := reduce(t, methodOf(peakAt(4, uvTrace()), peakAt(9, uvTrace())), recorder(4000, 280))
	noProblems(t, red)
	if len(red.Traces) != 1 || len(red.Traces[0].Peaks) != 3 {
		t.Fatalf("traces %+v", red.Traces)
	}
	trace := red.Traces[0]
	if trace.Index != 1 || trace.ID != "UV 280" || *trace.Wavelength != 280 || trace.Precursor != nil || trace.Points != 4000 || *trace.FirstMin != 0 || *trace.LastMin != 20 {
		t.Errorf("trace %+v", trace)
	}
	for i, want := range [][2]float64{{4, 50}, {9, 20}, {14.5, 8}} {
		p := trace.Peaks[i]
		if math.Abs(p.Apex-want[0]) > 0.005 || math.Abs(p.Area-want[1]*0.08*math.Sqrt(2*math.Pi)) > 0.005*p.Area+0.01 || math.Abs(p.WidthHalf-0.1884) > 0.004 {
			t.Errorf("peak %+v, want apex %v min and height %v", p, want[0], want[1])
		}
	}
}

func TestReduceSelectsChromatograms(t *testing.T) {
	reaction := recorder(200, math.NaN())
	reaction.ID, reaction.Kind, reaction.Precursor, reaction.Product = "SRM", "selected reaction monitoring", 153.055, 93.034
	total := recorder(200, math.NaN())
	total.ID, total.Kind = "TIC", "total ion current"
	all := []parsers.Signal{recorder(200, 280), reaction, total}
	tests := map[string]struct {
		want method.Trace
		id   string // empty: none
	}{
		"by id":                 {method.Trace{ID: "TIC"}, "TIC"},
		"id is exact":           {method.Trace{ID: "tic"}, ""},
		"by kind":               {method.Trace{Kind: "total ion current"}, "TIC"},
		"by wavelength":         {method.Trace{Wavelength: ptr(280.0)}, "UV 280"},
		"wavelength rounded":    {method.Trace{Wavelength: ptr(280.05)}, "UV 280"},
		"another wavelength":    {method.Trace{Wavelength: ptr(281.0)}, ""},
		"by reaction":           {method.Trace{Precursor: ptr(153.06), Product: ptr(93.03)}, "SRM"},
		"another product":       {method.Trace{Precursor: ptr(153.06), Product: ptr(93.1)}, ""},
		"every field must fit":  {method.Trace{ID: "UV 280", Kind: "total ion current"}, ""},
		"no wavelength to have": {method.Trace{ID: "TIC", Wavelength: ptr(280.0)}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			red := reduce(t, methodOf(peakAt(4, tt.want)), all...)
			if tt.id == "" {
				if len(red.Traces) != 0 {
					t.Errorf("selected %+v", red.Traces)
				}
				hasProblem(t, red, qc.ProblemTrace, "", "no chromatogram agrees")
				return
			}
			noProblems(t, red)
			if len(red.Traces) != 1 || red.Traces[0].ID != tt.id {
				t.Errorf("selected %+v, want %s", red.Traces, tt.id)
			}
		})
	}
	t.Run("more than one", func(t *testing.T) {
		red := reduce(t, methodOf(peakAt(4, uvTrace())), recorder(200, 280), recorder(200, 280))
		hasProblem(t, red, qc.ProblemTrace, "", "2 chromatograms agree")
	})
}

func TestReduceChromatogramProblems(t *testing.T) {
	tests := map[string]struct {
		spoil func(*parsers.Chromatogram, *method.Method)
		code  string
		words string
	}{
		"no unit of time": {func(c *parsers.Chromatogram, _ *method.Method) { c.TimeAxis = parsers.Quantity{Name: "time"} },
			qc.ProblemTimeAxis, "time without a unit"},
		"unit not known": {func(c *parsers.Chromatogram, _ *method.Method) {
			c.TimeAxis = parsers.Quantity{Name: "time", UnitText: "ticks"}
		},
			qc.ProblemTimeAxis, `unknown unit "ticks"`},
		"unit of another kind": {func(c *parsers.Chromatogram, _ *method.Method) { c.TimeAxis.Unit = "nm" }, qc.ProblemTimeAxis, "time in nm"},
		"value missing inside": {func(c *parsers.Chromatogram, _ *method.Method) { c.Value[100] = math.NaN() }, qc.ProblemChromatogram, "1 of 400 points"},
		"time goes back":       {func(c *parsers.Chromatogram, _ *method.Method) { c.Time[100] = 0 }, qc.ProblemChromatogram, "time 101 goes back"},
		"no points":            {func(c *parsers.Chromatogram, _ *method.Method) { c.Time, c.Value = nil, nil }, qc.ProblemChromatogram, "no points"},
		"too few points":       {func(c *parsers.Chromatogram, _ *method.Method) { c.Time, c.Value = c.Time[:5], c.Value[:5] }, qc.ProblemChromatogram, "too few"},
		"lengths":              {func(c *parsers.Chromatogram, _ *method.Method) { c.Time = c.Time[:5] }, qc.ProblemChromatogram, "5 times and 400 values"},
		"no settings":          {func(_ *parsers.Chromatogram, m *method.Method) { m.Integration = nil }, qc.ProblemPlan, "no integration settings"},
		"settings of no use":   {func(_ *parsers.Chromatogram, m *method.Method) { m.Integration.Threshold = 0 }, qc.ProblemChromatogram, "unusable integration settings"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c, m := recorder(400, 280), methodOf(peakAt(4, uvTrace()))
			tt.spoil(c, m)
			red := reduce(t, m, c)
			hasProblem(t, red, tt.code, "UV 280", tt.words)
			// Without peaks sought nothing claims that the trace was looked through.
			if len(red.Traces) != 1 || len(red.Traces[0].Peaks) != 0 || red.Traces[0].FirstMin != nil || red.Traces[0].LastMin != nil {
				t.Errorf("traces %+v", red.Traces)
			}
		})
	}
	t.Run("values missing at the ends", func(t *testing.T) {
		c := recorder(400, 280)
		c.Value[0], c.Value[399] = math.NaN(), math.NaN()
		red := reduce(t, methodOf(peakAt(4, uvTrace())), c)
		noProblems(t, red)
		if trace := red.Traces[0]; trace.Points != 398 || !(*trace.FirstMin > 0) || !(*trace.LastMin < 20) || len(trace.Peaks) != 3 {
			t.Errorf("trace %+v", trace)
		}
	})
	t.Run("minutes stay minutes", func(t *testing.T) {
		c := recorder(400, 280)
		for i := range c.Time {
			c.Time[i] /= 60
		}
		c.TimeAxis.Unit = "min"
		red := reduce(t, methodOf(peakAt(4, uvTrace())), c)
		noProblems(t, red)
		if *red.Traces[0].LastMin != 20 {
			t.Errorf("last point at %v min", *red.Traces[0].LastMin)
		}
	})
	t.Run("no signal at all", func(t *testing.T) {
		hasProblem(t, reduce(t, methodOf(peakAt(4, uvTrace()))), qc.ProblemTrace, "", `no chromatogram agrees with the method's selection of kind "absorption", wavelength 280 nm`)
	})
}

// A reader may use its slices again: nothing that was kept may change with them.
func TestReducerCopies(t *testing.T) {
	m := methodOf(peakAt(4, uvTrace()), ordinateAt(420, nil), column("area"))
	var kept []*qc.Reduction
	r := qc.NewReducer(qc.NewPlan(m), func(_ parsers.Header, _ parsers.Trailer, red *qc.Reduction) error {
		kept = append(kept, red)
		return nil
	})
	c, s, table := recorder(400, 280), spectrum(400, 1, 100), peakTable()
	var first string
	for i := range 2 {
		if err := errors.Join(r.Begin(parsers.Header{Record: i + 1}), r.Signal(c), r.Signal(s), r.Signal(table), r.End(parsers.Trailer{})); err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = canonical(t, kept[0])
		}
		for j := range c.Value {
			c.Value[j], c.Time[j] = 0, float64(j)
		}
		for j := range s.Y {
			s.Y[j] = -1
		}
		*table.Rows[0].Cells[3].Value = -1
		table.Rows[0].Cells[0].Text = "overwritten"
	}
	if len(kept) != 2 || canonical(t, kept[0]) != first {
		t.Errorf("the first reduction changed to %s", canonical(t, kept[0]))
	}
	if canonical(t, kept[1]) == first {
		t.Error("the second reduction does not show the new values")
	}
}

func TestReduceIsDeterministic(t *testing.T) {
	m := methodOf(peakAt(4, uvTrace()), ordinateAt(420, nil), column("area"))
	run := func() string {
		return canonical(t, reduce(t, m, recorder(3000, 280), spectrum(400, 1, 100), peakTable()))
	}
	first := run()
	for range 3 {
		if again := run(); again != first {
			t.Fatalf("got %s, then %s", first, again)
		}
	}
}

func TestReducerOrderOfCalls(t *testing.T) {
	keep := func(parsers.Header, parsers.Trailer, *qc.Reduction) error { return nil }
	r := qc.NewReducer(qc.Plan{}, keep)
	if err := r.Signal(peakTable()); err == nil {
		t.Error("a signal before Begin is accepted")
	}
	if err := r.End(parsers.Trailer{}); err == nil {
		t.Error("End before Begin is accepted")
	}
	if err := r.Begin(parsers.Header{Record: 1}); err != nil {
		t.Fatal(err)
	}
	if err := r.Begin(parsers.Header{Record: 2}); err == nil {
		t.Error("Begin twice is accepted")
	}
	if err := r.Signal(nil); err == nil {
		t.Error("no signal is accepted as one")
	}
	full := errors.New("disk full")
	r = qc.NewReducer(qc.Plan{}, func(parsers.Header, parsers.Trailer, *qc.Reduction) error { return full })
	if err := errors.Join(r.Begin(parsers.Header{Record: 1}), r.End(parsers.Trailer{})); !errors.Is(err, full) {
		t.Errorf("got %v, want the keeper's error", err)
	}
}

func TestReduceHandsOnHeaderAndTrailer(t *testing.T) {
	trailer := parsers.Trailer{Digest: [32]byte{7}, Problems: []parsers.Problem{parsers.Warn("x", parsers.Place{}, "y")}}
	r := qc.NewReducer(qc.Plan{}, func(h parsers.Header, got parsers.Trailer, red *qc.Reduction) error {
		if h.NativeKey != "run=1" || got.Digest != trailer.Digest || len(got.Problems) != 1 || len(red.Problems) != 0 {
			return fmt.Errorf("header %+v, trailer %+v, reduction %+v", h, got, red)
		}
		return nil
	})
	if err := errors.Join(r.Begin(parsers.Header{NativeKey: "run=1"}), r.End(trailer)); err != nil {
		t.Error(err)
	}
}

func TestReduceWithAPlanThatIsNotFinite(t *testing.T) {
	red := reduce(t, methodOf(ordinateAt(420, ptr(math.NaN()))), spectrum(400, 1, 100))
	if len(red.Problems) == 0 || red.Problems[0].Code != qc.ProblemPlan || red.Points[0].Value != nil {
		t.Errorf("got %+v", red)
	}
}

func BenchmarkReduceChromatogram(b *testing.B) {
	m, c := methodOf(peakAt(4, uvTrace())), recorder(10000, 280)
	b.ReportAllocs()
	for b.Loop() {
		reduce(b, m, c)
	}
}

// What the reader lost stays with the reduction; what it merely warns of does not.
func TestReduceKeepsLosses(t *testing.T) {
	var out *qc.Reduction
	r := qc.NewReducer(qc.NewPlan(&method.Method{}), func(_ parsers.Header, _ parsers.Trailer, red *qc.Reduction) error {
		out = red
		return nil
	})
	if err := r.Begin(parsers.Header{Record: 1}); err != nil {
		t.Fatal(err)
	}
	lost := parsers.Lose("mzml-array-damaged", parsers.Place{Element: "spectrum 3"}, "cut")
	if err := r.End(parsers.Trailer{Problems: []parsers.Problem{parsers.Warn("mzml-count", parsers.Place{}, "2 of 3"), lost}}); err != nil {
		t.Fatal(err)
	}
	if len(out.Problems) != 1 || out.Problems[0] != lost {
		t.Errorf("problems %v, want %v", out.Problems, lost)
	}
}
