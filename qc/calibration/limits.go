package calibration

import (
	"fmt"
	"math"
)

// Rule is a rule for the limits of detection and quantitation.
type Rule string

// Rules.
const (
	// RuleCalibration: the amounts at f(0) + 3 s(y/x) and f(0) + 10 s(y/x). Miller &
	// Miller, Statistics and Chemometrics for Analytical Chemistry, section 5.7, which takes
	// the intercept for the blank and s(y/x) for its standard deviation.
	RuleCalibration Rule = "calibration"
	// RuleCalibration33: 3.3 s(y/x)/b and 10 s(y/x)/b, b the slope at zero. ICH Q2,
	// Validation of Analytical Procedures.
	RuleCalibration33 Rule = "calibration-3.3"
	// RuleDIN: detection and quantitation limit of DIN 32645 by the calibration method.
	RuleDIN Rule = "din-32645"
	// RuleBlank: 3 s(B)/b and 10 s(B)/b from readings of a blank. IUPAC, Nomenclature in
	// evaluation of analytical methods (Pure Appl. Chem. 67 (1995) 1699).
	RuleBlank Rule = "blank"
	// RuleMDL: the method detection limit of 40 CFR 136, Appendix B; it has no limit of quantitation.
	RuleMDL Rule = "mdl"
	// RuleNoise: signal to noise of 3 and 10 with S/N = 2H/h, H the height above the
	// baseline and h the noise from peak to peak (Ph. Eur. 2.2.46, USP <621>).
	RuleNoise Rule = "signal-to-noise"
)

// Limits are limits of detection and quantitation as amounts. NaN: the rule gives none.
type Limits struct {
	Rule     Rule
	LOD, LOQ float64
}

// LimitsByCalibration gives the limits of RuleCalibration.
//
// Errors: ErrNoDF, ErrNotForModel (point-to-point), and those of Amount.
func (c *Curve) LimitsByCalibration() (*Limits, error) {
	slope, err := c.sensitivity(RuleCalibration)
	if err != nil {
		return nil, err
	}
	if c.DF < 1 {
		return nil, fmt.Errorf("limits by %s: %w", RuleCalibration, ErrNoDF)
	}
	blank, sign := c.function.at(c.basis.u(0)), math.Copysign(1, slope)
	l := &Limits{Rule: RuleCalibration}
	if l.LOD, err = c.Amount(blank + sign*3*c.ResidualSD); err != nil {
		return nil, fmt.Errorf("limits by %s: %w", RuleCalibration, err)
	}
	if l.LOQ, err = c.Amount(blank + sign*10*c.ResidualSD); err != nil {
		return nil, fmt.Errorf("limits by %s: %w", RuleCalibration, err)
	}
	return l, nil
}

// LimitsBySlope gives the limits of RuleCalibration33. Errors: ErrNoDF, ErrNotForModel, ErrFlat.
func (c *Curve) LimitsBySlope() (*Limits, error) {
	slope, err := c.sensitivity(RuleCalibration33)
	if err != nil {
		return nil, err
	}
	if c.DF < 1 {
		return nil, fmt.Errorf("limits by %s: %w", RuleCalibration33, ErrNoDF)
	}
	return &Limits{RuleCalibration33, 3.3 * c.ResidualSD / slope, 10 * c.ResidualSD / slope}, nil
}

// LimitsByBlank gives the limits of RuleBlank from readings of a blank.
// Errors: ErrTooFew (below two readings), ErrNotFinite, ErrNotForModel, ErrFlat.
func (c *Curve) LimitsByBlank(readings []float64) (*Limits, error) {
	slope, err := c.sensitivity(RuleBlank)
	if err != nil {
		return nil, err
	}
	s, err := standardDeviation(readings)
	if err != nil {
		return nil, fmt.Errorf("limits by %s: %w", RuleBlank, err)
	}
	return &Limits{RuleBlank, 3 * s / slope, 10 * s / slope}, nil
}

// LimitsByNoise gives the limits of RuleNoise from the noise from peak to peak, in
// response units. Errors: ErrNotFinite (also for noise that is not above zero), ErrNotForModel, ErrFlat.
func (c *Curve) LimitsByNoise(noise float64) (*Limits, error) {
	slope, err := c.sensitivity(RuleNoise)
	if err != nil {
		return nil, err
	}
	if !(noise > 0) || !finite(noise) {
		return nil, fmt.Errorf("limits by %s: noise %v: %w above zero", RuleNoise, noise, ErrNotFinite)
	}
	return &Limits{RuleNoise, 3 * noise / 2 / slope, 10 * noise / 2 / slope}, nil
}

