package calibration

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Solution is a least squares fit of several regressors. Undefined figures are NaN.
type Solution struct {
	// Coefficients, in the order of the columns of the design, in response units per
	// unit of the column; StandardErrors and Covariance (squared) likewise.
	Coefficients   []float64
	StandardErrors []float64
	Covariance     [][]float64
	// ResidualSD is sqrt(RSS/DF), RSS the weighted residual sum of squares.
	ResidualSD, RSS float64
	// RSquared is 1 - RSS/TSS, with TSS about the weighted mean when the design spans a
	// constant and about zero when not, as the NIST Statistical Reference Datasets define it.
	RSquared, AdjustedRSquared float64
	// N is the number of observations and DF = N minus the number of columns.
	N, DF int
	// Fitted responses and leverages h = w v (VᵀWV)⁻¹ vᵀ, which sum to the number of columns.
	Fitted, Leverage []float64
	// Weights with mean 1.
	Weights []float64

	root [][]float64 // (VᵀWV)⁻¹ = root · rootᵀ
}

// LeastSquares fits response as a linear combination of the columns of design, one row
// an observation, weighted by weights (nil: all equal), which are scaled to mean 1.
// constant says that the columns span a constant, which decides what r² is about.
//
// The problem is solved by Householder QR decomposition of the design matrix, with its
// columns scaled by powers of two, and refined by the method of Björck (BIT 7 (1967)
// 257): the residuals of the augmented system are computed in doubled precision. The
// normal equations, which square the condition number, are never formed.
//
// Errors: ErrLengths, ErrTooFew (fewer observations than columns), ErrNotFinite,
// ErrSingular (columns that depend on each other).
func LeastSquares(design [][]float64, response, weights []float64, constant bool) (*Solution, error) {
	s, err := leastSquares(design, response, weights, constant)
	if err != nil {
		return nil, fmt.Errorf("least squares: %w", err)
	}
	return s, nil
}

func leastSquares(design [][]float64, response, weights []float64, constant bool) (*Solution, error) {
	n := len(design)
	if n != len(response) || weights != nil && len(weights) != n {
		return nil, fmt.Errorf("%w: %d rows, %d responses, %d weights", ErrLengths, n, len(response), len(weights))
	}
	if n == 0 || len(design[0]) == 0 || n < len(design[0]) {
		return nil, fmt.Errorf("%w: %d observations", ErrTooFew, n)
	}
	p := len(design[0])
	s := &Solution{N: n, DF: n - p, Weights: make([]float64, n), Fitted: make([]float64, n), Leverage: make([]float64, n)}
	if err := s.weigh(weights); err != nil {
		return nil, err
	}
	for i, row := range design {
		if len(row) != p {
			return nil, fmt.Errorf("%w: row %d has %d columns, not %d", ErrLengths, i+1, len(row), p)
		}
		if !finite(append([]float64{response[i]}, row...)...) {
			return nil, fmt.Errorf("observation %d: %w", i+1, ErrNotFinite)
		}
	}
	if err := s.solve(design, response); err != nil {
		return nil, err
	}
	s.judge(response, constant)
	for _, row := range append(s.root, s.Coefficients, []float64{s.RSS}) {
		if !finite(row...) {
			return nil, fmt.Errorf("coefficients: %w", ErrNotFinite)
		}
	}
	return s, nil
}

// weigh scales the weights to mean 1.
func (s *Solution) weigh(weights []float64) error {
	if weights == nil {
		for i := range s.Weights {
			s.Weights[i] = 1
		}
		return nil
	}
	about := mean(weights)
	for i, w := range weights {
		s.Weights[i] = w / about
		if !(w > 0) || !finite(s.Weights[i]) {
			return fmt.Errorf("%w: weight %v of observation %d", ErrNoWeight, w, i+1)
		}
	}
	return nil
}

