package calibration

import (
	"fmt"
	"math"
)

// diagnose fills what follows from the fit. The points are sorted.
func (c *Curve) diagnose(points Points) {
	c.Monotonic = c.monotonic()
	if !c.Monotonic {
		c.warn("the function is not monotonic over the calibrated range: a response can belong to several amounts")
	}
	if c.segments == nil && c.DF == 0 {
		c.warn("no degree of freedom is left: the function passes through all points and nothing judges it")
	}
	c.backCalculate()
	if c.segments != nil {
		return
	}
	c.RSEPercent = c.relativeStandardError()
	if c.Model == ModelAverageRF {
		c.RSDPercent = responseFactorRSD(points)
	}
	c.Mandel = c.mandel(points)
	c.PureError = c.pureError(points)
	c.Exclusions = c.suggestions()
}

func (c *Curve) warn(format string, args ...any) {
	c.Warnings = append(c.Warnings, fmt.Sprintf(format, args...))
}

// backCalculate reads the amount of each point from its own response.
func (c *Curve) backCalculate() {
	for i := range c.Points {
		p := &c.Points[i]
		p.BackCalculated, p.AccuracyPercent = math.NaN(), math.NaN()
		amount, err := c.Amount(p.Y)
		if err != nil {
			c.warn("the point (%v, %v) has no back-calculated amount: %v", p.X, p.Y, err)
			continue
		}
		p.BackCalculated = amount
		if p.X != 0 {
			p.AccuracyPercent = 100 * amount / p.X
		}
	}
}

// relativeStandardError is
//
//	%RSE = 100 · sqrt( Σ ((x' - x)/x)² / (n - p) )
//
// with x' the back-calculated amount, p the number of coefficients and n the number of
// points with x other than zero, which alone are counted. Weighting does not change p.
// The NELAC Institute, Calculating Relative Standard Error (2017). For an average
// response factor it equals the relative standard deviation of the response factors.
func (c *Curve) relativeStandardError() float64 {
	n, sum := 0, 0.0
	for _, p := range c.Points {
		if p.X == 0 {
			continue
		}
		relative := (p.BackCalculated - p.X) / p.X
		n, sum = n+1, sum+relative*relative
	}
	if zero := c.N - n; zero > 0 {
		c.warn("%s left out of the relative standard error: the amount is zero", count(zero, "point is", "points are"))
	}
	df := n - len(c.Coefficients)
	if df < 1 {
		return math.NaN()
	}
	return 100 * math.Sqrt(sum/float64(df))
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func responseFactorRSD(points Points) float64 {
	n := len(points.X)
	if n < 2 {
		return math.NaN()
	}
	factors := make([]float64, n)
	for i := range factors {
		factors[i] = points.Y[i] / points.X[i]
	}
	about, sum := mean(factors), 0.0
	for _, f := range factors {
		sum += (f - about) * (f - about)
	}
	return 100 * math.Sqrt(sum/float64(n-1)) / math.Abs(about)
}

// FTest is a ratio of two variances, with its degrees of freedom and the probability
// of a larger one when the model holds.
type FTest struct {
	F, P     float64
	DF1, DF2 int
}

// mandel compares the straight line with the quadratic: F = (RSS1 - RSS2)/(RSS2/(n - 3))
// with 1 and n - 3 degrees of freedom. J. Mandel, The Statistical Analysis of
// Experimental Data (1964); the linearity test of ISO 8466-1 has the same form.
func (c *Curve) mandel(points Points) *FTest {
	straight := c.Model == ModelLinear || c.Model == ModelStandardAddition || c.Model == Polynomial(1)
	if !straight || c.N < 4 || c.Levels < 3 {
		return nil
	}
	design := make([][]float64, c.N)
	for i, x := range points.X {
		u := c.basis.u(x)
		design[i] = []float64{1, u, u * u}
	}
	curved, err := leastSquares(design, points.Y, c.solution.Weights, true)
	if err != nil {
		return nil
	}
	return c.variances("the quadratic", max(c.solution.RSS-curved.RSS, 0), curved.RSS, 1, curved.DF)
}

// pureError compares what the model leaves between the levels with the scatter of
// replicates within them: F = (SSLOF/(L - p))/(SSPE/(n - L)) for L levels and p
// coefficients. Draper & Smith, Applied Regression Analysis, section on lack of fit.
func (c *Curve) pureError(points Points) *FTest {
	df1, df2 := c.Levels-len(c.Coefficients), c.N-c.Levels
	if df1 < 1 || df2 < 1 {
		return nil
	}
	var pure float64
	for i := 0; i < c.N; {
		var sum, weights doubled
		k := i
		for ; k < c.N && points.X[k] == points.X[i]; k++ {
			sum.addProduct(c.solution.Weights[k], points.Y[k])
			weights.add(c.solution.Weights[k])
		}
		about := sum.value() / weights.value()
		for ; i < k; i++ {
			pure += c.solution.Weights[i] * (points.Y[i] - about) * (points.Y[i] - about)
		}
	}
	return c.variances("the replicates", max(c.solution.RSS-pure, 0), pure, df1, df2)
}

// variances gives the test, or nil with a warning when the denominator is no more than
// rounding.
func (c *Curve) variances(what string, ss1, ss2 float64, df1, df2 int) *FTest {
	if c.rounding(ss2) {
		c.warn("no lack-of-fit test against %s: nothing but rounding is left of their scatter", what)
		return nil
	}
	f := (ss1 / float64(df1)) / (ss2 / float64(df2))
	return &FTest{F: f, P: fUpper(f, df1, df2), DF1: df1, DF2: df2}
}

// rounding tells that a weighted sum of squares is not above what the rounding of the
// responses to a double makes of zero.
func (c *Curve) rounding(ss float64) bool {
	var size float64
	for _, p := range c.Points {
		size += p.Weight * p.Y * p.Y
	}
	const units = 8
	return !(ss > units*units*epsilon*epsilon*size)
}
