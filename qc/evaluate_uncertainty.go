package qc

import (
	"errors"
	"fmt"
	"math"

	"underbond/qc/method"
	"underbond/qc/uncertainty"
)

// asIsUncertainty gives the combined standard uncertainty of an amount for the
// undiluted sample, in the analyte's unit, as the method asks for it.
func (e *evaluator) asIsUncertainty(m *entry, analyte int, value float64) (float64, error) {
	a := &e.method.Analytes[analyte]
	u := e.method.UncertaintyOf(a)
	if u.Approach == method.ApproachTopDown {
		return combine(value, relative("reproducibility", u.Reproducibility), relative("bias", u.Bias))
	}
	inputs := []uncertainty.Quantity{relative("repeatability", u.Repeatability), relative("standards", u.StandardsPercent)}
	if m.Line.Dilution != 1 {
		inputs = append(inputs, relative("dilution", u.Dilution))
	}
	c := e.curve(m, analyte)
	if u.Standards == method.StandardsFromList {
		largest, err := e.standardsUncertainty(c, analyte)
		if err != nil {
			return 0, err
		}
		inputs = append(inputs, uncertainty.Quantity{Name: "standards", Value: 1, Standard: largest})
	}
	if c == nil {
		return combine(value, inputs...)
	}
	s := e.quantity(m, analyte).standard
	if number(&s) == nil {
		return 0, errors.New("the calibration function gives no standard error")
	}
	all, err := combine(value, inputs...)
	if err != nil {
		return 0, err
	}
	return math.Hypot(all, s*m.Line.Dilution), nil
}

// relative is a factor of one with a standard uncertainty in percent; none when percent is nil.
func relative(name string, percent *float64) uncertainty.Quantity {
	q := uncertainty.Quantity{Name: name, Value: 1}
	if percent != nil {
		q.Standard = *percent / 100
	}
	return q
}

// combine propagates the uncertainties of factors of one on a value: each has the value
// for its sensitivity (GUM 5.1.2).
func combine(value float64, factors ...uncertainty.Quantity) (float64, error) {
	sensitivities := make([]float64, len(factors))
	for i := range sensitivities {
		sensitivities[i] = value
	}
	budget, err := uncertainty.CombineLinear(value, factors, sensitivities)
	if err != nil {
		return 0, err
	}
	return budget.Standard, nil
}

// share is the standards' share in the uncertainty of what a curve quantifies.
type share struct {
	relative float64
	err      error
}

// standardsUncertainty gives the largest relative standard uncertainty of the standards
// behind a curve. One that the list gives none for leaves it unknown: what is missing is not zero.
func (e *evaluator) standardsUncertainty(c *curve, analyte int) (float64, error) {
	if c == nil {
		return 0, errors.New("no calibration standard stands behind it")
	}
	if c.share == nil {
		largest, err := e.largestUncertainty(c, analyte)
		c.share = &share{largest, err}
	}
	return c.share.relative, c.share.err
}

func (e *evaluator) largestUncertainty(c *curve, analyte int) (float64, error) {
	largest := 0.0
	for _, m := range c.calibrants {
		if n := e.nominal(m, analyte); n.state == nominalKnown && n.value == 0 {
			continue
		}
		if len(m.Line.Standards) == 0 {
			return 0, fmt.Errorf("the %s names no standard", m.name())
		}
		for _, id := range m.Line.Standards {
			share, err := e.listedUncertainty(id, e.method.Analytes[analyte].Name)
			if err != nil {
				return 0, err
			}
			largest = max(largest, share)
		}
	}
	return largest, nil
}

// listedUncertainty is a standard's expanded uncertainty by its coverage factor, over its
// value (GUM 4.3.3).
func (e *evaluator) listedUncertainty(id, analyte string) (float64, error) {
	s := e.lists[id]
	if s == nil {
		return 0, fmt.Errorf("no standards list knows %s", id)
	}
	for _, v := range s.Values {
		if !sameName(v.Analyte, analyte) {
			continue
		}
		if v.Uncertainty == nil || v.K == nil || !(v.Value > 0) {
			break
		}
		u, err := uncertainty.Normal(*v.Uncertainty, *v.K)
		if err != nil {
			return 0, fmt.Errorf("standard %s: %w", id, err)
		}
		return u / v.Value, nil
	}
	return 0, fmt.Errorf("the standards list gives no uncertainty of %s in standard %s", analyte, id)
}

// uncertain fills in the combined standard uncertainty of a result with a value, which was
// computed from the amount as is by convert.
func (e *evaluator) uncertain(r *Result, m *entry, analyte int, asIs float64, convert func(float64) (float64, error)) {
	stated := e.method.UncertaintyOf(&e.method.Analytes[analyte])
	if stated == nil {
		return
	}
	u, err := e.asIsUncertainty(m, analyte, asIs)
	if err == nil {
		u, err = convert(u)
	}
	if err == nil && r.Basis == BasisPerAlcohol {
		// The value is an amount over a strength: the strength's relative uncertainty adds (GUM 5.1.6).
		s := e.strength[r.Sample]
		if s.standard == nil {
			e.findOnce(FindingUncertainty, "sample "+r.Sample, "the strength of sample %s has no standard uncertainty, so those of results %s are without it", r.Sample, BasisPerAlcohol)
		} else {
			u = math.Hypot(u, *r.Value*(*s.standard/s.percent))
		}
	}
	if err == nil && number(&u) == nil {
		err = errors.New("it is not a number")
	}
	if err != nil {
		e.findOnce(FindingUncertainty, r.Analyte, "results of %s have no uncertainty: %v", r.Analyte, err)
		return
	}
	factor := stated.CoverageFactor
	r.Uncertainty, r.CoverageFactor = &u, &factor
}
