package qc

import (
	"underbond/parsers"
	"underbond/qc/method"
)

// Reduction is what remains of an acquisition's signals: everything that evaluation
// may need and nothing that needs a second look at the signal. It is computed once
// per acquisition revision and plan, and can be rebuilt at any time.
type Reduction struct {
	Engine string `json:"engine"`
	Plan   string `json:"plan"` // digest of the plan
	// Rows are the rows of an exported table, in file order.
	Rows []TableRow `json:"rows,omitempty"`
	// Points are the figures of spectra that the plan asks for.
	Points []SpectrumPoint `json:"points,omitempty"`
	// Grids are resampled spectra for the feature table; evaluation ignores them.
	Grids []Grid `json:"grids,omitempty"`
	// Traces are the chromatograms that the plan selects, with their peaks.
	Traces []Trace `json:"traces,omitempty"`
	// Problems are located reasons why part of the plan could not be met.
	Problems []parsers.Problem `json:"problems,omitempty"`
}

// TableRow is one row: the analyte's name and number as exported and the numeric columns by meaning.
type TableRow struct {
	Line      int         `json:"line"`
	Name      string      `json:"name,omitempty"`
	CAS       string      `json:"cas,omitempty"`
	Retention *float64    `json:"retention_min,omitempty"`
	Values    []CellValue `json:"values"`
}

// CellValue is one numeric cell. Value is nil when the cell holds no number; Mark says why.
type CellValue struct {
	Meaning string   `json:"meaning"`
	Unit    string   `json:"unit,omitempty"` // UCUM
	Text    string   `json:"text"`
	Value   *float64 `json:"value"`
	Mark    string   `json:"mark,omitempty"`
}

// SpectrumPoint is a figure of a spectrum, such as an interpolated ordinate, with what was asked for.
type SpectrumPoint struct {
	method.SpectrumSource
	Value  *float64 `json:"value"` // less the baseline ordinate where one is asked for; nil when not to be had
	Reason string   `json:"reason,omitempty"`
}

// Grid is a spectrum resampled on a fixed grid and treated as the method's feature of the
// name says.
type Grid struct {
	method.Feature
	// Values are at From, From + Step, …; one that is missing is nil. There are none when
	// the spectrum cannot be had.
	Values []*float64 `json:"values"`
	Reason string     `json:"reason,omitempty"`
}

// Trace is one chromatogram of the acquisition, or one extracted from its spectra, as
// integrated with the plan's settings or a departure from them.
type Trace struct {
	Index      int      `json:"index"`
	ID         string   `json:"id"`
	Kind       string   `json:"kind"`
	Wavelength *float64 `json:"wavelength_nm,omitempty"`
	Precursor  *float64 `json:"precursor_mz,omitempty"`
	Product    *float64 `json:"product_mz,omitempty"`
	// Extracted is what the method asked to extract; nil of a chromatogram of the acquisition.
	Extracted *method.Trace `json:"extracted,omitempty"`
	// Departure is how the integration departs from the method's settings.
	Departure *method.PeakIntegration `json:"integration,omitempty"`
	Points    int                     `json:"points"`
	FirstMin  *float64                `json:"first_min"`
	LastMin   *float64                `json:"last_min"`
	Noise     *float64                `json:"noise"` // robust estimate, in the signal's unit
	Peaks     []Peak                  `json:"peaks"`
}

// Peak is one integrated peak, with the limits and the baseline used. Times in minutes;
// area in signal unit times minutes. Figures of shape that cannot be had, because a
// neighbour or the noise hides them, are nil; signal.Peak defines all of them.
type Peak struct {
	Apex          float64 `json:"apex_min"`
	Start         float64 `json:"start_min"`
	End           float64 `json:"end_min"`
	StartKind     string  `json:"start_kind,omitempty"` // signal.Limit
	EndKind       string  `json:"end_kind,omitempty"`
	Height        float64 `json:"height"`
	Area          float64 `json:"area"`
	WidthHalf     float64 `json:"width_half_min"`
	BaselineStart float64 `json:"baseline_start"`
	BaselineEnd   float64 `json:"baseline_end"`
	SignalToNoise float64 `json:"signal_to_noise"`

	Width10       *float64 `json:"width_10_min,omitempty"` // full width at 10 % of the height
	Width05       *float64 `json:"width_05_min,omitempty"` // at 5 %
	WidthBase     *float64 `json:"width_base_min,omitempty"`
	Plates        *float64 `json:"plates,omitempty"` // from the width at half height
	PlatesTangent *float64 `json:"plates_tangent,omitempty"`
	Tailing       *float64 `json:"tailing,omitempty"`
	Asymmetry     *float64 `json:"asymmetry,omitempty"`
	// To the next peak.
	Resolution        *float64 `json:"resolution,omitempty"` // from the widths at half height
	ResolutionTangent *float64 `json:"resolution_tangent,omitempty"`
	PeakToValley      *float64 `json:"peak_to_valley,omitempty"`

	Rider    bool `json:"rider,omitempty"`    // stands on a tangent
	Skimmed  bool `json:"skimmed,omitempty"`  // area is less that of its riders
	Shared   bool `json:"shared,omitempty"`   // area is the share by fitted shapes
	Shoulder bool `json:"shoulder,omitempty"` // without a summit of its own
}
