package calibration

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

func fitPoints(t testing.TB, points Points, model Model, weight string) *Curve {
	t.Helper()
	c, err := Fit(points, model, weight)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// silverX and silverY: standard addition of silver, amounts in µg/mL against absorbance.
// Miller & Miller, Statistics and Chemometrics for Analytical Chemistry, section 5.8.
var (
	silverX = []float64{0, 5, 10, 15, 20, 25, 30}
	silverY = []float64{.32, .41, .52, .60, .70, .77, .89}
	harveyS = []float64{.02, .02, .07, .13, .22, .33}
)

// The handbook examples, each figure to the digits of the exact computation.
func TestHandbookFigures(t *testing.T) {
	fluorescein := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelLinear, WeightNone)
	silver := fitPoints(t, Points{X: silverX, Y: silverY}, ModelStandardAddition, WeightNone)
	harvey := fitPoints(t, Points{X: harveyX, Y: harveyY}, ModelLinear, WeightNone)
	weighted := fitPoints(t, Points{harveyX, harveyY, harveyS}, ModelLinear, WeightInverseS2)
	predict := func(c *Curve, y float64, m int) *Prediction {
		p, err := c.Predict(y, m, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	limits, err := fluorescein.LimitsByCalibration()
	if err != nil {
		t.Fatal(err)
	}
	added, err := silver.XIntercept(0.95)
	if err != nil {
		t.Fatal(err)
	}
	half := func(p *Prediction) float64 { return (p.High - p.Low) / 2 }
	got := map[string]map[string]float64{
		"fluorescein": {
			"slope": fluorescein.Coefficients[1], "intercept": fluorescein.Coefficients[0],
			"s_y/x": fluorescein.ResidualSD, "s_b": fluorescein.StandardErrors[1], "s_a": fluorescein.StandardErrors[0], "r": math.Sqrt(fluorescein.RSquared),
			"CI95_slope_halfwidth":     fluorescein.HalfWidth(fluorescein.StandardErrors[1], 0.95),
			"CI95_intercept_halfwidth": fluorescein.HalfWidth(fluorescein.StandardErrors[0], 0.95),
			"LOD (a+3s)/b":             limits.LOD,
			"x0(y=2.9 m=1)":            predict(fluorescein, 2.9, 1).X,
			"s_x0(y=2.9 m=1)":          predict(fluorescein, 2.9, 1).StandardError,
			"CI95_x0(y=2.9 m=1)":       half(predict(fluorescein, 2.9, 1)),
			"x0(y=13.5 m=1)":           predict(fluorescein, 13.5, 1).X,
			"s_x0(y=13.5 m=1)":         predict(fluorescein, 13.5, 1).StandardError,
			"CI95_x0(y=13.5 m=1)":      half(predict(fluorescein, 13.5, 1)),
			"x0(y=23.0 m=1)":           predict(fluorescein, 23, 1).X,
			"s_x0(y=23.0 m=1)":         predict(fluorescein, 23, 1).StandardError,
			"CI95_x0(y=23.0 m=1)":      half(predict(fluorescein, 23, 1)),
			"s_x0(y=13.5 m=4)":         predict(fluorescein, 13.5, 4).StandardError,
			"CI95_x0(y=13.5 m=4)":      half(predict(fluorescein, 13.5, 4)),
		},
		"std_addition_ag": {
			"slope": silver.Coefficients[1], "intercept": silver.Coefficients[0], "s_y/x": silver.ResidualSD,
			"x_E": added.X, "s_xE": added.StandardError, "CI95_xE": (added.High - added.Low) / 2,
		},
		"harvey": {
			"slope": harvey.Coefficients[1], "intercept": harvey.Coefficients[0], "s_r": harvey.ResidualSD,
			"s_b1": harvey.StandardErrors[1], "s_b0": harvey.StandardErrors[0],
			"CI95_b1":                        harvey.HalfWidth(harvey.StandardErrors[1], 0.95),
			"CI95_b0":                        harvey.HalfWidth(harvey.StandardErrors[0], 0.95),
			"C_A(mean of 29.32 29.16 29.51)": predict(harvey, (29.32+29.16+29.51)/3, 3).X,
			"s_CA":                           predict(harvey, (29.32+29.16+29.51)/3, 3).StandardError,
			"weighted slope":                 weighted.Coefficients[1],
			"weighted intercept":             weighted.Coefficients[0],
		},
	}
	seen := 0
	for _, row := range embedded(t, "handbook_expected.csv") {
		value, ok := got[row[0]][row[1]]
		if !ok {
			t.Errorf("%s %s is not computed", row[0], row[1])
			continue
		}
		seen++
		near(t, row[0]+" "+row[1], value, number(t, row[3]), number(t, row[4]))
		if row[2] != "" {
			if !(math.Abs(value-number(t, row[2])) <= number(t, row[5])) {
				t.Errorf("%s %s is %.8g, printed is %s", row[0], row[1], value, row[2])
			}
		}
	}
	if seen != 37 {
		t.Errorf("%d figures", seen)
	}
	for i, want := range []float64{2.8339, 2.8339, .2313, .0671, .0234, .0104} { // printed
		if !(math.Abs(weighted.Points[i].Weight-want) <= 1.01e-4) {
			t.Errorf("weight %d is %v, printed is %v", i+1, weighted.Points[i].Weight, want)
		}
	}
}

// Average response factor by its definition, and the identity of %RSE and %RSD.
func TestAverageResponseFactor(t *testing.T) {
	x, y := []float64{1, 2, 5, 10, 20}, []float64{10.5, 19.6, 51, 98, 203}
	var factors []float64
	for i := range x {
		factors = append(factors, y[i]/x[i])
	}
	sd, err := standardDeviation(factors)
	if err != nil {
		t.Fatal(err)
	}
	c := fitPoints(t, Points{X: x, Y: y}, ModelAverageRF, WeightNone)
	near(t, "response factor", c.Coefficients[0], mean(factors), 1e-14)
	near(t, "its standard error", c.StandardErrors[0], sd/math.Sqrt(5), 1e-13)
	near(t, "%RSD", c.RSDPercent, 100*sd/mean(factors), 1e-13)
	// Σ(x'/x - 1)² with x'/x = RF_i/RF is Σ(RF_i - RF)²/RF²: the same figure.
	near(t, "%RSE", c.RSEPercent, c.RSDPercent, 1e-12)
	if c.Weight != WeightInverseXSq || c.DF != 4 {
		t.Errorf("weight %q, %d degrees of freedom", c.Weight, c.DF)
	}
	if linear := fitPoints(t, Points{X: x, Y: y}, ModelLinear, WeightNone); !math.IsNaN(linear.RSDPercent) {
		t.Error("a line has no relative standard deviation of response factors")
	}
}

// %RSE by its formula, with its number of coefficients, leaving out x = 0.
func TestRelativeStandardError(t *testing.T) {
	x, y := []float64{0, 1, 2, 5, 10, 20, 40}, []float64{0.3, 10.5, 19.6, 51, 98, 203, 391}
	for model, p := range map[Model]int{ModelThroughZero: 1, ModelLinear: 2, ModelQuadratic: 3} {
		for _, weight := range []string{WeightNone, WeightInverseY} {
			c := fitPoints(t, Points{X: x, Y: y}, model, weight)
			sum := 0.0
			for i, point := range c.Points {
				if x[i] > 0 {
					sum += math.Pow((point.BackCalculated-x[i])/x[i], 2)
				}
			}
			near(t, string(model)+" %RSE", c.RSEPercent, 100*math.Sqrt(sum/float64(6-p)), 1e-12)
			if !slices.Contains(c.Warnings, "1 point is left out of the relative standard error: the amount is zero") {
				t.Errorf("%s: warnings %q", model, c.Warnings)
			}
			if !math.IsNaN(c.Points[0].AccuracyPercent) {
				t.Errorf("%s: accuracy at zero %v", model, c.Points[0].AccuracyPercent)
			}
		}
	}
}

// Lack of fit in a case small enough to do by hand: three levels in duplicate. Means 1,
// 3, 3; line 1⅓ + x; SSPE = 3 · 0.02 = 0.06, SSLOF = 2 (1/9 + 4/9 + 1/9) = 4/3.
func TestLackOfFitByHand(t *testing.T) {
	c := fitPoints(t, Points{X: []float64{0, 0, 1, 1, 2, 2}, Y: []float64{0.9, 1.1, 2.9, 3.1, 2.9, 3.1}}, ModelLinear, WeightNone)
	if c.PureError == nil || c.Mandel == nil {
		t.Fatal("no test")
	}
	near(t, "F of pure error", c.PureError.F, (4.0/3)/(0.06/3), 1e-12)
	if c.PureError.DF1 != 1 || c.PureError.DF2 != 3 || c.Mandel.DF1 != 1 || c.Mandel.DF2 != 3 {
		t.Errorf("%+v, %+v", c.PureError, c.Mandel)
	}
	// The quadratic passes through the three means, so Mandel's F is the same here.
	near(t, "Mandel's F", c.Mandel.F, c.PureError.F, 1e-10)
	// For 1 and 3 degrees of freedom F is t²: p = 1 - 2/π (atan(t/√3) + (t/√3)/(1 + t²/3)).
	a := math.Sqrt(c.Mandel.F / 3)
	near(t, "p", c.Mandel.P, 1-2/math.Pi*(math.Atan(a)+a/(1+a*a)), 1e-8)
}

func TestLackOfFitWhereItDoesNotApply(t *testing.T) {
	exact := fitPoints(t, Points{X: []float64{1, 2, 3, 4, 5}, Y: []float64{3, 5, 7, 9, 11}}, ModelLinear, WeightNone)
	if exact.Mandel != nil || exact.PureError != nil || len(exact.Exclusions) != 0 {
		t.Errorf("a line without scatter: %+v, %+v, %+v", exact.Mandel, exact.PureError, exact.Exclusions)
	}
	if quadratic := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelQuadratic, WeightNone); quadratic.Mandel != nil {
		t.Error("Mandel's test is one of the straight line")
	}
	if few := fitPoints(t, Points{X: []float64{1, 2, 3}, Y: []float64{1, 2.1, 2.9}}, ModelLinear, WeightNone); few.Mandel != nil {
		t.Error("three points leave nothing to test with")
	}
}

// The extended series bends: the line is rejected, and the curve bends down.
func TestMandelFindsTheBend(t *testing.T) {
	x := append(slices.Clone(fluoresceinX), 14, 16, 18, 20)
	y := append(slices.Clone(fluoresceinY), 28.4, 31.0, 32.9, 33.9)
	c := fitPoints(t, Points{X: x, Y: y}, ModelLinear, WeightNone)
	straight := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelLinear, WeightNone)
	if !(c.Mandel.P < 0.01) || !(straight.Mandel.P > 0.05) {
		t.Errorf("p is %v for the bent series, %v for the straight one", c.Mandel.P, straight.Mandel.P)
	}
	curved := fitPoints(t, Points{X: x, Y: y}, ModelQuadratic, WeightNone)
	near(t, "F", c.Mandel.F, (math.Pow(c.ResidualSD, 2)*9-math.Pow(curved.ResidualSD, 2)*8)/math.Pow(curved.ResidualSD, 2), 1e-10)
	if !(curved.Coefficients[2] < 0) || !curved.Monotonic {
		t.Errorf("coefficients %v, monotonic %v", curved.Coefficients, curved.Monotonic)
	}
}

