package calibration

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// straight are the figures of a fitted straight line.
type straight struct {
	*Curve
	intercept, slope     float64
	seIntercept, seSlope float64
}

func fitStraight(t *rapid.T, x, y []float64, weight string) straight {
	t.Helper()
	c, err := Fit(Points{X: x, Y: y}, ModelLinear, weight)
	if err != nil {
		t.Fatal(err)
	}
	return straight{c, c.Coefficients[0], c.Coefficients[1], c.StandardErrors[0], c.StandardErrors[1]}
}

func TestExactLineIsRecovered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		a, b := rapid.Float64Range(-100, 100).Draw(t, "a"), rapid.Float64Range(0.01, 1000).Draw(t, "b")
		y := make([]float64, len(x))
		for i := range x {
			y[i] = a + b*x[i]
		}
		l := fitStraight(t, x, y, rapid.SampledFrom(weightings).Draw(t, "weight"))
		size := math.Abs(a) + b*slices.Max(x)
		if !(math.Abs(l.intercept-a) <= 1e-11*size && math.Abs(l.slope-b)*slices.Max(x) <= 1e-11*size && l.ResidualSD <= 1e-11*size) {
			t.Fatalf("%v + %v x fitted as %v + %v x, s %v", a, b, l.intercept, l.slope, l.ResidualSD)
		}
		for _, xi := range x {
			response, err := l.Response(xi)
			if err != nil {
				t.Fatal(err)
			}
			if amount, err := l.Amount(response); err != nil || !(math.Abs(amount-xi) <= 1e-11*size/b) {
				t.Fatalf("amount %v comes back as %v, %v", xi, amount, err)
			}
		}
	})
}

// y → c + k·y gives intercept c + k·a and slope k·b, also where k turns the line round;
// the standard errors scale by |k|.
func TestScaleAndShiftOfALine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		weight := rapid.SampledFrom(weightings).Draw(t, "weight")
		c, k := rapid.Float64Range(-20, 20).Draw(t, "c"), rapid.Float64Range(-8, 8).Draw(t, "k")
		if math.Abs(k) < 0.1 {
			return
		}
		moved := make([]float64, len(y))
		for i := range y {
			moved[i] = c + k*y[i]
		}
		l, m := fitStraight(t, x, y, weight), fitStraight(t, x, moved, weight)
		size := math.Abs(c) + math.Abs(k)*largest(y)
		close(t, "intercept", m.intercept, c+k*l.intercept, 1e-10*size)
		close(t, "slope", m.slope, k*l.slope, 1e-10*size/x[0])
		close(t, "s(y/x)", m.ResidualSD, math.Abs(k)*l.ResidualSD, 1e-10*size)
		close(t, "s(b)", m.seSlope, math.Abs(k)*l.seSlope, 1e-10*size/x[0])
		close(t, "s(a)", m.seIntercept, math.Abs(k)*l.seIntercept, 1e-10*size)
		close(t, "r²", m.RSquared, l.RSquared, 1e-9)
	})
}

// A change of the unit of amounts by a power of two changes no digit of a line: weights
// have mean 1 for every weighting.
func TestUnitOfAmountsChangesNoDigit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		weight := rapid.SampledFrom(weightings).Draw(t, "weight")
		k := math.Ldexp(1, rapid.IntRange(-40, 40).Draw(t, "power of two"))
		scaled := make([]float64, len(x))
		for i := range x {
			scaled[i] = k * x[i]
		}
		l, m := fitStraight(t, x, y, weight), fitStraight(t, scaled, y, weight)
		if m.slope != l.slope/k || m.intercept != l.intercept || m.ResidualSD != l.ResidualSD || m.seSlope != l.seSlope/k || m.seIntercept != l.seIntercept || m.RSquared != l.RSquared {
			t.Fatalf("%+v became %+v", l, m)
		}
	})
}

// Unweighted, x → x + c changes the intercept by -b·c and nothing else about the line.
func TestShiftOfAmounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		c := rapid.Float64Range(-50, 50).Draw(t, "c")
		shifted := make([]float64, len(x))
		for i := range x {
			shifted[i] = x[i] + c
		}
		l, m := fitStraight(t, x, y, WeightNone), fitStraight(t, shifted, y, WeightNone)
		size := largest(y) + math.Abs(l.slope*c) + 1
		close(t, "slope", m.slope, l.slope, 1e-9*size/x[0])
		close(t, "intercept", m.intercept, l.intercept-l.slope*c, 1e-9*size*(1+math.Abs(c)/x[0]))
		close(t, "s(y/x)", m.ResidualSD, l.ResidualSD, 1e-9*size)
	})
}

// Weights sum to n and fall as 1/x or 1/x² do; the weighted residuals are orthogonal to 1
// and x, which defines the minimum.
func TestWeightedMinimum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		power := rapid.IntRange(0, 2).Draw(t, "power")
		l := fitStraight(t, x, y, weightings[power])
		var sum, first, second, size float64
		for i, p := range l.Points {
			close(t, "weight ratio", p.Weight/l.Points[0].Weight, math.Pow(x[0]/x[i], float64(power)), 1e-12)
			sum += p.Weight
			residual := y[i] - l.intercept - l.slope*x[i]
			first += p.Weight * residual
			second += p.Weight * residual * x[i]
			size += p.Weight * math.Abs(y[i]) * (1 + x[i])
		}
		close(t, "sum of weights", sum, float64(len(x)), 1e-11)
		close(t, "Σ w·residual", first, 0, 1e-11*size)
		close(t, "Σ w·residual·x", second, 0, 1e-11*size)
	})
}
