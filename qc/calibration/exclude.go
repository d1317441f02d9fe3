package calibration

import (
	"fmt"
	"math"
)

// Exclusion is a suggestion to look at a point. Nothing is ever left out of a fit by
// itself.
type Exclusion struct {
	Index     int     // of the point, from 0
	Statistic string  // what was computed
	Value     float64 // NaN where it is beyond all numbers: the other points fit exactly
	Limit     float64
	Reason    string
}

// StatisticResidual is what suggestions go by.
const StatisticResidual = "externally studentized residual"

// suggestions names points that the others contradict.
//
// A point is named when its externally studentized residual, t = e/(s(i) sqrt(1 - h)) with s(i)
// from a fit without the point, exceeds Student's t for n - p - 1 degrees of freedom at
// 5 % shared among the n points (Bonferroni). A point that fits, but whose Cook's distance
// e² h / (p s² (1 - h)²) exceeds 1, gets a warning: it carries much of the function, which
// is no reason to leave it out. Cook & Weisberg, Residuals and Influence in Regression
// (1982), chapters 2 and 3.
func (c *Curve) suggestions() []Exclusion {
	p, df := float64(len(c.Coefficients)), c.DF-1
	if df < 1 || c.rounding(c.solution.RSS) {
		return nil
	}
	var size float64
	for _, point := range c.Points {
		size = max(size, math.Sqrt(point.Weight)*math.Abs(point.Y))
	}
	limit := studentsT(1-0.05/(2*float64(c.N)), df)
	var out []Exclusion
	for i, point := range c.Points {
		remain := 1 - point.Leverage
		residual := math.Sqrt(point.Weight) * (point.Y - point.Fitted)
		if !(remain > 1e-9) || math.Abs(residual) <= 1e-12*size {
			continue // the point fits, or the fit is bound to pass through it
		}
		without := max(c.solution.RSS-residual*residual/remain, 0) / float64(df)
		t := math.Abs(residual) / math.Sqrt(without*remain)
		if t > limit {
			if math.IsInf(t, 0) {
				t = math.NaN()
			}
			out = append(out, Exclusion{i, StatisticResidual, t, limit, fmt.Sprintf("the point (%v, %v) lies off the function that the other points make", point.X, point.Y)})
			continue
		}
		cook := residual * residual * point.Leverage / (p * c.ResidualSD * c.ResidualSD * remain * remain)
		if cook > 1 {
			c.warn("the point (%v, %v) carries much of the function: Cook's distance %.3g", point.X, point.Y, cook)
		}
	}
	return out
}
