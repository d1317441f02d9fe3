package method

// Uncertainty says how the combined standard uncertainty of a result comes about.
// Percentages are relative standard uncertainties, percent of the result.
type Uncertainty struct {
	Approach string `yaml:"approach" json:"approach"`
	// CoverageFactor is given with the uncertainty, for who expands it: 2 for about 95 %.
	CoverageFactor float64 `yaml:"coverage_factor" json:"coverage_factor"`
	// Source says where the figures come from, such as a validation report.
	Source string `yaml:"source" json:"source"`

	// Components: what the calibration adds is computed with each result.
	Repeatability *float64 `yaml:"repeatability_percent,omitempty" json:"repeatability_percent,omitempty"`
	// Dilution counts where the sample was diluted.
	Dilution *float64 `yaml:"dilution_percent,omitempty" json:"dilution_percent,omitempty"`
	// Standards is StandardsFromList or absent; StandardsPercent takes its place with a figure.
	Standards        string   `yaml:"standards,omitempty" json:"standards,omitempty"`
	StandardsPercent *float64 `yaml:"standards_percent,omitempty" json:"standards_percent,omitempty"`

	// Top-down.
	Reproducibility *float64 `yaml:"reproducibility_percent,omitempty" json:"reproducibility_percent,omitempty"` // within the laboratory
	Bias            *float64 `yaml:"bias_percent,omitempty" json:"bias_percent,omitempty"`
}

// Approaches to an uncertainty.
const (
	// ApproachComponents combines calibration, repeatability, dilution and standards by the law of
	// propagation of JCGM 100:2008 (GUM), section 5.1.
	ApproachComponents = "components"
	// ApproachTopDown combines within-laboratory reproducibility and bias,
	// u = sqrt(u(Rw)² + u(bias)²), as in Nordtest TR 537 and ISO 11352.
	ApproachTopDown = "top-down"
)

// StandardsFromList takes the largest relative standard uncertainty, expanded
// uncertainty by coverage factor by value, that the standards list gives for a
// standard of the calibration.
const StandardsFromList = "from list"

// UncertaintyOf gives the statement that holds for an analyte, nil when there is none.
func (m *Method) UncertaintyOf(a *Analyte) *Uncertainty {
	if a.Uncertainty != nil {
		return a.Uncertainty
	}
	return m.Uncertainty
}
