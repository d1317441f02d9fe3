package calibration

import (
	"encoding/csv"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// exactLine is the weighted line from the textbook sums in rational arithmetic, where
// the normal equations lose nothing: an oracle that shares no step with the fit.
type exactLine struct {
	intercept, slope, variance, seInterceptSq, seSlopeSq, r2 float64
	// inverse gives s(x0)² of one measurement.
	inverse func(response float64) float64
}

func solveExactly(x, y []float64, power int) exactLine {
	rat := func(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }
	mul := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }
	sub := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }
	quo := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Quo(a, b) }
	add := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Add(a, b) }
	raw := func(v *big.Rat) *big.Rat {
		w := big.NewRat(1, 1)
		for range power {
			w.Quo(w, v)
		}
		return w
	}
	n := big.NewRat(int64(len(x)), 1)
	meanRaw := new(big.Rat)
	for _, xi := range x {
		meanRaw.Add(meanRaw, quo(raw(rat(xi)), n))
	}
	weight := func(v *big.Rat) *big.Rat { return quo(raw(v), meanRaw) }
	var sx, sy, sxx, sxy, syy big.Rat
	for i := range x {
		w, xi, yi := weight(rat(x[i])), rat(x[i]), rat(y[i])
		sx.Add(&sx, mul(w, xi))
		sy.Add(&sy, mul(w, yi))
		sxx.Add(&sxx, mul(w, mul(xi, xi)))
		sxy.Add(&sxy, mul(w, mul(xi, yi)))
		syy.Add(&syy, mul(w, mul(yi, yi)))
	}
	meanX, meanY := quo(&sx, n), quo(&sy, n)
	aboutXX := sub(&sxx, mul(n, mul(meanX, meanX)))
	aboutXY := sub(&sxy, mul(n, mul(meanX, meanY)))
	aboutYY := sub(&syy, mul(n, mul(meanY, meanY)))
	slope := quo(aboutXY, aboutXX)
	intercept := sub(meanY, mul(slope, meanX))
	rss := sub(aboutYY, mul(slope, aboutXY))
	variance := quo(rss, sub(n, big.NewRat(2, 1)))
	f := func(r *big.Rat) float64 { v, _ := r.Float64(); return v }
	return exactLine{
		intercept: f(intercept), slope: f(slope), variance: f(variance),
		seSlopeSq:     f(quo(variance, aboutXX)),
		seInterceptSq: f(quo(mul(variance, &sxx), mul(n, aboutXX))),
		r2:            f(sub(big.NewRat(1, 1), quo(rss, aboutYY))),
		inverse: func(response float64) float64 {
			amount := quo(sub(rat(response), intercept), slope)
			about := quo(sub(rat(response), meanY), slope)
			inner := add(quo(big.NewRat(1, 1), weight(amount)), quo(big.NewRat(1, 1), n))
			inner = add(inner, quo(mul(about, about), aboutXX))
			return f(quo(mul(variance, inner), mul(slope, slope)))
		},
	}
}

func TestAgainstExactArithmetic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		power := rapid.IntRange(0, 2).Draw(t, "power")
		l, err := FitLine(x, y, weightings[power])
		if err != nil {
			t.Fatal(err)
		}
		want := solveExactly(x, y, power)
		size := largest(y)
		close(t, "slope", l.Slope, want.slope, 1e-11*size/x[0])
		close(t, "intercept", l.Intercept, want.intercept, 1e-11*size)
		close(t, "s(y/x)", l.ResidualSD, math.Sqrt(want.variance), 1e-11*size)
		close(t, "s(b)", l.SESlope, math.Sqrt(want.seSlopeSq), 1e-11*size/x[0])
		close(t, "s(a)", l.SEIntercept, math.Sqrt(want.seInterceptSq), 1e-11*size)
		close(t, "r²", l.R2, want.r2, 1e-9)
		inside := rapid.Float64Range(x[0], x[len(x)-1]).Draw(t, "amount")
		response, err := l.Response(inside)
		if err != nil {
			t.Fatal(err)
		}
		se, err := l.AmountSE(response, 1)
		if err != nil {
			t.Fatal(err)
		}
		expected := math.Sqrt(want.inverse(response))
		close(t, "s(x0)", se, expected, 1e-8*expected+1e-10*size)
	})
}

