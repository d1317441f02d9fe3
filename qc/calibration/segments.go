package calibration

import (
	"fmt"
	"slices"
)

// segments are the means of the responses at the levels, by rising amount.
type segments struct{ x, y []float64 }

// join fits the point-to-point model to points that are sorted by amount.
func (c *Curve) join(points Points) error {
	s := &segments{}
	for i := 0; i < len(points.X); {
		var sum doubled
		k := i
		for ; k < len(points.X) && points.X[k] == points.X[i]; k++ {
			sum.add(points.Y[k])
		}
		s.x, s.y = append(s.x, points.X[i]), append(s.y, sum.value()/float64(k-i))
		i = k
	}
	if len(s.x) < 2 {
		return fmt.Errorf("%w: one level", ErrTooFew)
	}
	c.segments = s
	for i, x := range points.X {
		at, _ := slices.BinarySearch(s.x, x)
		c.Points = append(c.Points, PointFigures{X: x, Y: points.Y[i], Fitted: s.y[at], Leverage: undefined(), Weight: 1})
	}
	return nil
}

// monotonic tells that the means only rise or only fall.
func (s *segments) monotonic() bool {
	rising, falling := true, true
	for i := 1; i < len(s.y); i++ {
		rising = rising && s.y[i] > s.y[i-1]
		falling = falling && s.y[i] < s.y[i-1]
	}
	return rising || falling
}

func (s *segments) response(amount float64) (float64, error) {
	last := len(s.x) - 1
	if !(amount >= s.x[0] && amount <= s.x[last]) {
		return 0, fmt.Errorf("%w: %v to %v", ErrOutside, s.x[0], s.x[last])
	}
	i, found := slices.BinarySearch(s.x, amount)
	if found {
		return s.y[i], nil
	}
	return between(s.x[i-1], s.y[i-1], s.x[i], s.y[i], amount), nil
}

func (s *segments) amount(response float64) (float64, error) {
	if !s.monotonic() {
		return 0, fmt.Errorf("%w: the levels neither rise nor fall throughout", ErrAmbiguous)
	}
	for i := 1; i < len(s.x); i++ {
		low, high := min(s.y[i-1], s.y[i]), max(s.y[i-1], s.y[i])
		if response >= low && response <= high {
			return between(s.y[i-1], s.x[i-1], s.y[i], s.x[i], response), nil
		}
	}
	return 0, fmt.Errorf("%w: it lies beyond the lowest and highest level", ErrNoRoot)
}

// between interpolates linearly, exact at both ends.
func between(x1, y1, x2, y2, x float64) float64 {
	t := (x - x1) / (x2 - x1)
	return y1*(1-t) + y2*t
}
