package table

import (
	"fmt"
	"math"
	"slices"
)

// Anchor is a reference material that a scale is tied to.
type Anchor struct {
	Material string
	Measured float64 // δ as measured in the run, ‰
	Assigned float64 // assigned δ, ‰
	// Scales are those that the assigned value is on, such as "VPDB-LSVEC". It is more than one
	// where the value is exact by definition: NBS 19 is +1.95 ‰ on VPDB and on VPDB-LSVEC.
	Scales []string
	// Standard uncertainties of both values, ‰; 0 where exact or not known.
	MeasuredUncertainty, AssignedUncertainty float64
}

// Normalised is a δ value on a scale.
type Normalised struct {
	Delta   float64 // ‰
	Scale   string
	Anchors [2]string // materials
	// Stretch is the ratio of the assigned to the measured distance of the anchors, 1 for an ideal instrument.
	Stretch float64
	// Uncertainty is the combined standard uncertainty from those given, ‰: not coverage,
	// and nothing beyond the normalisation and the reading.
	Uncertainty float64
	// Outside says that the reading is not between the anchors.
	Outside bool
}

// Normalise puts a measured δ on a scale by two anchors:
//
//	δ = a₁ + (m - m₁) (a₂ - a₁)/(m₂ - m₁)
//
// D. Paul, G. Skrzypek and I. Forizs, Rapid Commun. Mass Spectrom. 2007, 21, 3006, who
// show that one anchor does not suffice; equal anchors are therefore refused. The
// uncertainty is that of the formula by the law of propagation (JCGM 100), inputs independent.
func Normalise(measured, uncertainty float64, a, b Anchor, scale string) (Normalised, error) {
	if !finite(measured, uncertainty, a.Measured, a.Assigned, b.Measured, b.Assigned, a.MeasuredUncertainty, a.AssignedUncertainty,
		b.MeasuredUncertainty, b.AssignedUncertainty) {
		return Normalised{}, missing("normalisation of %v by %s and %s", measured, a.Material, b.Material)
	}
	if uncertainty < 0 || min(a.MeasuredUncertainty, a.AssignedUncertainty, b.MeasuredUncertainty, b.AssignedUncertainty) < 0 {
		return Normalised{}, undefined("normalisation of %v with an uncertainty below 0", measured)
	}
	if err := anchored(a, b, scale); err != nil {
		return Normalised{}, err
	}
	stretch := (b.Assigned - a.Assigned) / (b.Measured - a.Measured)
	if !(stretch > 0) || !finite(stretch) {
		return Normalised{}, fmt.Errorf("%w: measured %v for %s and %v for %s, assigned %v and %v",
			ErrAnchors, a.Measured, a.Material, b.Measured, b.Material, a.Assigned, b.Assigned)
	}
	part := (measured - a.Measured) / (b.Measured - a.Measured)
	fromAssigned := math.Hypot((1-part)*a.AssignedUncertainty, part*b.AssignedUncertainty)
	fromMeasured := math.Hypot(uncertainty, math.Hypot((1-part)*a.MeasuredUncertainty, part*b.MeasuredUncertainty))
	return Normalised{
		Delta: a.Assigned + (measured-a.Measured)*stretch, Scale: scale, Anchors: [2]string{a.Material, b.Material}, Stretch: stretch,
		Uncertainty: math.Hypot(fromAssigned, stretch*fromMeasured), Outside: !(part >= 0 && part <= 1),
	}, nil
}

// anchored refuses anchors that are one, or that are not of the scale.
func anchored(a, b Anchor, scale string) error {
	if scale == "" {
		return fmt.Errorf("%w: no scale is named", ErrAnchors)
	}
	if a.Material == "" || b.Material == "" {
		return fmt.Errorf("%w: an anchor has no name", ErrAnchors)
	}
	if a.Material == b.Material || a.Assigned == b.Assigned {
		return fmt.Errorf("%w: %s at %v and %s at %v are one point, and two are needed", ErrAnchors, a.Material, a.Assigned, b.Material, b.Assigned)
	}
	for _, anchor := range []Anchor{a, b} {
		if !slices.Contains(anchor.Scales, scale) {
			return fmt.Errorf("%w: the value of %s is on %q, and the scale asked for is %q", ErrAnchors, anchor.Material, anchor.Scales, scale)
		}
	}
	return nil
}
