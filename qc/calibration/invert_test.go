package calibration

import (
	"errors"
	"math"
	"testing"
)

// exactly gives a curve through points of y = f(x) at 0, 1, …, n - 1.
func exactly(t *testing.T, model Model, n int, f func(x float64) float64) *Curve {
	t.Helper()
	var p Points
	for i := range n {
		p.X, p.Y = append(p.X, float64(i)), append(p.Y, f(float64(i)))
	}
	return fitPoints(t, p, model, WeightNone)
}

func TestAmountOfCurves(t *testing.T) {
	bending := func(x float64) float64 { return 1 + 20*x - x*x } // turns at x = 10
	arch := func(x float64) float64 { return 8*x - x*x }         // turns at x = 4
	cubic := func(x float64) float64 { return x*x*x - x }
	for name, c := range map[string]struct {
		curve    *Curve
		response float64
		want     float64
		err      error
	}{
		"within the range":                {exactly(t, ModelQuadratic, 6, bending), 52, 3, nil},
		"below the range":                 {exactly(t, ModelQuadratic, 6, bending), -20, -1, nil},
		"above, before the turn":          {exactly(t, ModelQuadratic, 6, bending), 97, 8, nil},
		"above the turn":                  {exactly(t, ModelQuadratic, 6, bending), 101.5, 0, ErrNoRoot},
		"turn within, one amount":         {exactly(t, ModelQuadratic, 7, arch), 7, 1, nil},
		"turn within, two amounts":        {exactly(t, ModelQuadratic, 7, arch), 15, 0, ErrAmbiguous},
		"turn within, beyond the range":   {exactly(t, ModelQuadratic, 7, arch), -9, 0, ErrNoRoot},
		"cubic, after its turns":          {exactly(t, Polynomial(3), 7, cubic), 60, 4, nil},
		"a line goes on":                  {exactly(t, ModelLinear, 4, func(x float64) float64 { return 2 * x }), -2e6, -1e6, nil},
		"flat":                            {exactly(t, ModelLinear, 4, func(float64) float64 { return 2 }), 2, 0, ErrFlat},
		"not a number":                    {exactly(t, ModelQuadratic, 6, bending), math.NaN(), 0, ErrNotFinite},
		"not a number on a line":          {exactly(t, ModelLinear, 6, bending), math.Inf(1), 0, ErrNotFinite},
		"segments, within":                {exactly(t, ModelPointToPoint, 6, bending), 28.5, 1.5, nil},
		"segments, at a level":            {exactly(t, ModelPointToPoint, 6, bending), 20, 1, nil},
		"segments, below":                 {exactly(t, ModelPointToPoint, 6, bending), 0, 0, ErrNoRoot},
		"segments, above":                 {exactly(t, ModelPointToPoint, 6, bending), 77, 0, ErrNoRoot},
		"segments that turn":              {exactly(t, ModelPointToPoint, 7, arch), 7, 0, ErrAmbiguous},
		"falling segments":                {exactly(t, ModelPointToPoint, 3, func(x float64) float64 { return -x }), -0.5, 0.5, nil},
		"segments at the turn of a curve": {exactly(t, ModelPointToPoint, 5, arch), 15.5, 3.5, nil},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := c.curve.Amount(c.response)
			if !errors.Is(err, c.err) || !(math.Abs(got-c.want) <= 1e-9*max(1, math.Abs(c.want))) {
				t.Errorf("%v, %v, want %v, %v", got, err, c.want, c.err)
			}
		})
	}
}

