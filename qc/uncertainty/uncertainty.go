// Package uncertainty combines standard uncertainties by the Guide to the Expression
// of Uncertainty in Measurement (JCGM 100:2008, GUM) for input quantities that do not
// depend on each other.
package uncertainty

import (
	"errors"
	"fmt"
	"math"
)

// Reasons why there is no uncertainty.
var (
	// ErrNotFinite: a value, an uncertainty or the result of the model is NaN or infinite.
	ErrNotFinite = errors.New("not a finite number")
	// ErrNegative: an uncertainty, a half width or a coverage factor is below zero.
	ErrNegative = errors.New("below zero")
	// ErrZero: a quantity or divisor is zero, so that a relative uncertainty has no meaning.
	ErrZero = errors.New("zero")
	// ErrLengths: values and sensitivities differ in number.
	ErrLengths = errors.New("inputs and sensitivities differ in number")
)

// Quantity is an estimate with its standard uncertainty, both in the same unit.
type Quantity struct {
	Name     string
	Value    float64
	Standard float64
	// DF are the degrees of freedom of Standard; 0 for one that is known well.
	DF int
}

func (q Quantity) check() error {
	if !finite(q.Value, q.Standard) {
		return fmt.Errorf("%s: value %v, standard uncertainty %v: %w", q.Name, q.Value, q.Standard, ErrNotFinite)
	}
	if q.Standard < 0 {
		return fmt.Errorf("%s: standard uncertainty %v: %w", q.Name, q.Standard, ErrNegative)
	}
	return nil
}

// Contribution is what one input adds to the combined uncertainty.
type Contribution struct {
	Name        string
	Sensitivity float64 // c = ∂y/∂x, output unit per input unit
	Standard    float64 // |c|·u(x), in the output unit
}

// Budget is a result with its combined standard uncertainty and where it comes from.
type Budget struct {
	Value         float64
	Standard      float64 // u_c
	Contributions []Contribution
	// DF are the effective degrees of freedom by Welch and Satterthwaite (GUM G.4), +Inf
	// when all inputs are known well.
	DF float64
}

// Relative gives u_c/|y|. Error: ErrZero.
func (b *Budget) Relative() (float64, error) {
	if b.Value == 0 {
		return 0, fmt.Errorf("relative uncertainty: the value is %w", ErrZero)
	}
	return b.Standard / math.Abs(b.Value), nil
}

// Expanded is an expanded uncertainty; a result states its coverage factor with it.
type Expanded struct {
	Uncertainty    float64 // U = k·u_c
	CoverageFactor float64
}

// Expand multiplies by the coverage factor: 2 for about 95 % when many degrees of
// freedom stand behind the uncertainty (GUM 6.3). Errors: ErrNegative, ErrNotFinite.
func (b *Budget) Expand(k float64) (Expanded, error) {
	if !finite(k) {
		return Expanded{}, fmt.Errorf("coverage factor %v: %w", k, ErrNotFinite)
	}
	if !(k > 0) {
		return Expanded{}, fmt.Errorf("coverage factor %v: %w or zero", k, ErrNegative)
	}
	return Expanded{k * b.Standard, k}, nil
}

// Combine propagates uncertainties through a model y = f(x1, x2, …), with the
// sensitivities found numerically: each input is moved by its standard uncertainty to
// both sides, c·u = (f(x + u) - f(x - u))/2. GUM 5.1.3, note 2; the spreadsheet method of
// Kragten (Analyst 119 (1994) 2161) with both differences in place of one.
//
// Errors: ErrNotFinite, ErrNegative.
func Combine(model func(x []float64) float64, inputs []Quantity) (*Budget, error) {
	x := make([]float64, len(inputs))
	for i, q := range inputs {
		if err := q.check(); err != nil {
			return nil, fmt.Errorf("combine uncertainties: %w", err)
		}
		x[i] = q.Value
	}
	value, sensitivities := model(x), make([]float64, len(inputs))
	for i, q := range inputs {
		if q.Standard == 0 {
			continue
		}
		x[i] = q.Value + q.Standard
		above := model(x)
		x[i] = q.Value - q.Standard
		below := model(x)
		x[i] = q.Value
		sensitivities[i] = (above - below) / (2 * q.Standard)
	}
	return CombineLinear(value, inputs, sensitivities)
}

// CombineLinear propagates uncertainties with known sensitivities c = ∂y/∂x:
// u_c² = Σ (c·u)², the law of propagation for independent inputs (GUM 5.1.2).
//
// Errors: ErrLengths, ErrNotFinite, ErrNegative.
func CombineLinear(value float64, inputs []Quantity, sensitivities []float64) (*Budget, error) {
	if len(inputs) != len(sensitivities) {
		return nil, fmt.Errorf("combine uncertainties: %w: %d and %d", ErrLengths, len(inputs), len(sensitivities))
	}
	b := &Budget{Value: value, DF: math.Inf(1)}
	var fourth float64
	for i, q := range inputs {
		if err := q.check(); err != nil {
			return nil, fmt.Errorf("combine uncertainties: %w", err)
		}
		part := math.Abs(sensitivities[i]) * q.Standard
		b.Contributions = append(b.Contributions, Contribution{q.Name, sensitivities[i], part})
		b.Standard = math.Hypot(b.Standard, part)
		if q.DF > 0 {
			fourth += math.Pow(part, 4) / float64(q.DF)
		}
	}
	if !finite(b.Value, b.Standard) {
		return nil, fmt.Errorf("combine uncertainties: value %v, uncertainty %v: %w", b.Value, b.Standard, ErrNotFinite)
	}
	if fourth > 0 {
		b.DF = math.Pow(b.Standard, 4) / fourth
	}
	return b, nil
}

// Factor is an input of a product with its exponent: -1 for a divisor, 0.5 for a root.
type Factor struct {
	Quantity
	Exponent float64
}

// Product combines y = Π x^e, for which the relative uncertainties add:
// (u_c/y)² = Σ (e·u/x)² (GUM 5.1.6).
//
// Errors: ErrZero, ErrNotFinite, ErrNegative.
func Product(factors ...Factor) (*Budget, error) {
	value := 1.0
	inputs, sensitivities := make([]Quantity, len(factors)), make([]float64, len(factors))
	for i, f := range factors {
		if f.Value == 0 {
			return nil, fmt.Errorf("combine a product: %s is %w", f.Name, ErrZero)
		}
		value *= math.Pow(f.Value, f.Exponent)
		inputs[i] = f.Quantity
	}
	for i, f := range factors {
		sensitivities[i] = f.Exponent * value / f.Value
	}
	return CombineLinear(value, inputs, sensitivities)
}

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
