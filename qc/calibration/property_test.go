package calibration

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

var models = []Model{ModelAverageRF, ModelLinear, ModelThroughZero, ModelQuadratic, Polynomial(3), ModelStandardAddition, ModelPointToPoint}

// drawn gives calibration points with positive amounts, responses and deviations.
func drawn(t *rapid.T) Points {
	x := levels(t)
	if again := rapid.IntRange(-1, len(x)-1).Draw(t, "replicate of"); again >= 0 {
		x = append(x, x[again])
	}
	p := Points{X: x, Y: scattered(t, x)}
	low := slices.Min(p.Y)
	for i := range p.Y {
		if low <= 0 {
			p.Y[i] += 1 - low
		}
		p.S = append(p.S, rapid.Float64Range(0.01, 1).Draw(t, "s"))
	}
	return p
}

func drawnFit(t *rapid.T) (Model, string) {
	model := rapid.SampledFrom(models).Draw(t, "model")
	if model == ModelAverageRF || model == ModelPointToPoint {
		return model, WeightNone
	}
	return model, rapid.SampledFrom([]string{WeightNone, WeightInverseX, WeightInverseXSq, WeightInverseY, WeightInverseS2}).Draw(t, "weight")
}

func drawnCurve(t *rapid.T) (Points, *Curve) {
	p := drawn(t)
	model, weight := drawnFit(t)
	c, err := Fit(p, model, weight)
	if err != nil {
		t.Skip(err)
	}
	return p, c
}

// shown are all figures of a curve, with every digit.
func shown(c *Curve) string {
	return fmt.Sprintf("%v %v %v %v %v %v %v %v %v %v %v %v %v %v", c.Coefficients, c.StandardErrors, c.Covariance, c.ResidualSD, c.RSquared, c.AdjustedRSquared,
		c.RSEPercent, c.RSDPercent, c.Mandel, c.PureError, c.Monotonic, c.Warnings, c.Levels, c.Range)
}

func TestOrderChangesNoDigit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, c := drawnCurve(t)
		order := rapid.Permutation(slices.Collect(func(yield func(int) bool) {
			for i := range p.X {
				if !yield(i) {
					return
				}
			}
		})).Draw(t, "order")
		other, err := Fit(p.in(order), c.Model, c.given())
		if err != nil {
			t.Fatal(err)
		}
		if shown(other) != shown(c) {
			t.Errorf("%s\n%s", shown(c), shown(other))
		}
		for i, at := range order {
			if fmt.Sprint(other.Points[i]) != fmt.Sprint(c.Points[at]) {
				t.Errorf("point %d: %v, before %v", i, other.Points[i], c.Points[at])
			}
		}
		if len(other.Exclusions) != len(c.Exclusions) {
			t.Fatalf("%v, before %v", other.Exclusions, c.Exclusions)
		}
		for i, e := range other.Exclusions {
			if before := c.Exclusions[i]; order[e.Index] != before.Index || fmt.Sprint(e.Value) != fmt.Sprint(before.Value) {
				t.Errorf("%v, before %v", e, before)
			}
		}
	})
}

// given is the weighting that a fit of the same kind is asked for with.
func (c *Curve) given() string {
	if c.Model == ModelAverageRF {
		return WeightNone
	}
	return c.Weight
}

func TestBackCalculationInvertsPrediction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, c := drawnCurve(t)
		if !c.Monotonic {
			t.Skip("not monotonic")
		}
		span := c.Range[1] - c.Range[0]
		x := c.Range[0] + rapid.Float64Range(0, 1).Draw(t, "share")*span
		y, err := c.Response(x)
		if err != nil {
			t.Fatal(err)
		}
		back, err := c.Amount(y)
		if err != nil {
			t.Fatal(err)
		}
		again, err := c.Response(back)
		if err != nil {
			t.Fatal(err)
		}
		size := math.Abs(y)
		for _, p := range c.Points {
			size = max(size, math.Abs(p.Y))
		}
		if !(math.Abs(again-y) <= 1e-11*size) {
			t.Errorf("response %v at %v comes back as %v at %v", y, x, again, back)
		}
		if c.segments == nil { // where the function is steep enough to be read, the amount comes back too
			if slope := math.Abs(c.slope(x)); !(math.Abs(back-x) <= 1e-10*size/slope+1e-12*span) && slope > 1e-3*size/span {
				t.Errorf("amount %v comes back as %v", x, back)
			}
		}
	})
}

