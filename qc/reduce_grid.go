package qc

import (
	"fmt"
	"slices"

	"underbond/qc/method"
	"underbond/qc/spectrum"
)

// gridFound is what was found for one grid of the plan.
type gridFound struct {
	ordinateFound
	values []*float64
}

// onGrid gives a spectrum of plain numbers on a grid, with its treatment; what is missing is nil.
func onGrid(s spectrum.Spectrum, want *method.Feature) ([]*float64, error) {
	treated, err := s.Resample(want.Grid(), spectrum.Interpolation(want.Interpolation))
	if err != nil {
		return nil, err
	}
	switch want.Treatment {
	case "":
	case method.TreatmentVariate:
		treated.Y, err = spectrum.NormalVariate(treated.Y)
	case method.TreatmentArea:
		treated, err = treated.AreaNormalised()
	case method.TreatmentDerivative:
		treated, err = derivative(treated, want.Derivative)
	default:
		err = fmt.Errorf("%w: there is no treatment %q", spectrum.ErrUndefined, want.Treatment)
	}
	if err != nil {
		return nil, err
	}
	values := make([]*float64, len(treated.Y))
	for i, y := range treated.Y {
		values[i] = given(y)
	}
	return values, nil
}

// endGrids puts one grid for each of the plan into the reduction.
func (r *Reducer) endGrids() {
	for i, want := range r.plan.Grids {
		found := &r.grids[i]
		if r.spectra == 0 {
			found.reason = "the acquisition has no spectrum"
		}
		if found.reason != "" {
			r.problem(ProblemGrid, found.element, "no %s on the grid of %s: %s", want.Ordinate, want.Name, found.reason)
			found.values = nil
		}
		r.reduction.Grids = append(r.reduction.Grids, Grid{Feature: want, Values: slices.Clone(found.values), Reason: found.reason})
	}
}
