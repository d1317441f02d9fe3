package calibration

import (
	"math"
	"math/big"
	"slices"
)

// basis is the variable u = (x - centre)/scale in which polynomials are fitted: on the
// calibrated range |u| is at most 1, which keeps the powers of u well conditioned.
// scale is a power of two.
type basis struct {
	centre, scale float64
	powers        []int // of u, that the model has
}

// newBasis suits a model and the amounts, which are finite. A line keeps its centre at
// zero: it needs none, and a model without intercept can have none.
func newBasis(m Model, x []float64) basis {
	degree, _ := m.degree()
	b := basis{}
	if m.throughZero() {
		b.powers = []int{1}
	} else {
		if degree > 1 {
			b.centre = roundCentre(slices.Min(x), slices.Max(x))
		}
		for k := range degree + 1 {
			b.powers = append(b.powers, k)
		}
	}
	about := make([]float64, len(x))
	for i, v := range x {
		about[i] = v - b.centre
	}
	b.scale = powerOfTwoAbove(about)
	return b
}

// roundCentre gives the middle between low and high in few digits, so that the
// differences from it are exact for most amounts.
func roundCentre(low, high float64) float64 {
	step := powerOfTwoAbove([]float64{high/2 - low/2}) / 8
	return math.Round((low/2+high/2)/step) * step
}

// powerOfTwoAbove gives the least power of two above every magnitude of x, and 1 when all are zero.
func powerOfTwoAbove(x []float64) float64 {
	var largest float64
	for _, v := range x {
		largest = max(largest, math.Abs(v))
	}
	_, exponent := math.Frexp(largest)
	return math.Ldexp(1, min(exponent, 1023))
}

func (b basis) u(x float64) float64 { return (x - b.centre) / b.scale }
func (b basis) x(u float64) float64 { return b.centre + b.scale*u }

// row gives the powers of u at an amount.
func (b basis) row(x float64) []float64 {
	u, out := b.u(x), make([]float64, len(b.powers))
	for i, k := range b.powers {
		out[i] = power(u, k)
	}
	return out
}

func power(u float64, k int) float64 {
	v := 1.0
	for range k {
		v *= u
	}
	return v
}

// rawPowers turns a vector of coefficients of the powers of u into those of the powers
// of x: sum over k of c[k] ((x - centre)/scale)^k. The sums cancel heavily, so they are
// formed exactly and rounded once.
func (b basis) rawPowers(c []float64) []float64 {
	out := make([]float64, len(c))
	centre := new(big.Rat).SetFloat64(-b.centre)
	for j, to := range b.powers {
		sum := new(big.Rat)
		for i, from := range b.powers {
			if from < to {
				continue
			}
			term := new(big.Rat).SetInt(new(big.Int).Binomial(int64(from), int64(to)))
			for range from - to {
				term.Mul(term, centre)
			}
			for range from {
				term.Quo(term, new(big.Rat).SetFloat64(b.scale))
			}
			sum.Add(sum, term.Mul(term, new(big.Rat).SetFloat64(c[i])))
		}
		out[j], _ = sum.Float64()
	}
	return out
}

// dense gives coefficients of all powers of u from zero.
func (b basis) dense(c []float64) poly {
	out := make(poly, slices.Max(b.powers)+1)
	for i, k := range b.powers {
		out[k] = c[i]
	}
	return out
}

// poly is a polynomial, lowest power first.
type poly []float64

func (p poly) at(u float64) float64 {
	v := 0.0
	for i := len(p) - 1; i >= 0; i-- {
		v = math.FMA(v, u, p[i])
	}
	return v
}

func (p poly) derivative() poly {
	out := poly{}
	for k := 1; k < len(p); k++ {
		out = append(out, float64(k)*p[k])
	}
	return out
}

// less gives p - v.
func (p poly) less(v float64) poly {
	out := slices.Clone(p)
	out[0] -= v
	return out
}

// roots gives the real roots from low to high in rising order. Between neighbouring
// roots of its derivative a polynomial is monotonic and has at most one.
func (p poly) roots(low, high float64) []float64 {
	if len(p) < 2 {
		return nil
	}
	nodes := append(append([]float64{low}, p.derivative().roots(low, high)...), high)
	var found []float64
	add := func(u float64) {
		if len(found) == 0 || found[len(found)-1] != u {
			found = append(found, u)
		}
	}
	for i, right := range nodes[1:] {
		left := nodes[i]
		atLeft, atRight := p.at(left), p.at(right)
		switch {
		case atLeft == 0:
			add(left)
		case atRight != 0 && (atLeft < 0) != (atRight < 0):
			add(p.bisect(left, right))
		}
		if atRight == 0 {
			add(right)
		}
	}
	return found
}

// bisect finds the change of sign between low and high to the last digits of u.
func (p poly) bisect(low, high float64) float64 {
	rising := p.at(low) < 0
	for high-low > 0x1p-60 {
		middle := low + (high-low)/2
		if middle == low || middle == high {
			break
		}
		if (p.at(middle) < 0) == rising {
			low = middle
		} else {
			high = middle
		}
	}
	return low + (high-low)/2
}