// Other units of the response multiply what is in response units and change nothing else.
func TestScaleOfResponses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, c := drawnCurve(t)
		const k = 1024 // exact, so that every digit must follow
		scaled := Points{X: p.X, Y: slices.Clone(p.Y), S: slices.Clone(p.S)}
		for i := range scaled.Y {
			scaled.Y[i] *= k
			scaled.S[i] *= k
		}
		other, err := Fit(scaled, c.Model, c.given())
		if err != nil {
			t.Fatal(err)
		}
		for i := range c.Coefficients {
			relative(t, "coefficient", other.Coefficients[i], k*c.Coefficients[i], 1e-12)
			relative(t, "standard error", other.StandardErrors[i], k*c.StandardErrors[i], 1e-12)
		}
		relative(t, "residual SD", other.ResidualSD, k*c.ResidualSD, 1e-12)
		relative(t, "r²", other.RSquared, c.RSquared, 1e-12)
		relative(t, "%RSE", other.RSEPercent, c.RSEPercent, 1e-9)
	})
}

// A shift of the responses moves the intercept alone.
func TestShiftOfResponses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		model := rapid.SampledFrom([]Model{ModelLinear, ModelQuadratic}).Draw(t, "model")
		c, err := Fit(p, model, WeightInverseX)
		if err != nil {
			t.Fatal(err)
		}
		by := rapid.Float64Range(-100, 100).Draw(t, "shift")
		shifted := Points{X: p.X, Y: slices.Clone(p.Y)}
		for i := range shifted.Y {
			shifted.Y[i] += by
		}
		other, err := Fit(shifted, model, WeightInverseX)
		if err != nil {
			t.Fatal(err)
		}
		size := largest(p.Y) + math.Abs(by)
		close(t, "intercept", other.Coefficients[0], c.Coefficients[0]+by, 1e-9*size)
		for i := 1; i < len(c.Coefficients); i++ {
			close(t, "coefficient", other.Coefficients[i]*math.Pow(c.Range[1], float64(i)), c.Coefficients[i]*math.Pow(c.Range[1], float64(i)), 1e-8*size)
		}
		if c.DF > 0 {
			close(t, "residual SD", other.ResidualSD, c.ResidualSD, 1e-9*size)
		}
	})
}

// Other units of the amount: the k-th coefficient falls with the k-th power.
func TestScaleOfAmounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, c := drawnCurve(t)
		const k = 0.125
		scaled := Points{X: slices.Clone(p.X), Y: p.Y, S: p.S}
		for i := range scaled.X {
			scaled.X[i] *= k
		}
		other, err := Fit(scaled, c.Model, c.given())
		if err != nil {
			t.Fatal(err)
		}
		for i, b := range c.Coefficients {
			exponent := float64(i)
			if c.Model.throughZero() {
				exponent = 1
			}
			relative(t, "coefficient", other.Coefficients[i], b/math.Pow(k, exponent), 1e-12)
		}
		relative(t, "residual SD", other.ResidualSD, c.ResidualSD, 1e-12)
		relative(t, "r²", other.RSquared, c.RSquared, 1e-12)
	})
}

func TestWeightsAndLeverages(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, c := drawnCurve(t)
		var weights, leverage float64
		for _, point := range c.Points {
			weights, leverage = weights+point.Weight, leverage+point.Leverage
		}
		relative(t, "sum of the weights", weights, float64(len(p.X)), 1e-12)
		if c.segments != nil {
			return
		}
		close(t, "sum of the leverages", leverage, float64(len(c.Coefficients)), 1e-9)
		for i := range c.Coefficients {
			relative(t, "variance", c.Covariance[i][i], c.StandardErrors[i]*c.StandardErrors[i], 1e-12)
			for j := range c.Coefficients {
				if c.DF > 0 && c.Covariance[i][j] != c.Covariance[j][i] {
					t.Errorf("covariance %v and %v", c.Covariance[i][j], c.Covariance[j][i])
				}
			}
		}
	})
}

// Equal deviations are no weighting, and weights in proportion are the same weighting.
func TestWeightingsThatMeet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		for i := range p.S {
			p.S[i] = 0.25
		}
		equal, err := Fit(p, ModelLinear, WeightInverseS2)
		if err != nil {
			t.Fatal(err)
		}
		none, err := Fit(p, ModelLinear, WeightNone)
		if err != nil {
			t.Fatal(err)
		}
		relative(t, "slope", equal.Coefficients[1], none.Coefficients[1], 1e-12)
		relative(t, "residual SD", equal.ResidualSD, none.ResidualSD, 1e-12)
		for i, x := range p.X {
			p.S[i] = 3 * math.Sqrt(x)
		}
		deviations, err := Fit(p, ModelLinear, WeightInverseS2)
		if err != nil {
			t.Fatal(err)
		}
		amounts, err := Fit(p, ModelLinear, WeightInverseX)
		if err != nil {
			t.Fatal(err)
		}
		close(t, "slope", deviations.Coefficients[1], amounts.Coefficients[1], 1e-10*(math.Abs(amounts.Coefficients[1])+amounts.StandardErrors[1]))
		relative(t, "residual SD", deviations.ResidualSD, amounts.ResidualSD, 1e-8)
	})
}

func relative(t *rapid.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(want) && math.IsNaN(got) {
		return
	}
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}