// Near its turn the amount is still found, and its uncertainty grows.
func TestUncertaintyGrowsTowardsTheTurn(t *testing.T) {
	noise := []float64{0.1, -0.2, 0.1, 0.2, -0.1, -0.1, 0.2, -0.2}
	var p Points
	for i, e := range noise {
		x := float64(i)
		p.X, p.Y = append(p.X, x), append(p.Y, 20*x-x*x+e)
	}
	c := fitPoints(t, p, ModelQuadratic, WeightNone)
	before := 0.0
	for _, x := range []float64{3, 7, 9, 9.7} {
		y, err := c.Response(x)
		if err != nil {
			t.Fatal(err)
		}
		got, err := c.Predict(y, 1, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if !(got.StandardError > before) || !(got.Low < got.X && got.X < got.High) {
			t.Errorf("at %v: %+v, before %v", x, got, before)
		}
		before = got.StandardError
		if c.Outside(x) != (x > 7) {
			t.Errorf("%v outside: %v", x, c.Outside(x))
		}
	}
}

// The delta method by numbers: the change of the amount with each response, times the
// scatter of the responses, squared and added.
func TestQuadraticStandardErrorByNumbers(t *testing.T) {
	p := Points{X: []float64{0, 1, 2, 4, 6, 8}, Y: []float64{0.2, 9.7, 19.4, 35.8, 50.3, 61.9}}
	c := fitPoints(t, p, ModelQuadratic, WeightNone)
	const y0, m, h = 30, 3, 1e-4
	variance := 0.0
	for i := range p.Y {
		moved := Points{X: p.X, Y: append([]float64{}, p.Y...)}
		amounts := [2]float64{}
		for k, by := range []float64{h, -h} {
			moved.Y[i] = p.Y[i] + by
			x, err := fitPoints(t, moved, ModelQuadratic, WeightNone).Amount(y0)
			if err != nil {
				t.Fatal(err)
			}
			amounts[k] = x
		}
		variance += math.Pow((amounts[0]-amounts[1])/(2*h), 2)
	}
	above, err := c.Amount(y0 + h)
	if err != nil {
		t.Fatal(err)
	}
	below, err := c.Amount(y0 - h)
	if err != nil {
		t.Fatal(err)
	}
	variance += math.Pow((above-below)/(2*h), 2) / m
	got, err := c.Predict(y0, m, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "s(x0)", got.StandardError, c.ResidualSD*math.Sqrt(variance), 1e-6)
}

// The weight of a reading follows the weighting of the fit.
func TestWeightOfAReading(t *testing.T) {
	x, y := []float64{1, 2, 4, 8}, []float64{10.2, 19.7, 41, 79}
	s := []float64{0.1, 0.2, 0.4, 0.8}
	for weight, raw := range map[string]func(x0, y0 float64) float64{
		WeightNone:       func(_, _ float64) float64 { return 1 },
		WeightInverseX:   func(x0, _ float64) float64 { return 1 / x0 },
		WeightInverseXSq: func(x0, _ float64) float64 { return 1 / (x0 * x0) },
		WeightInverseY:   func(_, y0 float64) float64 { return 1 / y0 },
		WeightInverseS2:  func(x0, _ float64) float64 { return 1 / math.Pow(0.1*x0, 2) }, // s is 0.1 x at and between the levels
	} {
		t.Run(weight, func(t *testing.T) {
			p := Points{x, y, s}
			c := fitPoints(t, p, ModelLinear, weight)
			var meanRaw, meanX, meanY, sxx float64
			for i := range x {
				meanRaw += raw(x[i], y[i]) / 4
			}
			for i := range x {
				w := raw(x[i], y[i]) / meanRaw
				near(t, "weight", c.Points[i].Weight, w, 1e-12)
				meanX, meanY = meanX+w*x[i]/4, meanY+w*y[i]/4
			}
			for i := range x {
				sxx += raw(x[i], y[i]) / meanRaw * math.Pow(x[i]-meanX, 2)
			}
			const y0, m = 30, 2
			got, err := c.Predict(y0, m, 0.9)
			if err != nil {
				t.Fatal(err)
			}
			b := c.Coefficients[1]
			w0 := raw(got.X, y0) / meanRaw
			near(t, "s(x0)", got.StandardError, c.ResidualSD/b*math.Sqrt(1/(m*w0)+0.25+math.Pow((y0-meanY)/b, 2)/sxx), 1e-10)
			near(t, "half width", got.High-got.X, 2.919985580353726*got.StandardError, 1e-9) // t of two degrees of freedom, 95 % one-sided
		})
	}
}

func TestPredictRefuses(t *testing.T) {
	c := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelLinear, WeightNone)
	silver := fitPoints(t, Points{X: silverX, Y: silverY}, ModelStandardAddition, WeightNone)
	for name, tt := range map[string]struct {
		curve      *Curve
		m          int
		confidence float64
		want       error
	}{
		"no reading":        {c, 0, 0.95, ErrReplicates},
		"certainty":         {c, 1, 1, ErrConfidence},
		"not a number":      {c, 1, math.NaN(), ErrConfidence},
		"standard addition": {silver, 1, 0.95, ErrNotForModel},
	} {
		t.Run(name, func(t *testing.T) {
			if got, err := tt.curve.Predict(13.5, tt.m, tt.confidence); !errors.Is(err, tt.want) || got != nil {
				t.Errorf("%+v, %v", got, err)
			}
		})
	}
	if _, err := c.XIntercept(0.95); !errors.Is(err, ErrNotForModel) {
		t.Error(err)
	}
	if _, err := silver.XIntercept(0); !errors.Is(err, ErrConfidence) {
		t.Error(err)
	}
	if _, err := c.Response(math.NaN()); !errors.Is(err, ErrNotFinite) {
		t.Error(err)
	}
	// The scatter of very many readings leaves that of the line alone.
	if _, se, err := c.Read(13.5, 1<<40); err != nil || !(math.Abs(se-0.08486534978) <= 5e-11) {
		t.Errorf("%v, %v", se, err)
	}
	// A weighted fit says nothing of a reading below zero: the amount stands without an uncertainty.
	weighted := fitPoints(t, Points{X: fluoresceinX[1:], Y: fluoresceinY[1:]}, ModelLinear, WeightInverseX)
	got, err := weighted.Predict(0.5, 1, 0.95)
	if err != nil || !(got.X < 0) || !math.IsNaN(got.StandardError) || !math.IsNaN(got.Low) {
		t.Errorf("%+v, %v", got, err)
	}
}
