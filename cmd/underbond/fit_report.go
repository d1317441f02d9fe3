package main

import (
	"encoding/json"
	"fmt"
	"math"

	"underbond/qc/calibration"
)

var undefined = math.NaN()

// figure is a number of a report; one that is undefined is null in JSON.
type figure float64

// MarshalJSON writes all digits of a finite number.
func (f figure) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(f)) || math.IsInf(float64(f), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(f))
}

// text gives the number with so many significant digits.
func (f figure) text(digits int) string {
	if math.IsNaN(float64(f)) || math.IsInf(float64(f), 0) {
		return number(nil, digits)
	}
	return number((*float64)(&f), digits)
}

func figures(values []float64) []figure {
	out := make([]figure, len(values))
	for i, v := range values {
		out[i] = figure(v)
	}
	return out
}

// fitReport is what fit prints.
type fitReport struct {
	Model              calibration.Model `json:"model"`
	Weight             string            `json:"weight"`
	N                  int               `json:"n"`
	Levels             int               `json:"levels"`
	Range              []figure          `json:"range"`
	Coefficients       []figure          `json:"coefficients"`
	StandardErrors     []figure          `json:"standard_errors"`
	Covariance         [][]figure        `json:"covariance"`
	DegreesOfFreedom   *int              `json:"degrees_of_freedom"`
	ResidualSD         figure            `json:"residual_sd"`
	RSquared           figure            `json:"r_squared"`
	AdjustedRSquared   figure            `json:"adjusted_r_squared"`
	RSEPercent         figure            `json:"rse_percent"`
	RSDPercent         figure            `json:"rsd_percent"`
	LackOfFit          fitLackOfFit      `json:"lack_of_fit"`
	Monotonic          bool              `json:"monotonic"`
	LODRule            calibration.Rule  `json:"lod_rule"`
	LOD                figure            `json:"lod"`
	LOQ                figure            `json:"loq"`
	Confidence         figure            `json:"confidence"`
	XIntercept         figure            `json:"x_intercept"`
	XInterceptSE       figure            `json:"x_intercept_se"`
	XInterceptLow      figure            `json:"x_intercept_ci_low"`
	XInterceptHigh     figure            `json:"x_intercept_ci_high"`
	Points             []fitPoint        `json:"points"`
	Predictions        []fitPrediction   `json:"predictions"`
	SuggestedExclusion []fitExclusion    `json:"suggested_exclusions"`
	Warnings           []string          `json:"warnings"`
}

type fitLackOfFit struct {
	Mandel    *fitTest `json:"mandel"`
	PureError *fitTest `json:"pure_error"`
}

type fitTest struct {
	F   figure `json:"f"`
	DF1 int    `json:"df_numerator"`
	DF2 int    `json:"df_denominator"`
	P   figure `json:"p_value"`
}

type fitPoint struct {
	X               figure `json:"x"`
	Y               figure `json:"y"`
	Weight          figure `json:"weight"`
	Fitted          figure `json:"fitted"`
	BackCalculated  figure `json:"back_calculated"`
	AccuracyPercent figure `json:"accuracy_percent"`
	Leverage        figure `json:"leverage"`
}

type fitPrediction struct {
	Y             figure `json:"y"`
	Replicates    int    `json:"replicates"`
	X             figure `json:"x"`
	StandardError figure `json:"standard_error"`
	Low           figure `json:"ci_low"`
	High          figure `json:"ci_high"`
}

type fitExclusion struct {
	Point     int    `json:"point"`
	X         figure `json:"x"`
	Y         figure `json:"y"`
	Statistic string `json:"statistic"`
	Value     figure `json:"value"`
	Limit     figure `json:"limit"`
	Reason    string `json:"reason"`
}

