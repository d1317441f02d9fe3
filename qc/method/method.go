// Package method holds the method document: what an analytical method measures, how
// responses become amounts, which quality control must pass, how results are
// reported and who may release them. A method is a versioned YAML document; its
// numbers are the laboratory's own validated figures.
package method

import "time"

// Method is one version of a method document.
type Method struct {
	Kind    string `yaml:"kind" json:"kind"` // always "method"
	Name    string `yaml:"name" json:"name"`
	Version string `yaml:"version" json:"version"`
	Title   string `yaml:"title" json:"title"`
	// Citation names the published or in-house procedure behind the method.
	Citation      string    `yaml:"citation,omitempty" json:"citation,omitempty"`
	ApprovedBy    string    `yaml:"approved_by" json:"approved_by"`
	EffectiveFrom time.Time `yaml:"effective_from" json:"effective_from"`
	// Invented marks demo methods: their limits and acceptance criteria are examples.
	Invented bool `yaml:"invented,omitempty" json:"invented,omitempty"`

	Input            Input             `yaml:"input" json:"input"`
	Release          Release           `yaml:"release" json:"release"`
	InternalStandard *InternalStandard `yaml:"internal_standard,omitempty" json:"internal_standard,omitempty"`
	Analytes         []Analyte         `yaml:"analytes" json:"analytes"`
	Rules            []Rule            `yaml:"rules" json:"rules"`
	Notices          []Notice          `yaml:"notices,omitempty" json:"notices,omitempty"`
	// Integration settings hold for every chromatogram of the method, standards, QC and samples alike.
	Integration *Integration `yaml:"integration,omitempty" json:"integration,omitempty"`
	// Uncertainty of the results of all analytes that have no statement of their own; absent: none is given.
	Uncertainty *Uncertainty `yaml:"uncertainty,omitempty" json:"uncertainty,omitempty"`
	// Features are whole spectra on fixed grids for the feature table; no result is computed from them.
	Features []Feature `yaml:"features,omitempty" json:"features,omitempty"`
}

// Input says which exports the method reads.
type Input struct {
	Format  string `yaml:"format" json:"format"`                       // "delimited", "jcamp-dx" or "mzml"
	Profile string `yaml:"profile,omitempty" json:"profile,omitempty"` // delimited only
}

// Release says who may release results: named persons, or a standing authorisation
// signed for this very version of the method. Exactly one of the two is set.
type Release struct {
	Persons  []string  `yaml:"persons,omitempty" json:"persons,omitempty"`
	Standing *Standing `yaml:"standing,omitempty" json:"standing,omitempty"`
}

// Standing is a signed standing authorisation: what is covered is released without a further signature.
type Standing struct {
	AuthorisedBy string    `yaml:"authorised_by" json:"authorised_by"`
	SignedOn     time.Time `yaml:"signed_on" json:"signed_on"`
	Statement    string    `yaml:"statement" json:"statement"`
}

// InternalStandard is a substance added in the same amount to every solution; responses
// are then ratios to its response.
type InternalStandard struct {
	Name   string  `yaml:"name" json:"name"`
	CAS    string  `yaml:"cas,omitempty" json:"cas,omitempty"`
	Source Source  `yaml:"source" json:"source"`
	Amount float64 `yaml:"amount" json:"amount"`
	Unit   string  `yaml:"unit" json:"unit"`
}

// Analyte is one measured quantity.
type Analyte struct {
	Name string `yaml:"name" json:"name"`
	CAS  string `yaml:"cas,omitempty" json:"cas,omitempty"`
	// Unit is the unit of amounts, LOD, LOQ and range: as in the undiluted sample.
	Unit string `yaml:"unit" json:"unit"`
	// Quantity marks results that other methods use; "strength" is alcoholic strength by volume at 20 °C.
	Quantity string `yaml:"quantity,omitempty" json:"quantity,omitempty"`
	// StrengthKind of a strength: "real", "apparent" or "apparent, extract-corrected". A strength
	// from density is apparent unless it is given.
	StrengthKind string      `yaml:"strength_kind,omitempty" json:"strength_kind,omitempty"`
	Source       Source      `yaml:"source" json:"source"`
	Calibration  Calibration `yaml:"calibration" json:"calibration"`
	LOD          *float64    `yaml:"lod,omitempty" json:"lod,omitempty"`
	LOQ          *float64    `yaml:"loq,omitempty" json:"loq,omitempty"`
	Report       Report      `yaml:"report" json:"report"`
	// Uncertainty takes the place of the method's.
	Uncertainty *Uncertainty `yaml:"uncertainty,omitempty" json:"uncertainty,omitempty"`
}