func (s *Solution) solve(design [][]float64, response []float64) error {
	p := s.N - s.DF
	scale := make([]float64, p)
	for j := range scale {
		column := make([]float64, s.N)
		for i := range design {
			column[i] = math.Sqrt(s.Weights[i]) * design[i][j]
		}
		scale[j] = powerOfTwoAbove(column)
	}
	a := mat.NewDense(s.N, p, nil)
	b := mat.NewVecDense(s.N, nil)
	for i, row := range design {
		root := math.Sqrt(s.Weights[i])
		b.SetVec(i, root*response[i])
		for j, v := range row {
			a.Set(i, j, root*v/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	x, residual, err := refined(&qr, a, b)
	if err != nil {
		return err
	}
	for i := range s.N {
		s.RSS += residual.AtVec(i) * residual.AtVec(i)
		s.Fitted[i] = response[i] - residual.AtVec(i)/math.Sqrt(s.Weights[i])
	}
	s.ResidualSD = math.NaN()
	if s.DF > 0 {
		s.ResidualSD = math.Sqrt(s.RSS / float64(s.DF))
	}
	return s.spread(&qr, a, x, scale)
}

// refined solves min |b - a x| by the decomposition and two steps of refinement.
func refined(qr *mat.QR, a *mat.Dense, b *mat.VecDense) (x, residual *mat.VecDense, err error) {
	n, p := a.Dims()
	if condition := qr.Cond(); !(condition < 1/epsilon) {
		return nil, nil, fmt.Errorf("%w: condition number %.1g", ErrSingular, condition)
	}
	x, residual = mat.NewVecDense(p, nil), mat.NewVecDense(n, nil)
	const steps = 3 // the first is the solution itself
	for range steps {
		f, g := mat.NewVecDense(n, nil), mat.NewVecDense(p, nil)
		for i := range n {
			var sum doubled
			sum.add(b.AtVec(i))
			sum.add(-residual.AtVec(i))
			for j := range p {
				sum.addProduct(-a.At(i, j), x.AtVec(j))
			}
			f.SetVec(i, sum.value())
		}
		for j := range p {
			var sum doubled
			for i := range n {
				sum.addProduct(-a.At(i, j), residual.AtVec(i))
			}
			g.SetVec(j, sum.value())
		}
		var along, dx, moved mat.VecDense
		if err := qr.SolveVecTo(&along, true, g); err != nil {
			return nil, nil, fmt.Errorf("%w (%w)", ErrSingular, err)
		}
		moved.SubVec(f, &along)
		if err := qr.SolveVecTo(&dx, false, &moved); err != nil {
			return nil, nil, fmt.Errorf("%w (%w)", ErrSingular, err)
		}
		var step mat.VecDense
		step.MulVec(a, &dx)
		step.SubVec(f, &step)
		x.AddVec(x, &dx)
		residual.AddVec(residual, &step)
	}
	return x, residual, nil
}

// spread gives coefficients, covariance and leverages in the units of the design.
func (s *Solution) spread(qr *mat.QR, a *mat.Dense, x *mat.VecDense, scale []float64) error {
	p := len(scale)
	var r mat.Dense
	qr.RTo(&r)
	triangle := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			triangle.SetTri(i, j, r.At(i, j))
		}
	}
	var inverse mat.TriDense
	if err := inverse.InverseTri(triangle); err != nil {
		return fmt.Errorf("%w (%w)", ErrSingular, err)
	}
	s.Coefficients = make([]float64, p)
	s.root = make([][]float64, p)
	for j := range p {
		s.Coefficients[j] = x.AtVec(j) / scale[j]
		s.root[j] = make([]float64, p)
		for k := j; k < p; k++ {
			s.root[j][k] = inverse.At(j, k) / scale[j]
		}
	}
	for i := range s.N {
		for k := range p {
			var v float64
			for j := range k + 1 {
				v += a.At(i, j) * inverse.At(j, k)
			}
			s.Leverage[i] += v * v
		}
	}
	s.StandardErrors, s.Covariance = errorsOf(s.root, s.ResidualSD)
	return nil
}

// errorsOf gives standard errors and covariance sd² · root · rootᵀ.
func errorsOf(root [][]float64, sd float64) (standardErrors []float64, covariance [][]float64) {
	p := len(root)
	standardErrors, covariance = make([]float64, p), make([][]float64, p)
	for i := range p {
		covariance[i] = make([]float64, p)
		for j := range p {
			covariance[i][j] = sd * sd * dot(root[i], root[j])
		}
		standardErrors[i] = sd * math.Sqrt(dot(root[i], root[i]))
	}
	return standardErrors, covariance
}

// judge gives r² and its adjusted form.
func (s *Solution) judge(response []float64, constant bool) {
	about, counted := 0.0, s.N
	if constant {
		var sum doubled
		for i, y := range response {
			sum.addProduct(s.Weights[i], y)
		}
		about, counted = sum.value()/float64(s.N), s.N-1
	}
	var tss float64
	for i, y := range response {
		tss += s.Weights[i] * (y - about) * (y - about)
	}
	s.RSquared, s.AdjustedRSquared = math.NaN(), math.NaN()
	if tss > 0 {
		s.RSquared = 1 - s.RSS/tss
	}
	if s.DF > 0 {
		s.AdjustedRSquared = 1 - (1-s.RSquared)*float64(counted)/float64(s.DF)
	}
}
