package signal

import (
	"fmt"
	"math"
	"math/big"
)

// SavitzkyGolay gives the filter weights that fit a polynomial of the given degree to
// an odd number of evenly spaced points by least squares and take its derivative (0 is
// the value itself) at the middle point, for steps of one. A. Savitzky and M. J. E.
// Golay, Anal. Chem. 1964, 36, 1627, with the corrections of J. Steinier et al., Anal.
// Chem. 1972, 44, 1906. The system is solved in rational arithmetic, so each weight is
// the double nearest to the true fraction.
func SavitzkyGolay(points, degree, derivative int) ([]float64, error) {
	if points < 3 || points > maxWindow || points%2 == 0 {
		return nil, fmt.Errorf("smoothing over %d points: want an odd number from 3 to %d", points, maxWindow)
	}
	if degree < 0 || degree >= points || derivative < 0 || derivative > degree {
		return nil, fmt.Errorf("derivative %d of a polynomial of degree %d over %d points does not exist", derivative, degree, points)
	}
	return weightsAt(points, degree, derivative, 0)
}

// maxWindow bounds the points of a filter; above it the rational solution gets slow.
const maxWindow = 201

// weightsAt gives the weights for the derivative at an offset from the middle point.
func weightsAt(points, degree, derivative, offset int) ([]float64, error) {
	half := points / 2
	// With p the coefficients of the polynomial, least squares asks for (AᵀA) p = Aᵀ y,
	// A[i][j] = i^j. The wanted derivative is c·p, so the weights are A (AᵀA)⁻¹ c.
	normal := make([][]*big.Rat, degree+1)
	for j := range normal {
		normal[j] = make([]*big.Rat, degree+2)
		for k := range degree + 1 {
			sum := new(big.Int)
			for i := -half; i <= half; i++ {
				sum.Add(sum, power(i, j+k))
			}
			normal[j][k] = new(big.Rat).SetInt(sum)
		}
		normal[j][degree+1] = derivativeOfPower(j, derivative, offset)
	}
	solution, ok := solve(normal)
	if !ok {
		return nil, fmt.Errorf("smoothing of degree %d over %d points has no solution", degree, points)
	}
	weights := make([]float64, points)
	for i := -half; i <= half; i++ {
		sum := new(big.Rat)
		for j, s := range solution {
			sum.Add(sum, new(big.Rat).Mul(s, new(big.Rat).SetInt(power(i, j))))
		}
		weights[i+half], _ = sum.Float64()
	}
	return weights, nil
}

// derivativeOfPower gives the derivative of x^j at x.
func derivativeOfPower(j, derivative, x int) *big.Rat {
	if derivative > j {
		return new(big.Rat)
	}
	factor := big.NewInt(1)
	for k := range derivative {
		factor.Mul(factor, big.NewInt(int64(j-k)))
	}
	return new(big.Rat).SetInt(factor.Mul(factor, power(x, j-derivative)))
}

func power(x, exponent int) *big.Int {
	return new(big.Int).Exp(big.NewInt(int64(x)), big.NewInt(int64(exponent)), nil)
}

// solve eliminates an augmented square system in place.
func solve(rows [][]*big.Rat) ([]*big.Rat, bool) {
	n := len(rows)
	for c := range n {
		pivot := c
		for pivot < n && rows[pivot][c].Sign() == 0 {
			pivot++
		}
		if pivot == n {
			return nil, false
		}
		rows[c], rows[pivot] = rows[pivot], rows[c]
		for r := range n {
			if r == c || rows[r][c].Sign() == 0 {
				continue
			}
			factor := new(big.Rat).Quo(rows[r][c], rows[c][c])
			for k := c; k <= n; k++ {
				rows[r][k] = new(big.Rat).Sub(rows[r][k], new(big.Rat).Mul(factor, rows[c][k]))
			}
		}
	}
	solution := make([]*big.Rat, n)
	for c := range n {
		solution[c] = new(big.Rat).Quo(rows[c][n], rows[c][c])
	}
	return solution, true
}

// Smooth applies a quadratic Savitzky-Golay filter of the given odd number of points.
// The first and last points are those of the polynomial fitted to the first and last
// full window. 0 or 1 point, or a signal shorter than the window, is copied unchanged.
// A straight line passes through unchanged.
func Smooth(values []float64, points int) ([]float64, error) {
	out := append([]float64(nil), values...)
	if points == 0 || points == 1 || points > len(values) && points > 0 && points%2 == 1 {
		return out, nil
	}
	const degree = 2
	middle, err := SavitzkyGolay(points, degree, 0)
	if err != nil {
		return nil, err
	}
	half := points / 2
	for i := half; i < len(values)-half; i++ {
		out[i] = dot(middle, values[i-half:])
	}
	for offset := 1; offset <= half; offset++ {
		w, err := weightsAt(points, degree, 0, offset)
		if err != nil {
			return nil, err
		}
		out[len(values)-1-half+offset] = dot(w, values[len(values)-points:])
		// By symmetry the weights at the other end are the same in reverse.
		out[half-offset] = dotReversed(w, values[:points])
	}
	for _, v := range out {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("smoothing over %d points: the signal holds a value that is not finite", points)
		}
	}
	return out, nil
}

func dot(weights, values []float64) float64 {
	var sum float64
	for i, w := range weights {
		sum += w * values[i]
	}
	return sum
}

func dotReversed(weights, values []float64) float64 {
	var sum float64
	for i, w := range weights {
		sum += w * values[len(weights)-1-i]
	}
	return sum
}