func TestSuggestedExclusions(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8}
	y := []float64{10.1, 19.9, 30.2, 39.9, 60, 60.1, 69.8, 80.1}
	c := fitPoints(t, Points{X: x, Y: y}, ModelLinear, WeightNone)
	if len(c.Exclusions) != 1 || c.Exclusions[0].Index != 4 || c.Exclusions[0].Statistic != StatisticResidual || !(c.Exclusions[0].Value > c.Exclusions[0].Limit) {
		t.Fatalf("%+v", c.Exclusions)
	}
	if c.N != len(x) {
		t.Errorf("%d points were fitted, %d given", c.N, len(x))
	}
	// The statistic by its definition: the residual of the point predicted from the others.
	others := fitPoints(t, Points{X: append(slices.Clone(x[:4]), x[5:]...), Y: append(slices.Clone(y[:4]), y[5:]...)}, ModelLinear, WeightNone)
	predicted, err := others.Response(5)
	if err != nil {
		t.Fatal(err)
	}
	s := math.Sqrt(math.Pow(others.ResidualSD, 2) + others.variance(5))
	near(t, "studentized residual", c.Exclusions[0].Value, (60-predicted)/s, 1e-9)

	lonely := fitPoints(t, Points{X: []float64{1, 2, 3, 4, 100}, Y: []float64{1.2, 1.8, 3.2, 3.8, 130}}, ModelLinear, WeightNone)
	if len(lonely.Exclusions) != 0 || !slices.ContainsFunc(lonely.Warnings, func(w string) bool { return strings.HasPrefix(w, "the point (100, 130) carries much of the function") }) {
		t.Errorf("%+v, %q", lonely.Exclusions, lonely.Warnings)
	}
}