// Source says where an analyte's response comes from. Exactly one field is set.
type Source struct {
	Table        *TableSource        `yaml:"table,omitempty" json:"table,omitempty"`
	Spectrum     *SpectrumSource     `yaml:"spectrum,omitempty" json:"spectrum,omitempty"`
	Chromatogram *ChromatogramSource `yaml:"chromatogram,omitempty" json:"chromatogram,omitempty"`
	Density      *DensitySource      `yaml:"strength_from_density,omitempty" json:"strength_from_density,omitempty"`
}

// TableSource takes a value from an exported table. A long table has one row per
// analyte: Match lists the names (or CAS numbers) that the export uses. In a wide
// table (Match empty) the column alone is the analyte.
type TableSource struct {
	Match []string `yaml:"match,omitempty" json:"match,omitempty"`
	// Value is the column's meaning in the profile, such as "area" or "strength".
	Value string `yaml:"value" json:"value"`
	// Replicates says that several rows that match, or several columns of the meaning, are
	// readings of one acquisition: their mean is the response. Otherwise they are a fault.
	Replicates bool `yaml:"replicates,omitempty" json:"replicates,omitempty"`
	// ReplicateRSD is the relative standard deviation of replicates in percent above which a finding says so.
	ReplicateRSD *float64 `yaml:"replicate_rsd_percent,omitempty" json:"replicate_rsd_percent,omitempty"`
}

// DensitySource computes alcoholic strength in % vol at 20 °C from a density and the
// temperature of its measurement, by the general formula of OIML R 22 for mixtures of
// ethanol and water. Both are columns, by meaning, of a table with one row.
type DensitySource struct {
	Density     string `yaml:"density" json:"density"`
	Temperature string `yaml:"temperature" json:"temperature"`
}

// SpectrumSource takes a figure from a spectrum. Without a Kind it is the ordinate at a position by linear
// interpolation between the neighbouring points, less the ordinate at Baseline where given.
type SpectrumSource struct {
	Kind     string   `yaml:"kind,omitempty" json:"kind,omitempty"`
	At       float64  `yaml:"at,omitempty" json:"at,omitempty"`
	Unit     string   `yaml:"unit" json:"unit"` // of positions, "nm" or "cm-1"
	Baseline *float64 `yaml:"baseline,omitempty" json:"baseline,omitempty"`
	// Ordinate that is asked for: "absorbance" or "transmittance". Another one in the file is
	// refused, unless Convert allows to compute one of the two from the other.
	Ordinate string `yaml:"ordinate" json:"ordinate"`
	Convert  bool   `yaml:"convert,omitempty" json:"convert,omitempty"`

	// band height, band area: the ends of the local baseline.
	From *float64 `yaml:"from,omitempty" json:"from,omitempty"`
	To   *float64 `yaml:"to,omitempty" json:"to,omitempty"`
	// ratio: the band divided and the band that divides.
	Of *Band `yaml:"of,omitempty" json:"of,omitempty"`
	By *Band `yaml:"by,omitempty" json:"by,omitempty"`
	// derivative.
	Derivative *Derivative `yaml:"derivative,omitempty" json:"derivative,omitempty"`
	// colour: "L*", "a*" or "b*".
	Component string `yaml:"component,omitempty" json:"component,omitempty"`
}

// ChromatogramSource takes a peak from a chromatogram, identified by retention time.
type ChromatogramSource struct {
	Trace Trace `yaml:"trace" json:"trace"`
	// Retention in minutes, or RelativeRetention, the quotient of the peak's retention
	// time and that of the internal standard in the same acquisition: one of the two is set.
	Retention         float64  `yaml:"retention,omitempty" json:"retention,omitempty"`
	RelativeRetention *float64 `yaml:"relative_retention,omitempty" json:"relative_retention,omitempty"`
	Window            float64  `yaml:"window" json:"window"`     // minutes either side
	Response          string   `yaml:"response" json:"response"` // "area" or "height"
	// Integration departs from the method's settings for this peak.
	Integration *PeakIntegration `yaml:"integration,omitempty" json:"integration,omitempty"`
	// Qualifier is a second trace that must show the same substance.
	Qualifier *Qualifier `yaml:"qualifier,omitempty" json:"qualifier,omitempty"`
}

