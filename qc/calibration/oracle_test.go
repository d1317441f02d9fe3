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
		l := fitStraight(t, x, y, weightings[power])
		want := solveExactly(x, y, power)
		size := largest(y)
		close(t, "slope", l.slope, want.slope, 1e-11*size/x[0])
		close(t, "intercept", l.intercept, want.intercept, 1e-11*size)
		close(t, "s(y/x)", l.ResidualSD, math.Sqrt(want.variance), 1e-11*size)
		close(t, "s(b)", l.seSlope, math.Sqrt(want.seSlopeSq), 1e-11*size/x[0])
		close(t, "s(a)", l.seIntercept, math.Sqrt(want.seInterceptSq), 1e-11*size)
		close(t, "r²", l.RSquared, want.r2, 1e-9)
		inside := rapid.Float64Range(x[0], x[len(x)-1]).Draw(t, "amount")
		response, err := l.Response(inside)
		if err != nil {
			t.Fatal(err)
		}
		_, se, err := l.Read(response, 1)
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
