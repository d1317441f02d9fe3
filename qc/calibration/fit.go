package calibration

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// FitLine fits response y as a straight line of amount x by least squares with the
// given weighting (WeightNone, WeightInverseX or WeightInverseXSq; empty is none).
//
// The weights are w_i = raw_i / mean(raw), so that they sum to n, as in Miller &
// Miller, Statistics and Chemometrics for Analytical Chemistry, section 5.10 (there
// with raw = 1/s²). Only the scale of ResidualSD depends on this choice. The least
// squares problem is solved by QR decomposition of the design matrix; the normal
// equations, which square its condition number, are never formed.
//
// Errors: ErrLengths, ErrTooFew (below three points), ErrNotFinite, ErrWeighting,
// ErrNoWeight, ErrOneLevel, ErrFlat.
func FitLine(x, y []float64, weight string) (*Line, error) {
	if err := checkPoints(x, y); err != nil {
		return nil, fmt.Errorf("fit a straight line: %w", err)
	}
	raw, err := weights(x, weight)
	if err != nil {
		return nil, fmt.Errorf("fit a straight line: %w", err)
	}
	if weight == "" {
		weight = WeightNone
	}
	meanRaw := mean(raw)
	line := &Line{N: len(x), DF: len(x) - 2, Weight: weight, Weights: make([]float64, len(x)), meanRaw: meanRaw}
	for i, w := range raw {
		line.Weights[i] = w / meanRaw
	}
	if !finite(line.Weights...) {
		return nil, fmt.Errorf("fit a straight line: weights: %w", ErrNotFinite)
	}
	if err := line.solve(x, y); err != nil {
		return nil, fmt.Errorf("fit a straight line: %w", err)
	}
	return line, nil
}

func checkPoints(x, y []float64) error {
	if len(x) != len(y) {
		return fmt.Errorf("%w: %d and %d", ErrLengths, len(x), len(y))
	}
	if len(x) < 3 {
		return fmt.Errorf("%w: %d, needed are 3", ErrTooFew, len(x))
	}
	for i := range x {
		if !finite(x[i], y[i]) {
			return fmt.Errorf("point %d (%v, %v): %w", i+1, x[i], y[i], ErrNotFinite)
		}
	}
	if slices.Min(x) == slices.Max(x) {
		return fmt.Errorf("%w: %v", ErrOneLevel, x[0])
	}
	if slices.Min(y) == slices.Max(y) {
		return fmt.Errorf("%w: all responses are %v", ErrFlat, y[0])
	}
	return nil
}

// solve fills the line from the points and its weights.
func (l *Line) solve(x, y []float64) error {
	// Columns of like size keep the condition number about the data, not about the
	// units. A power of two changes no digit.
	scale := powerOfTwoAbove(x)
	design := mat.NewDense(l.N, 2, nil)
	response := mat.NewVecDense(l.N, nil)
	for i := range x {
		root := math.Sqrt(l.Weights[i])
		design.SetRow(i, []float64{root, root * (x[i] / scale)})
		response.SetVec(i, root*y[i])
	}
	var qr mat.QR
	qr.Factorize(design)
	var solution mat.VecDense
	if err := qr.SolveVecTo(&solution, false, response); err != nil {
		return fmt.Errorf("%w within the precision of a double (%w)", ErrOneLevel, err)
	}
	l.Intercept, l.Slope = solution.AtVec(0), solution.AtVec(1)/scale

	meanX := l.weightedMean(x)
	l.meanY = l.weightedMean(y)
	var rss, tss float64
	for i := range x {
		residual := y[i] - (l.Intercept + l.Slope*x[i])
		about := y[i] - l.meanY
		rss += l.Weights[i] * residual * residual
		tss += l.Weights[i] * about * about
		l.sxx += l.Weights[i] * (x[i] - meanX) * (x[i] - meanX)
	}
	l.R2 = 1 - rss/tss
	l.ResidualSD = math.Sqrt(rss / float64(l.DF))

	// The covariance of the coefficients is s² (RᵀR)⁻¹ = s² R⁻¹ R⁻ᵀ, and R is 2 by 2.
	var r mat.Dense
	qr.RTo(&r)
	r11, r12, r22 := r.At(0, 0), r.At(0, 1), r.At(1, 1)
	l.SEIntercept = l.ResidualSD * math.Hypot(1/r11, r12/(r11*r22))
	l.SESlope = l.ResidualSD / math.Abs(r22) / scale

	if !finite(l.Intercept, l.Slope, l.SEIntercept, l.SESlope, l.ResidualSD, l.R2, l.sxx) {
		return fmt.Errorf("coefficients: %w", ErrNotFinite)
	}
	if l.Slope == 0 {
		return ErrFlat
	}
	return nil
}

// Response gives the response that the line has at amount.
func (l *Line) Response(amount float64) (float64, error) {
	response := l.Intercept + l.Slope*amount
	if !finite(amount, response) {
		return 0, fmt.Errorf("response at amount %v: %w", amount, ErrNotFinite)
	}
	return response, nil
}

// Amount gives the amount at which the line has this response. It does not look at
// the calibrated range.
func (l *Line) Amount(response float64) (float64, error) {
	if l.Slope == 0 {
		return 0, fmt.Errorf("amount at response %v: %w", response, ErrFlat)
	}
	amount := (response - l.Intercept) / l.Slope
	if !finite(response, amount) {
		return 0, fmt.Errorf("amount at response %v: %w", response, ErrNotFinite)
	}
	return amount, nil
}

// AmountSE gives the standard error of the amount read from the mean of m responses:
//
//	s(x0) = s(y/x)/|b| · sqrt(1/(m·w0) + 1/n + (y0 - ȳ)² / (b² · Sxx))
//
// with the weighted mean ȳ, Sxx = Σ w (x - x̄)², and the weight w0 that the amount
// found has in the weighting of the fit (1 without weights). Miller & Miller,
// Statistics and Chemometrics for Analytical Chemistry, sections 5.6 and 5.10. It is
// an approximation that holds while s(b) is small against b.
func (l *Line) AmountSE(response float64, m int) (float64, error) {
	if m < 1 {
		return 0, fmt.Errorf("standard error of the amount at response %v: %w: %d", response, ErrReplicates, m)
	}
	amount, err := l.Amount(response)
	if err != nil {
		return 0, fmt.Errorf("standard error: %w", err)
	}
	raw, err := rawWeight(amount, l.Weight)
	if err != nil {
		return 0, fmt.Errorf("standard error of the amount at response %v: %w", response, err)
	}
	about := (response - l.meanY) / l.Slope
	variance := l.meanRaw/(float64(m)*raw) + 1/float64(l.N) + about*about/l.sxx
	se := l.ResidualSD / math.Abs(l.Slope) * math.Sqrt(variance)
	if !finite(se) {
		return 0, fmt.Errorf("standard error of the amount at response %v: %w", response, ErrNotFinite)
	}
	return se, nil
}

func (l *Line) weightedMean(values []float64) float64 {
	var sum float64
	for i, v := range values {
		sum += l.Weights[i] * v
	}
	return sum / float64(l.N)
}

func mean(values []float64) float64 {
	var sum float64
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// powerOfTwoAbove gives the least power of two above every magnitude of x, and 1 when all are zero.
func powerOfTwoAbove(x []float64) float64 {
	var largest float64
	for _, v := range x {
		largest = max(largest, math.Abs(v))
	}
	_, exponent := math.Frexp(largest)
	return math.Ldexp(1, min(exponent, 1023))
}
