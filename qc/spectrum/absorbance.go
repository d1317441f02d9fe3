package spectrum

import "math"

// Scales of transmittance: the ordinate of a perfectly clear sample.
const (
	Fraction = 1.0
	Percent  = 100.0
)

// Absorbance converts a transmittance on a scale (Fraction or Percent): A = -lg T. It is NaN where the
// transmittance is missing or not above 0, which no absorbance stands for.
func Absorbance(transmittance, scale float64) float64 {
	if !(transmittance > 0 && scale > 0) || math.IsInf(transmittance, 1) {
		return math.NaN()
	}
	return math.Log10(scale / transmittance)
}

// Transmittance converts an absorbance to a transmittance on a scale: T = 10^-A. It is
// NaN where the absorbance is missing.
func Transmittance(absorbance, scale float64) float64 {
	if !finite(absorbance) || !(scale > 0) {
		return math.NaN()
	}
	return scale * math.Pow(10, -absorbance)
}

// Absorbance converts a spectrum of transmittances on a scale.
func (s Spectrum) Absorbance(scale float64) Spectrum {
	y := make([]float64, len(s.Y))
	for i, t := range s.Y {
		y[i] = Absorbance(t, scale)
	}
	return s.with(y)
}

// Transmittance converts a spectrum of absorbances to a scale.
func (s Spectrum) Transmittance(scale float64) Spectrum {
	y := make([]float64, len(s.Y))
	for i, a := range s.Y {
		y[i] = Transmittance(a, scale)
	}
	return s.with(y)
}

// PhenolicIndex is the total phenolic index: the absorbance at 280 nm over 1 cm, times the
// dilution (1 or more; 50 for 1 mL in 50 mL).
func PhenolicIndex(a280, dilution float64) (float64, error) {
	switch {
	case !finite(a280):
		return 0, fail(ErrMissing, "the absorbance at 280 nm is missing")
	case !(dilution >= 1) || math.IsInf(dilution, 1):
		return 0, fail(ErrUndefined, "a dilution of %v", dilution)
	}
	return a280 * dilution, nil
}