func TestFewPoints(t *testing.T) {
	c := fitPoints(t, Points{X: []float64{1, 2}, Y: []float64{3, 5}}, ModelLinear, WeightNone)
	if c.DF != 0 || !math.IsNaN(c.ResidualSD) || !math.IsNaN(c.StandardErrors[0]) || !math.IsNaN(c.AdjustedRSquared) || !math.IsNaN(c.RSEPercent) {
		t.Errorf("%+v", c)
	}
	p, err := c.Predict(4, 1, 0.95)
	if err != nil || p.X != 1.5 || !math.IsNaN(p.StandardError) || !math.IsNaN(p.Low) {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := c.LimitsByCalibration(); !errors.Is(err, ErrNoDF) {
		t.Error(err)
	}
	one := fitPoints(t, Points{X: []float64{2}, Y: []float64{5}}, ModelAverageRF, WeightNone)
	if one.Coefficients[0] != 2.5 || !math.IsNaN(one.RSDPercent) {
		t.Errorf("%+v", one)
	}
}

func TestFitRefuses(t *testing.T) {
	x, y := []float64{1, 2, 3}, []float64{1, 2, 4}
	nan := math.NaN()
	for name, c := range map[string]struct {
		points Points
		model  Model
		weight string
		want   error
	}{
		"no points":                     {Points{}, ModelLinear, "", ErrTooFew},
		"lengths":                       {Points{X: x, Y: y[:2]}, ModelLinear, "", ErrLengths},
		"lengths of s":                  {Points{X: x, Y: y, S: y[:2]}, ModelLinear, "", ErrLengths},
		"not a number":                  {Points{X: []float64{1, nan, 3}, Y: y}, ModelLinear, "", ErrNotFinite},
		"infinite deviation":            {Points{x, y, []float64{1, 1, math.Inf(1)}}, ModelLinear, WeightInverseS2, ErrNotFinite},
		"unknown model":                 {Points{X: x, Y: y}, "cubic", "", ErrModel},
		"degree zero":                   {Points{X: x, Y: y}, "polynomial:0", "", ErrModel},
		"degree written oddly":          {Points{X: x, Y: y}, "polynomial:02", "", ErrModel},
		"degree too high":               {Points{X: x, Y: y}, "polynomial:21", "", ErrModel},
		"unknown weighting":             {Points{X: x, Y: y}, ModelLinear, "1/x^3", ErrWeighting},
		"average with weights":          {Points{X: x, Y: y}, ModelAverageRF, WeightInverseX, ErrWeighting},
		"segments with weights":         {Points{X: x, Y: y}, ModelPointToPoint, WeightInverseX, ErrWeighting},
		"too few for a quadratic":       {Points{X: x[:2], Y: y[:2]}, ModelQuadratic, "", ErrTooFew},
		"too few levels":                {Points{X: []float64{1, 1, 2, 2}, Y: []float64{1, 1, 2, 2}}, ModelQuadratic, "", ErrSingular},
		"one level":                     {Points{X: []float64{2, 2, 2}, Y: y}, ModelLinear, "", ErrSingular},
		"origin alone":                  {Points{X: []float64{0, 0}, Y: []float64{1, 2}}, ModelThroughZero, "", ErrSingular},
		"no segment":                    {Points{X: []float64{2, 2}, Y: []float64{1, 2}}, ModelPointToPoint, "", ErrTooFew},
		"zero amount, 1/x":              {Points{X: []float64{0, 1, 2}, Y: y}, ModelLinear, WeightInverseX, ErrNoWeight},
		"zero amount, average":          {Points{X: []float64{0, 1, 2}, Y: y}, ModelAverageRF, "", ErrNoWeight},
		"zero response, 1/y":            {Points{X: x, Y: []float64{0, 1, 2}}, ModelLinear, WeightInverseY, ErrNoWeight},
		"no deviations, 1/s²":           {Points{X: x, Y: y}, ModelLinear, WeightInverseS2, ErrNoWeight},
		"deviation of zero":             {Points{x, y, []float64{1, 0, 1}}, ModelLinear, WeightInverseS2, ErrNoWeight},
		"weight beyond all bounds":      {Points{X: []float64{1e-200, 1, 2}, Y: y}, ModelLinear, WeightInverseXSq, ErrNotFinite},
		"amounts that cannot be told":   {Points{X: []float64{1, 1 + 0x1p-52, 1 + 0x1p-51}, Y: y}, ModelLinear, "", ErrSingular},
		"responses beyond all bounds":   {Points{X: x, Y: []float64{-1.7e308, 1.7e308, -1.7e308}}, ModelLinear, "", ErrNotFinite},
		"amount below zero, 1/x²":       {Points{X: []float64{-1, 1, 2}, Y: y}, ModelLinear, WeightInverseXSq, ErrNoWeight},
		"infinite response":             {Points{X: x, Y: []float64{1, 2, math.Inf(-1)}}, ModelLinear, "", ErrNotFinite},
		"coefficient beyond all bounds": {Points{X: []float64{1e-300, 2e-300, 3e-300}, Y: []float64{1e10, 2e10, 3.1e10}}, ModelLinear, "", ErrNotFinite},
		"deviations below all squares":  {Points{x, y, []float64{1e-200, 1, 1}}, ModelLinear, WeightInverseS2, ErrNotFinite},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Fit(c.points, c.model, c.weight)
			if !errors.Is(err, c.want) || got != nil {
				t.Errorf("%v, want %v", err, c.want)
			}
		})
	}
	_, err := Fit(Points{X: []float64{3, 0, 1}, Y: y}, ModelLinear, WeightInverseX)
	var point *PointError
	if !errors.As(err, &point) || point.Index != 1 {
		t.Errorf("%v does not name the point", err)
	}
}