// Trace selects a chromatogram of an acquisition, every given field must agree; or, with
// Extract, asks for one to be made of the acquisition's spectra.
type Trace struct {
	ID         string   `yaml:"id,omitempty" json:"id,omitempty"`
	Kind       string   `yaml:"kind,omitempty" json:"kind,omitempty"`
	Wavelength *float64 `yaml:"wavelength,omitempty" json:"wavelength,omitempty"` // nm
	Precursor  *float64 `yaml:"precursor,omitempty" json:"precursor,omitempty"`   // m/z
	Product    *float64 `yaml:"product,omitempty" json:"product,omitempty"`       // m/z

	// Extract is what is taken of each spectrum: "total ion", "base peak", "ion" or "wavelength".
	Extract   string   `yaml:"extract,omitempty" json:"extract,omitempty"`
	MZ        *float64 `yaml:"mz,omitempty" json:"mz,omitempty"`               // ion: centre of the window
	Tolerance string   `yaml:"tolerance,omitempty" json:"tolerance,omitempty"` // ion: either side, "10 ppm" or "0.01 Da"
	Bandwidth *float64 `yaml:"bandwidth,omitempty" json:"bandwidth,omitempty"` // wavelength: nm, the whole band around Wavelength
	MSLevel   int      `yaml:"ms_level,omitempty" json:"ms_level,omitempty"`   // of mass spectra; 0 is all
	Polarity  string   `yaml:"polarity,omitempty" json:"polarity,omitempty"`   // of mass spectra; "positive" or "negative"
}

// Integration are the settings of peak finding.
type Integration struct {
	// Threshold is the least signal to noise of a peak (2H/h of the pharmacopoeias).
	Threshold float64 `yaml:"threshold" json:"threshold"`
	// MinWidth is the least full width at half height that counts as a peak, in minutes.
	MinWidth float64 `yaml:"min_width" json:"min_width"`
	// Smoothing is the odd number of points of a quadratic Savitzky-Golay filter used for finding
	// peaks (areas come from the unsmoothed signal); 0 or 1 is none.
	Smoothing int `yaml:"smoothing,omitempty" json:"smoothing,omitempty"`
	// MaxWidth is the largest full width at half height of a peak, in minutes; absent: none.
	MaxWidth *float64 `yaml:"max_width,omitempty" json:"max_width,omitempty"`
	// Baseline is what peaks stand on; absent: BaselineShapes.
	Baseline string `yaml:"baseline,omitempty" json:"baseline,omitempty"`
	// Lines are the set times of BaselineSet.
	Lines []Span `yaml:"lines,omitempty" json:"lines,omitempty"`
	// SkimRatio is how many times taller than its rider a peak is at least for BaselineSkim to skim the rider.
	SkimRatio *float64 `yaml:"skim_ratio,omitempty" json:"skim_ratio,omitempty"`
	// Shoulders asks for bulges in a flank to be measured as peaks of their own.
	Shoulders bool `yaml:"shoulders,omitempty" json:"shoulders,omitempty"`
	// Noise is the stretch from which the noise is estimated; absent: the whole chromatogram.
	Noise *Span `yaml:"noise,omitempty" json:"noise,omitempty"`
}

// Calibration models.
const (
	ModelNone          = "none"                    // the instrument's value is the amount, times Factor
	ModelAverageFactor = "average response factor" // response = mean(response/amount) * amount
	ModelStraightLine  = "straight line"           // response = intercept + slope * amount
	ModelThroughOrigin = "line through the origin" // response = slope * amount
	ModelQuadratic     = "quadratic"               // response = a + b * amount + c * amount²
	ModelPointToPoint  = "point to point"          // straight segments between the means of neighbouring levels
)

// Weightings of the points of a fit; x is the amount, y the response and s the standard
// deviation of the replicate calibrants of a level.
const (
	WeightNone       = "none"
	WeightInverseX   = "1/x"
	WeightInverseXSq = "1/x²"
	WeightInverseY   = "1/y"
	WeightInverseS2  = "1/s²"
)

// Models gives the calibration models that a method can ask for.
func Models() []string {
	return []string{ModelNone, ModelAverageFactor, ModelStraightLine, ModelThroughOrigin, ModelQuadratic, ModelPointToPoint}
}

// Weightings gives the weightings that a method can ask for.
func Weightings() []string {
	return []string{WeightNone, WeightInverseX, WeightInverseXSq, WeightInverseY, WeightInverseS2}
}

// Calibration says how responses become amounts.
type Calibration struct {
	Model string `yaml:"model" json:"model"`
	// Weighting of a fitted line or quadratic; none when absent.
	Weighting string `yaml:"weighting,omitempty" json:"weighting,omitempty"`
	// Factor multiplies the instrument's value when Model is none; 1 when absent.
	Factor *float64 `yaml:"factor,omitempty" json:"factor,omitempty"`
	// RangeLow and RangeHigh are the validated working range of the measured solution, before
	// dilution, in the analyte's unit. Absent: the lowest and highest calibrant, which a curved
	// function never leaves.
	RangeLow  *float64 `yaml:"range_low,omitempty" json:"range_low,omitempty"`
	RangeHigh *float64 `yaml:"range_high,omitempty" json:"range_high,omitempty"`
}

