package calibration

import (
	"fmt"
	"math"
)

// reach bounds the search for the amount of a curved function: that many half ranges
// from the middle of the calibrated range, beyond which an extrapolated polynomial
// says nothing.
const reach = 1024

// Amount gives the amount at which the function has this response.
//
// A line has one, wherever it lies. A curved function is followed on the branch that
// holds the calibrated range, as far as it keeps rising or falling. When it turns
// within the range, the amount must be the only one there. Whether the amount lies in
// the calibrated range is for the caller to ask (Curve.Outside).
//
// Errors: ErrFlat, ErrNotFinite, ErrNoRoot, ErrAmbiguous.
func (c *Curve) Amount(response float64) (float64, error) {
	amount, err := c.amount(response)
	if err == nil && !finite(response, amount) {
		err = ErrNotFinite
	}
	if err != nil {
		return 0, fmt.Errorf("amount at response %v: %w", response, err)
	}
	return amount, nil
}

func (c *Curve) amount(response float64) (float64, error) {
	if c.segments != nil {
		return c.segments.amount(response)
	}
	if len(c.function) == 2 {
		if c.function[1] == 0 {
			return 0, ErrFlat
		}
		return c.basis.x((response - c.function[0]) / c.function[1]), nil
	}
	if !finite(response) {
		return 0, ErrNotFinite
	}
	low, high := c.branch()
	roots := c.function.less(response).roots(low, high)
	switch len(roots) {
	case 0:
		return 0, ErrNoRoot
	case 1:
		return c.basis.x(roots[0]), nil
	}
	return 0, fmt.Errorf("%w: %v and %v", ErrAmbiguous, c.basis.x(roots[0]), c.basis.x(roots[1]))
}

// branch gives the part of the u axis on which amounts are looked for.
func (c *Curve) branch() (low, high float64) {
	first, last := c.basis.u(c.Range[0]), c.basis.u(c.Range[1])
	if !c.Monotonic {
		return first, last
	}
	low, high = -reach, reach
	for _, turn := range c.function.derivative().roots(low, high) {
		switch {
		case turn <= first:
			low = turn
		case turn >= last:
			return low, turn
		}
	}
	return low, high
}

// monotonic tells whether the function only rises or only falls over the range.
func (c *Curve) monotonic() bool {
	if c.segments != nil {
		return c.segments.monotonic()
	}
	derivative := c.function.derivative()
	first, last := c.basis.u(c.Range[0]), c.basis.u(c.Range[1])
	edges := append(append([]float64{first}, derivative.roots(first, last)...), last)
	rising, falling := true, true
	for i := 1; i < len(edges); i++ {
		if edges[i] == edges[i-1] && len(edges) > 2 {
			continue
		}
		slope := derivative.at(edges[i-1] + (edges[i]-edges[i-1])/2)
		rising, falling = rising && slope > 0, falling && slope < 0
	}
	return rising || falling
}

// Outside tells that an amount lies outside the calibrated range, beyond rounding.
func (c *Curve) Outside(amount float64) bool {
	guard := 1e-9 * max(math.Abs(c.Range[0]), math.Abs(c.Range[1]))
	return !(amount >= c.Range[0]-guard && amount <= c.Range[1]+guard)
}