// shared finds a file of the folder with reference data beside the repository, or skips.
func shared(t *testing.T, name string) [][]string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		file, err := os.Open(filepath.Join(dir, "shared", "reference", filepath.FromSlash(name)))
		if err == nil {
			defer file.Close()
			reader := csv.NewReader(file)
			reader.FieldsPerRecord = -1
			rows, err := reader.ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			return rows[1:]
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			t.Skipf("no shared reference folder with %s", name)
		}
		dir = parent
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// NIST Statistical Reference Datasets, linear regression, Norris: ten digits of every certified value.
func TestNorris(t *testing.T) {
	var x, y []float64
	for _, row := range shared(t, "strd/lls/Norris.csv") {
		y, x = append(y, number(t, row[0])), append(x, number(t, row[1]))
	}
	l, err := FitLine(x, y, WeightNone)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]float64{"B0": l.Intercept, "B1": l.Slope, "residual_sd": l.ResidualSD, "r_squared": l.R2, "df_residual": float64(l.DF)}
	errors := map[string]float64{"B0": l.SEIntercept, "B1": l.SESlope}
	seen := 0
	for _, row := range shared(t, "strd/certified.csv") {
		value, known := got[row[1]]
		if row[0] != "Norris" || !known {
			continue
		}
		seen++
		digits(t, row[1], value, number(t, row[2]))
		if row[3] != "" {
			digits(t, "standard error of "+row[1], errors[row[1]], number(t, row[3]))
		}
	}
	if seen != len(got) {
		t.Errorf("compared %d certified values, want %d", seen, len(got))
	}
}

// digits wants a log relative error of at least ten.
func digits(t *testing.T, what string, got, certified float64) {
	t.Helper()
	lre := 15.0
	if got != certified {
		lre = -math.Log10(math.Abs(got-certified) / math.Abs(certified))
	}
	t.Logf("%s: %.1f digits", what, lre)
	if !(lre >= 10) {
		t.Errorf("%s is %.15g, certified %.15g: %.1f digits", what, got, certified, lre)
	}
}

// The worked examples of the reference folder, all quantities that the package computes.
func TestReferenceExamples(t *testing.T) {
	points := map[string][2][]float64{}
	for _, row := range shared(t, "calibration_examples.csv") {
		p := points[row[0]]
		points[row[0]] = [2][]float64{append(p[0], number(t, row[1])), append(p[1], number(t, row[2]))}
	}
	lines := map[string]*Line{}
	for name, p := range points {
		l, err := FitLine(p[0], p[1], WeightNone)
		if err != nil {
			t.Fatal(err)
		}
		lines[name] = l
	}
	amount := func(l *Line, response float64) float64 {
		v, err := l.Amount(response)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	se := func(l *Line, response float64, m int) float64 {
		v, err := l.AmountSE(response, m)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	quantities := map[string]func(*Line) float64{
		"slope":                          func(l *Line) float64 { return l.Slope },
		"intercept":                      func(l *Line) float64 { return l.Intercept },
		"s_y/x":                          func(l *Line) float64 { return l.ResidualSD },
		"s_r":                            func(l *Line) float64 { return l.ResidualSD },
		"s_b":                            func(l *Line) float64 { return l.SESlope },
		"s_b1":                           func(l *Line) float64 { return l.SESlope },
		"s_a":                            func(l *Line) float64 { return l.SEIntercept },
		"s_b0":                           func(l *Line) float64 { return l.SEIntercept },
		"r":                              func(l *Line) float64 { return math.Sqrt(l.R2) },
		"x0(y=2.9 m=1)":                  func(l *Line) float64 { return amount(l, 2.9) },
		"x0(y=13.5 m=1)":                 func(l *Line) float64 { return amount(l, 13.5) },
		"x0(y=23.0 m=1)":                 func(l *Line) float64 { return amount(l, 23) },
		"s_x0(y=2.9 m=1)":                func(l *Line) float64 { return se(l, 2.9, 1) },
		"s_x0(y=13.5 m=1)":               func(l *Line) float64 { return se(l, 13.5, 1) },
		"s_x0(y=23.0 m=1)":               func(l *Line) float64 { return se(l, 23, 1) },
		"s_x0(y=13.5 m=4)":               func(l *Line) float64 { return se(l, 13.5, 4) },
		"LOD (a+3s)/b":                   func(l *Line) float64 { return amount(l, l.Intercept+3*l.ResidualSD) },
		"C_A(mean of 29.32 29.16 29.51)": func(l *Line) float64 { return amount(l, (29.32+29.16+29.51)/3) },
		"s_CA":                           func(l *Line) float64 { return se(l, (29.32+29.16+29.51)/3, 3) },
	}
	compared := 0
	for _, row := range shared(t, "calibration_expected.csv") {
		quantity, known := quantities[row[1]]
		if !known {
			continue
		}
		compared++
		near(t, row[0]+" "+row[1], quantity(lines[row[0]]), number(t, row[3]), 2e-7)
	}
	if compared < 20 {
		t.Errorf("compared %d quantities, want at least 20", compared)
	}
}