// sensitivity is the magnitude of the slope at zero with the rule's own errors; the
// sign is kept for RuleCalibration.
func (c *Curve) sensitivity(rule Rule) (float64, error) {
	if c.segments != nil {
		return 0, fmt.Errorf("limits by %s: %w: %s has no slope at zero", rule, ErrNotForModel, c.Model)
	}
	slope := c.slope(0)
	if slope == 0 || !finite(slope) {
		return 0, fmt.Errorf("limits by %s: %w", rule, ErrFlat)
	}
	if rule == RuleCalibration {
		return slope, nil
	}
	return math.Abs(slope), nil
}

// LimitsByDIN gives the limits of RuleDIN for m readings of a sample, error
// probability alpha, and a relative uncertainty of quantitation of 1/k:
//
//	x_NG = s_x0 t(f; α) sqrt(1/m + 1/n + x̄²/Qx)
//	x_BG = k s_x0 t(f; α/2) sqrt(1/m + 1/n + (x_BG - x̄)²/Qx),  s_x0 = s(y/x)/b
//
// with f = n - 2, t(f; α) one-sided and Qx = Σ (x - x̄)²; the second is solved for x_BG
// exactly. The formulas are quoted from the literature on DIN 32645:2008 and are to be
// compared with the standard before a method cites it. They hold for a straight line
// without weights.
//
// Errors: ErrNotForModel, ErrWeighting, ErrNoDF, ErrFlat, ErrReplicates, ErrConfidence, and
// ErrNoRoot when no amount reaches the wanted uncertainty.
func (c *Curve) LimitsByDIN(m int, alpha, k float64) (*Limits, error) {
	slope, err := c.sensitivity(RuleDIN)
	switch {
	case err != nil:
		return nil, err
	case c.Model != ModelLinear && c.Model != Polynomial(1):
		return nil, fmt.Errorf("limits by %s: %w: a straight line is needed, not %s", RuleDIN, ErrNotForModel, c.Model)
	case c.Weight != WeightNone:
		return nil, fmt.Errorf("limits by %s: %w: the rule is for fits without weights", RuleDIN, ErrWeighting)
	case c.DF < 1:
		return nil, fmt.Errorf("limits by %s: %w", RuleDIN, ErrNoDF)
	case m < 1:
		return nil, fmt.Errorf("limits by %s: %w: %d", RuleDIN, ErrReplicates, m)
	case !(alpha > 0 && alpha < 0.5) || !(k > 0):
		return nil, fmt.Errorf("limits by %s: %w: error probability %v, k %v", RuleDIN, ErrConfidence, alpha, k)
	}
	var meanX, qx float64
	for _, p := range c.Points {
		meanX += p.X / float64(c.N)
	}
	for _, p := range c.Points {
		qx += (p.X - meanX) * (p.X - meanX)
	}
	s, inner := c.ResidualSD/slope, 1/float64(m)+1/float64(c.N)
	l := &Limits{Rule: RuleDIN, LOD: s * studentsT(1-alpha, c.DF) * math.Sqrt(inner+meanX*meanX/qx)}
	// x² = g (inner + (x - x̄)²/Qx) is quadratic in x; the limit is its positive root.
	g := k * s * studentsT(1-alpha/2, c.DF)
	g *= g
	a, b, d := 1-g/qx, g*meanX/qx, g*(inner+meanX*meanX/qx)
	if !(a > 0) {
		return nil, fmt.Errorf("limits by %s: %w: the calibration scatters too much for this uncertainty", RuleDIN, ErrNoRoot)
	}
	l.LOQ = (math.Sqrt(b*b+a*d) - b) / a
	return l, nil
}

func standardDeviation(values []float64) (float64, error) {
	if len(values) < 2 {
		return 0, fmt.Errorf("%w: %d values", ErrTooFew, len(values))
	}
	if !finite(values...) {
		return 0, ErrNotFinite
	}
	about, sum := mean(values), 0.0
	for _, v := range values {
		sum += (v - about) * (v - about)
	}
	return math.Sqrt(sum / float64(len(values)-1)), nil
}
