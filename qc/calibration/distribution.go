package calibration

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

func undefined() float64 { return math.NaN() }

// studentsT is the quantile of Student's distribution at probability p above one half;
// NaN without a degree of freedom.
func studentsT(p float64, df int) float64 {
	if df < 1 {
		return math.NaN()
	}
	d := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}
	t := d.Quantile(p)
	if step := (d.Survival(t) - (1 - p)) / d.Prob(t); finite(step) {
		t += step // one Newton step: the quantile itself is good to about ten digits
	}
	return t
}

// fUpper is the probability of an F above the given one.
func fUpper(f float64, df1, df2 int) float64 {
	if f == 0 {
		return 1
	}
	return distuv.F{D1: float64(df2), D2: float64(df1)}.CDF(1 / f)
}