// Report says how a result is given.
type Report struct {
	Unit string `yaml:"unit" json:"unit"`
	// Digits: exactly one of the two. Rounding is to nearest, ties to even, on the decimal value.
	Decimals    *int `yaml:"decimals,omitempty" json:"decimals,omitempty"`
	Significant *int `yaml:"significant,omitempty" json:"significant,omitempty"`
	// PerAlcohol asks for a second result in g/hL of pure alcohol, from the sample's strength.
	PerAlcohol *PerAlcohol `yaml:"per_alcohol,omitempty" json:"per_alcohol,omitempty"`
}

// PerAlcohol reports per hectolitre of pure alcohol.
type PerAlcohol struct {
	Unit        string `yaml:"unit" json:"unit"` // "g/hL p.a."
	Decimals    *int   `yaml:"decimals,omitempty" json:"decimals,omitempty"`
	Significant *int   `yaml:"significant,omitempty" json:"significant,omitempty"`
}

// Rule kinds.
const (
	RuleCalibration      = "calibration acceptance"
	RuleMethodBlank      = "method blank"
	RuleDuplicate        = "duplicate precision"
	RuleCheckStandard    = "check standard recovery"
	RuleRange            = "working range"
	RuleInternalStandard = "internal standard response"
	// Always in force, without an entry in the method:
	RuleStandardValidity = "standard validity"
	RuleRegistered       = "sample registered"
	RuleIdentity         = "identity of acquisition"
	RuleStrength         = "strength available"
	RuleMeasured         = "analyte measured"
)

// Scopes.
const (
	ScopePreparation = "preparation batch"
	ScopeRun         = "run"
	ScopeCalibration = "calibration"
	ScopeSample      = "sample"
)

// Rule is one QC rule of a method with its limits and where these come from.
type Rule struct {
	Rule     string   `yaml:"rule" json:"rule"`
	Analytes []string `yaml:"analytes,omitempty" json:"analytes,omitempty"` // empty: all
	Scope    string   `yaml:"scope,omitempty" json:"scope,omitempty"`       // default: the rule's own
	Source   string   `yaml:"source" json:"source"`                         // citation of the limits

	// calibration acceptance
	MinLevels     int      `yaml:"min_levels,omitempty" json:"min_levels,omitempty"`
	MinR2         *float64 `yaml:"min_r2,omitempty" json:"min_r2,omitempty"`
	BackCalc      *float64 `yaml:"back_calculated_percent,omitempty" json:"back_calculated_percent,omitempty"`               // largest deviation
	BackCalcFirst *float64 `yaml:"back_calculated_lowest_percent,omitempty" json:"back_calculated_lowest_percent,omitempty"` // at the lowest level
	// MaxRSE is the largest relative standard error of the back-calculated amounts.
	MaxRSE *float64 `yaml:"max_rse_percent,omitempty" json:"max_rse_percent,omitempty"`
	// MaxIntercept is the largest intercept, as a share of the mean response at the lowest level above zero.
	MaxIntercept *float64 `yaml:"max_intercept_percent_of_lowest,omitempty" json:"max_intercept_percent_of_lowest,omitempty"`

	// method blank: the blank's amount may not exceed this multiple of the LOQ (nor fall below its negative)
	LOQFraction *float64 `yaml:"loq_fraction,omitempty" json:"loq_fraction,omitempty"`

	// duplicate precision: Statistic is "RSD" or "relative percent difference"
	Statistic string `yaml:"statistic,omitempty" json:"statistic,omitempty"`
	// check standard recovery, internal standard response: percent. duplicate precision uses High.
	Low  *float64 `yaml:"low,omitempty" json:"low,omitempty"`
	High *float64 `yaml:"high,omitempty" json:"high,omitempty"`
	// Brackets: "both sides" (default: both neighbouring check standards must pass) or "opening only".
	Brackets string `yaml:"brackets,omitempty" json:"brackets,omitempty"`
	// Covers of duplicate precision: "preparation batch" (default) or "parent".
	Covers string `yaml:"covers,omitempty" json:"covers,omitempty"`
}

// Notice is a legal or label limit that informs and never releases or holds.
type Notice struct {
	Analyte    string   `yaml:"analyte" json:"analyte"`
	Basis      string   `yaml:"basis" json:"basis"`           // "as is" or "per hL of pure alcohol"
	Categories []string `yaml:"categories" json:"categories"` // register categories it applies to
	High       float64  `yaml:"high" json:"high"`
	Unit       string   `yaml:"unit" json:"unit"`
	Act        string   `yaml:"act" json:"act"` // the act and clause
	Toxic      bool     `yaml:"toxic,omitempty" json:"toxic,omitempty"`
	Caution    string   `yaml:"caution,omitempty" json:"caution,omitempty"`
}
