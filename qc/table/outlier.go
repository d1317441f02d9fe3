package table

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Sides says whether an outlier is suspected at one named end, or at either.
type Sides int

const (
	OneSided Sides = 1 // the end was named before the readings were seen
	TwoSided Sides = 2 // either end
)

// Outlier is what a test says of the reading furthest out. It informs: no reading is
// ever left out because of it.
type Outlier struct {
	Index     int     // of the suspected reading
	Statistic float64 // G or Q
	Critical  float64 // what the statistic is above, with a probability of alpha, when all readings are of one normal law
	Sides     Sides
	Alpha     float64
}

// Suspect tells whether the statistic is above its critical value.
func (o Outlier) Suspect() bool { return o.Statistic > o.Critical }

// Grubbs tests the reading furthest from the mean, at either end: G = |x - mean| / SD,
// two-sided. F. E. Grubbs, Technometrics 1969, 11, 1. All readings must be there, three or more.
func Grubbs(readings []float64, alpha float64) (Outlier, error) {
	if !finite(readings...) {
		return Outlier{}, missing("a test for outliers over %d readings", len(readings))
	}
	critical, err := GrubbsCritical(len(readings), alpha, TwoSided)
	if err != nil {
		return Outlier{}, err
	}
	r := Summarise(readings)
	if !(r.SD > 0) {
		return Outlier{}, undefined("equal readings have no outlier")
	}
	out := Outlier{Critical: critical, Sides: TwoSided, Alpha: alpha}
	for i, v := range readings {
		if g := math.Abs(v-r.Mean) / r.SD; g > out.Statistic {
			out.Index, out.Statistic = i, g
		}
	}
	return out, nil
}

// GrubbsCritical gives the critical value of G for n readings:
//
//	G = (n-1)/√n · √(t²/(n-2+t²))
//
// with t the upper alpha/n (one-sided) or alpha/2n (two-sided) point of Student's law with n-2 degrees of freedom.
func GrubbsCritical(n int, alpha float64, sides Sides) (float64, error) {
	if err := testable(n, alpha, sides); err != nil {
		return 0, err
	}
	count := float64(n)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: count - 2}.Quantile(alpha / (count * float64(sides)))
	return (count - 1) / math.Sqrt(count) * math.Sqrt(t*t/(count-2+t*t)), nil
}

// dixonMost is up to how many readings r10 is used; above, other ratios are customary.
const dixonMost = 12

// Dixon tests the end reading furthest from its neighbour, at either end: Q = gap / range
// (r10), two-sided. R. B. Dean and W. J. Dixon, Anal. Chem. 1951, 23, 636; D. B.
// Rorabacher, Anal. Chem. 1991, 63, 139. All readings must be there, 3 to 12.
func Dixon(readings []float64, alpha float64) (Outlier, error) {
	if !finite(readings...) {
		return Outlier{}, missing("a test for outliers over %d readings", len(readings))
	}
	n := len(readings)
	critical, err := DixonCritical(n, alpha, TwoSided)
	if err != nil {
		return Outlier{}, err
	}
	sorted := slices.Sorted(slices.Values(readings))
	span := sorted[n-1] - sorted[0]
	if !(span > 0) {
		return Outlier{}, undefined("equal readings have no outlier")
	}
	low, high := (sorted[1]-sorted[0])/span, (sorted[n-1]-sorted[n-2])/span
	out := Outlier{Statistic: low, Index: slices.Index(readings, sorted[0]), Critical: critical, Sides: TwoSided, Alpha: alpha}
	if high > low {
		out.Statistic, out.Index = high, slices.Index(readings, sorted[n-1])
	}
	return out, nil
}

// DixonCritical gives the critical value of r10 for n readings, 3 to 12, two-sided with half of alpha at each
// end, from the law of the ratio itself. Published tables were found by
// simulation or by interpolation and differ from it by up to some thousandths.
func DixonCritical(n int, alpha float64, sides Sides) (float64, error) {
	if err := testable(n, alpha, sides); err != nil {
		return 0, err
	}
	if n > dixonMost {
		return 0, undefined("r10 of %d readings; it is for %d at most", n, dixonMost)
	}
	tail := alpha / float64(sides)
	low, high := 0.0, 1.0
	for range 30 { // to 1e-9
		middle := (low + high) / 2
		if dixonAbove(n, middle) > tail {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2, nil
}

// dixonAbove is the probability that r10 at the lower end is above q. With the least
// reading at x and the largest at x+w, all others must lie above x+qw:
//
//	n(n-1) ∫∫ φ(x) φ(x+w) [Φ(x+w) - Φ(x+qw)]ⁿ⁻² dx dw
//
// by sums over even steps, which are as good as exact for bell-shaped functions; only for
// three readings, where the integrand ends abruptly at w = 0, they are off by some 1e-4.
func dixonAbove(n int, q float64) float64 {
	const step, far, widest = 0.25, 7.0, 12.0
	count := float64(n)
	var sum float64
	for w := step / 2; w < widest; w += step {
		for x := -far; x < far; x += step {
			within := normal(x+w) - normal(x+q*w)
			sum += density(x) * density(x+w) * math.Pow(within, count-2)
		}
	}
	return count * (count - 1) * sum * step * step
}

func density(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }
func normal(x float64) float64  { return math.Erfc(-x/math.Sqrt2) / 2 }

func testable(n int, alpha float64, sides Sides) error {
	switch {
	case n < 3:
		return undefined("a test for outliers over %d readings", n)
	case !(alpha > 0 && alpha < 1):
		return undefined("a test for outliers with alpha %v", alpha)
	case sides != OneSided && sides != TwoSided:
		return undefined("a test for outliers with %d sides", sides)
	}
	return nil
}
