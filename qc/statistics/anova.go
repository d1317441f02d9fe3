package statistics

import (
	"fmt"
	"math"
)

// Anova is a one-way analysis of variance: groups such as runs or days, with
// replicates in each.
type Anova struct {
	DFBetween, DFWithin int
	SSBetween, SSWithin float64
	MSBetween, MSWithin float64
	// F is MSBetween/MSWithin, NaN when nothing scatters within the groups.
	F float64
	// RSquared is the share of the total sum of squares between the groups, NaN when that is zero.
	RSquared float64
	// WithinSD, sqrt(MSWithin), is the repeatability standard deviation. BetweenSD is the
	// group component sqrt((MSBetween - MSWithin)/n0), zero when that is negative, with n0
	// the number of replicates, averaged for unequal groups. IntermediateSD combines both:
	// the intermediate precision of one value. ISO 5725-3.
	WithinSD, BetweenSD, IntermediateSD float64
}

// OneWay analyses the variance of groups of values.
// Errors: ErrTooFew (below two groups, an empty group, or no replicate), ErrNotFinite.
func OneWay(groups [][]float64) (*Anova, error) {
	n, squared := 0, 0.0
	var all []float64
	for i, g := range groups {
		if len(g) == 0 {
			return nil, fmt.Errorf("analysis of variance: group %d: %w", i+1, ErrTooFew)
		}
		n, squared = n+len(g), squared+float64(len(g))*float64(len(g))
		all = append(all, g...)
	}
	a := &Anova{DFBetween: len(groups) - 1, DFWithin: n - len(groups)}
	if a.DFBetween < 1 || a.DFWithin < 1 {
		return nil, fmt.Errorf("analysis of variance: %w: %d groups of %d values", ErrTooFew, len(groups), n)
	}
	grand, err := center(all, 1)
	if err != nil {
		return nil, fmt.Errorf("analysis of variance: %w", err)
	}
	var between, within sum
	for i, g := range groups {
		m, err := center(g, 1)
		if err != nil {
			return nil, fmt.Errorf("analysis of variance: group %d: %w", i+1, err)
		}
		d := m.high - grand.high + (m.low - grand.low)
		between.addProduct(float64(len(g))*d, d)
		within.add(m.squares(g))
	}
	a.SSBetween, a.SSWithin = between.value(), within.value()
	a.MSBetween, a.MSWithin = a.SSBetween/float64(a.DFBetween), a.SSWithin/float64(a.DFWithin)
	a.F, a.RSquared = math.NaN(), math.NaN()
	if a.MSWithin > 0 {
		a.F = a.MSBetween / a.MSWithin
	}
	if total := a.SSBetween + a.SSWithin; total > 0 {
		a.RSquared = a.SSBetween / total
	}
	replicates := (float64(n) - squared/float64(n)) / float64(a.DFBetween)
	component := max((a.MSBetween-a.MSWithin)/replicates, 0)
	a.WithinSD, a.BetweenSD, a.IntermediateSD = math.Sqrt(a.MSWithin), math.Sqrt(component), math.Sqrt(a.MSWithin+component)
	return a, nil
}
