package spectrum

import (
	"math"
	"slices"
)

// NormalVariate gives the standard normal variate: each ordinate less the mean of all,
// over their standard deviation (n - 1). R. J. Barnes, M. S. Dhanoa and S. J. Lister,
// Appl. Spectrosc. 1989, 43, 772. Missing ordinates take no part.
func NormalVariate(y []float64) ([]float64, error) {
	var n, mean, squares float64
	for _, v := range y {
		if finite(v) {
			n++
			mean += (v - mean) / n
		}
	}
	for _, v := range y {
		if finite(v) {
			squares += (v - mean) * (v - mean)
		}
	}
	sd := math.Sqrt(squares / (n - 1))
	if !(n > 1 && sd > 0) {
		return nil, fail(ErrUndefined, "%v ordinates without spread have no standard normal variate", n)
	}
	return scaled(y, mean, sd), nil
}

// ScatterCorrection gives the multiplicative scatter correction against a reference
// spectrum on the same grid, such as the mean of a training set: with y = a + b·reference by least squares,
// (y - a)/b. P. Geladi, D. MacDougall and H. Martens, Appl. Spectrosc. 1985, 39, 491.
// Positions where either ordinate is missing take no part in the fit.
func ScatterCorrection(y, reference []float64) ([]float64, error) {
	if len(y) != len(reference) {
		return nil, fail(ErrAxis, "%d ordinates and a reference of %d", len(y), len(reference))
	}
	var n, meanY, meanR, products, squares float64
	for i, r := range reference {
		if finite(y[i]) && finite(r) {
			n++
			meanY += (y[i] - meanY) / n
			meanR += (r - meanR) / n
		}
	}
	for i, r := range reference {
		if finite(y[i]) && finite(r) {
			products += (y[i] - meanY) * (r - meanR)
			squares += (r - meanR) * (r - meanR)
		}
	}
	b := products / squares
	if !(n > 1 && finite(b) && b != 0) {
		return nil, fail(ErrUndefined, "%v ordinates have a slope of %v against the reference", n, b)
	}
	return scaled(y, meanY-b*meanR, b), nil
}

// scaled gives (y - offset)/divisor; what is missing stays missing.
func scaled(y []float64, offset, divisor float64) []float64 {
	out := make([]float64, len(y))
	for i, v := range y {
		if out[i] = (v - offset) / divisor; !finite(out[i]) {
			out[i] = math.NaN()
		}
	}
	return out
}

// AreaNormalised gives the spectrum over its area, by trapezoids, so that the area becomes 1 per unit of
// the abscissa. A missing ordinate leaves the area unknown and is ErrMissing; an area not above zero is ErrUndefined.
func (s Spectrum) AreaNormalised() (Spectrum, error) {
	if _, err := s.check(); err != nil {
		return Spectrum{}, err
	}
	if i := slices.IndexFunc(s.Y, func(v float64) bool { return !finite(v) }); i >= 0 {
		return Spectrum{}, fail(ErrMissing, "the ordinate at %v %s is missing", s.X[i], s.Unit)
	}
	var area float64
	for i := 1; i < len(s.X); i++ {
		area += (s.Y[i] + s.Y[i-1]) / 2 * math.Abs(s.X[i]-s.X[i-1])
	}
	if !(area > 0) {
		return Spectrum{}, fail(ErrUndefined, "the spectrum has an area of %v", area)
	}
	return s.with(scaled(s.Y, 0, area)), nil
}