// newFitReport computes what was asked of a fit. What cannot be computed is undefined
// and has a warning; only mistakes on the command line are errors.
func newFitReport(c *calibration.Curve, asked *request) (*fitReport, error) {
	r := &fitReport{Model: c.Model, N: c.N, Levels: c.Levels, Range: figures(c.Range[:]),
		Coefficients: figures(c.Coefficients), StandardErrors: figures(c.StandardErrors), Covariance: [][]figure{},
		ResidualSD: figure(c.ResidualSD), RSquared: figure(c.RSquared), AdjustedRSquared: figure(c.AdjustedRSquared),
		RSEPercent: figure(c.RSEPercent), RSDPercent: figure(c.RSDPercent), LackOfFit: fitLackOfFit{newFitTest(c.Mandel), newFitTest(c.PureError)},
		Monotonic: c.Monotonic, LODRule: asked.rule, Confidence: figure(asked.confidence),
		XIntercept: figure(undefined), XInterceptSE: figure(undefined), XInterceptLow: figure(undefined), XInterceptHigh: figure(undefined),
		Points: []fitPoint{}, Predictions: []fitPrediction{}, SuggestedExclusion: []fitExclusion{}, Warnings: append([]string{}, c.Warnings...)}
	for _, row := range c.Covariance {
		r.Covariance = append(r.Covariance, figures(row))
	}
	if c.Model != calibration.ModelPointToPoint {
		r.DegreesOfFreedom = &c.DF
	}
	for _, p := range c.Points {
		r.Points = append(r.Points, fitPoint{figure(p.X), figure(p.Y), figure(p.Weight), figure(p.Fitted), figure(p.BackCalculated), figure(p.AccuracyPercent), figure(p.Leverage)})
	}
	for _, e := range c.Exclusions {
		p := c.Points[e.Index]
		r.SuggestedExclusion = append(r.SuggestedExclusion, fitExclusion{e.Index + 1, figure(p.X), figure(p.Y), e.Statistic, figure(e.Value), figure(e.Limit), e.Reason})
	}
	r.addition(c, asked)
	for _, reading := range asked.readings {
		r.predict(c, reading, asked.confidence)
	}
	return r, r.limits(c, asked)
}

func newFitTest(t *calibration.FTest) *fitTest {
	if t == nil {
		return nil
	}
	return &fitTest{figure(t.F), t.DF1, t.DF2, figure(t.P)}
}

func (r *fitReport) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, fmt.Sprintf(format, args...))
}

func (r *fitReport) addition(c *calibration.Curve, asked *request) {
	if c.Model != calibration.ModelStandardAddition {
		return
	}
	i, err := c.XIntercept(asked.confidence)
	if err != nil {
		r.warn("no amount by standard addition: %v", err)
		return
	}
	r.XIntercept, r.XInterceptSE, r.XInterceptLow, r.XInterceptHigh = figure(i.X), figure(i.StandardError), figure(i.Low), figure(i.High)
}

func (r *fitReport) predict(c *calibration.Curve, asked reading, confidence float64) {
	out := fitPrediction{figure(asked.y), asked.replicates, figure(undefined), figure(undefined), figure(undefined), figure(undefined)}
	p, err := c.Predict(asked.y, asked.replicates, confidence)
	if err != nil {
		r.warn("no amount is predicted: %v", err)
		r.Predictions = append(r.Predictions, out)
		return
	}
	out.X, out.StandardError, out.Low, out.High = figure(p.X), figure(p.StandardError), figure(p.Low), figure(p.High)
	if c.Outside(p.X) {
		r.warn("the amount %v at response %v lies outside the calibrated range of %v to %v", p.X, asked.y, c.Range[0], c.Range[1])
	}
	r.Predictions = append(r.Predictions, out)
}

func (r *fitReport) limits(c *calibration.Curve, asked *request) error {
	r.LOD, r.LOQ = figure(undefined), figure(undefined)
	l, err := fitLimits(c, asked)
	if isUsage(err) {
		return err
	}
	if err != nil {
		r.warn("no limits of detection and quantitation: %v", err)
		return nil
	}
	r.LOD, r.LOQ = figure(l.LOD), figure(l.LOQ)
	byScatter := asked.rule == calibration.RuleCalibration || asked.rule == calibration.RuleCalibration33
	if byScatter && c.Weight != calibration.WeightNone {
		r.warn("the limits take the scatter of a point of mean weight for that of a blank; readings of blanks say more")
	}
	return nil
}
