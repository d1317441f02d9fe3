package method

// Treatments of a spectrum on a grid.
const (
	TreatmentVariate    = "standard normal variate"
	TreatmentArea       = "area normalisation"
	TreatmentDerivative = "derivative"
)

// Interpolations between the points of a spectrum.
const (
	InterpolationLinear   = "linear"
	InterpolationMonotone = "monotone"
)

// Feature asks for a whole spectrum on a fixed grid: from From to To in steps of Step.
type Feature struct {
	Name     string  `yaml:"name" json:"name"`
	Unit     string  `yaml:"unit" json:"unit"` // of the grid, "nm" or "cm-1"
	Ordinate string  `yaml:"ordinate" json:"ordinate"`
	Convert  bool    `yaml:"convert,omitempty" json:"convert,omitempty"` // as of SpectrumSource
	From     float64 `yaml:"from" json:"from"`
	To       float64 `yaml:"to" json:"to"`
	Step     float64 `yaml:"step" json:"step"`
	// Interpolation is "linear" or "monotone"; absent: linear.
	Interpolation string `yaml:"interpolation,omitempty" json:"interpolation,omitempty"`
	// Treatment of the resampled spectrum; absent: none.
	Treatment  string      `yaml:"treatment,omitempty" json:"treatment,omitempty"`
	Derivative *Derivative `yaml:"derivative,omitempty" json:"derivative,omitempty"`
}

// maxGrid bounds the positions of a grid.
const maxGrid = 100_000

// Grid gives the positions. A last step that ends within a millionth of a step of To ends there.
func (f Feature) Grid() []float64 {
	const slack = 1e-6
	if !(f.Step > 0 && f.To > f.From && f.From > 0) || !((f.To-f.From)/f.Step < maxGrid) {
		return nil
	}
	grid := make([]float64, 0, int((f.To-f.From)/f.Step+slack)+1)
	for i := range cap(grid) {
		grid = append(grid, min(f.From+float64(i)*f.Step, f.To))
	}
	return grid
}
