package qc

import (
	"fmt"

	"underbond/qc/calibration"
)

// show fills in the figures of a fitted curve.
func (c *curve) show(shown *Calibration) {
	f := c.fit
	if f == nil {
		return
	}
	shown.Weight = f.Weight
	shown.Coefficients = append(shown.Coefficients, f.Coefficients...)
	if f.DF > 0 { // without a degree of freedom there is no standard error
		shown.StdErrors = append(shown.StdErrors, f.StandardErrors...)
		shown.Covariance = append(shown.Covariance, f.Covariance...)
	}
	shown.R2, shown.AdjustedR2 = number(&f.RSquared), number(&f.AdjustedRSquared)
	shown.ResidualSD, shown.RSEPercent, shown.RSDPercent = number(&f.ResidualSD), number(&f.RSEPercent), number(&f.RSDPercent)
	if f.Model != calibration.ModelPointToPoint {
		shown.DF = &f.DF
	}
	shown.Monotonic = &f.Monotonic
	for _, t := range []struct {
		name string
		test *calibration.FTest
	}{{TestMandel, f.Mandel}, {TestPureError, f.PureError}} {
		if t.test != nil && number(&t.test.F) != nil && number(&t.test.P) != nil {
			shown.LackOfFit = append(shown.LackOfFit, LackOfFit{Test: t.name, F: t.test.F, P: t.test.P, DF1: t.test.DF1, DF2: t.test.DF2})
		}
	}
	if l, err := f.LimitsByCalibration(); err == nil {
		shown.LOD, shown.LOQ = number(&l.LOD), number(&l.LOQ)
	}
	if c.low != nil && c.high != nil {
		shown.Range = []float64{*c.low, *c.high}
	}
	for i := range shown.Points {
		shown.Points[i].Leverage = number(&f.Points[i].Leverage)
	}
	for _, x := range f.Exclusions {
		p, value := c.points[x.Index], "beyond all numbers"
		if number(&x.Value) != nil {
			value = words(x.Value)
		}
		shown.Exclusions = append(shown.Exclusions, fmt.Sprintf("position %d lies off the function that the other points make: %s %s (limit %s)", p.Position, x.Statistic, value, words(x.Limit)))
	}
	shown.Warnings = append(shown.Warnings, f.Warnings...)
}
