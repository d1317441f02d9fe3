package method

import (
	"fmt"
	"strconv"
	"strings"
)

// Kinds of figures of a spectrum. Without a kind it is the ordinate at a position.
const (
	// SpectrumBandHeight is the ordinate at a position over the line between those at From and To.
	SpectrumBandHeight = "band height"
	// SpectrumBandArea is the area over the line between the ordinates at From and To.
	SpectrumBandArea = "band area"
	// SpectrumRatio is the quotient of two ordinates or bands.
	SpectrumRatio = "ratio"
	// SpectrumDerivative is the first or second derivative at a position.
	SpectrumDerivative = "derivative"
	// SpectrumColour is one of the CIE 1976 coordinates L*, a*, b* for D65 and the 10° observer.
	SpectrumColour = "colour"
	// SpectrumPhenolicIndex is the total phenolic index: the absorbance at 280 nm over 1 cm. The
	// worklist's dilution multiplies it as it does every amount, and nothing else does.
	SpectrumPhenolicIndex = "total phenolic index"
)

// PhenolicWavelength is where the total phenolic index is read, in nm.
const PhenolicWavelength = 280.0

// Ordinates of a spectrum.
const (
	OrdinateAbsorbance    = "absorbance"
	OrdinateTransmittance = "transmittance"
)

// Components of a colour.
const (
	ComponentL = "L*"
	ComponentA = "a*"
	ComponentB = "b*"
)

// Band is the ordinate At a position; with From and To as well, the height of the band
// there over its local baseline; with From and To alone, the band's area.
type Band struct {
	At   *float64 `yaml:"at,omitempty" json:"at,omitempty"`
	From *float64 `yaml:"from,omitempty" json:"from,omitempty"`
	To   *float64 `yaml:"to,omitempty" json:"to,omitempty"`
}

// Derivative is a Savitzky-Golay derivative of a spectrum with even steps, per unit of
// the abscissa to the power of Order.
type Derivative struct {
	Order  int `yaml:"order" json:"order"`   // 1 or 2
	Points int `yaml:"points" json:"points"` // odd
	Degree int `yaml:"degree" json:"degree"` // of the polynomial
}

// What Trace.Extract takes of each spectrum.
const (
	ExtractTotalIon   = "total ion"
	ExtractBasePeak   = "base peak"
	ExtractIon        = "ion"
	ExtractWavelength = "wavelength"
)

// Qualifier identifies a peak by a second trace, such as a second product ion: there the response
// within the same retention window must stand to that of the peak itself as Ratio, within a tolerance.
type Qualifier struct {
	Trace Trace `yaml:"trace" json:"trace"`
	// Ratio is the qualifier's response over that of the peak.
	Ratio float64 `yaml:"ratio" json:"ratio"`
	// Tolerance in percent of Ratio, either side.
	Tolerance float64 `yaml:"tolerance_percent" json:"tolerance_percent"`
}

// What peaks stand on; package signal defines each.
const (
	BaselineShapes = "fitted shapes"
	BaselineDrop   = "perpendicular drop"
	BaselineValley = "valley to valley"
	BaselineSkim   = "tangent skim"
	BaselineSet    = "linear between set times"
)

// Span is a stretch of time in minutes.
type Span struct {
	From float64 `yaml:"from" json:"from"`
	To   float64 `yaml:"to" json:"to"`
}

// PeakIntegration departs from the method's integration settings for one analyte, in
// standards, QC and samples alike. What is absent is the method's.
type PeakIntegration struct {
	Baseline string   `yaml:"baseline,omitempty" json:"baseline,omitempty"`
	Lines    []Span   `yaml:"lines,omitempty" json:"lines,omitempty"`
	MinWidth *float64 `yaml:"min_width,omitempty" json:"min_width,omitempty"`
	MaxWidth *float64 `yaml:"max_width,omitempty" json:"max_width,omitempty"`
	// Start and End are fixed limits in minutes, between which is integrated instead of
	// seeking peaks. A stretch of less than the least signal to noise is no peak.
	Start *float64 `yaml:"start,omitempty" json:"start,omitempty"`
	End   *float64 `yaml:"end,omitempty" json:"end,omitempty"`
}

// With gives the settings with the departures of one analyte; nil are none.
func (in Integration) With(p *PeakIntegration) Integration {
	if p == nil {
		return in
	}
	if p.Baseline != "" {
		in.Baseline, in.Lines = p.Baseline, p.Lines
	}
	if p.MinWidth != nil {
		in.MinWidth = *p.MinWidth
	}
	if p.MaxWidth != nil {
		in.MaxWidth = p.MaxWidth
	}
	return in
}

// Units of a mass tolerance.
const (
	partsPerMillion = "ppm"
	daltons         = "Da"
)

// ParseTolerance reads the tolerance of an extracted ion: "10 ppm" or "0.01 Da".
func ParseTolerance(text string) (value float64, ppm bool, err error) {
	number, unit, _ := strings.Cut(text, " ")
	value, err = strconv.ParseFloat(number, 64)
	if err != nil || !(value > 0 && value < 1e6) || unit != partsPerMillion && unit != daltons {
		return 0, false, fmt.Errorf("mass tolerance %q: want a number above zero with ppm or Da, such as 10 ppm", text)
	}
	return value, unit == partsPerMillion, nil
}
