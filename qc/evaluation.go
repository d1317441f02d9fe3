package qc

// EvaluationSchema is the version of the Evaluation document.
const EvaluationSchema = 1

// Evaluation is all that Evaluate says of a batch. Slices are sorted; the same input
// gives the same bytes in canonical JSON.
type Evaluation struct {
	Schema       int           `json:"schema_version"`
	Engine       string        `json:"engine"`
	Batch        string        `json:"batch"`
	Method       string        `json:"method"`
	MethodSHA256 string        `json:"method_sha256"`
	Closed       bool          `json:"closed"`
	InputSHA256  string        `json:"input_sha256"`
	Calibrations []Calibration `json:"calibrations"`
	Checks       []Check       `json:"checks"`
	Results      []Result      `json:"results"`
	Findings     []Finding     `json:"findings"`
}

// Verdicts. Only Pass covers.
const (
	Pass          = "pass"
	Fail          = "fail"
	Pending       = "pending"        // the evidence can still come
	Missing       = "missing"        // the batch closed without it
	NotApplicable = "not applicable" // with reason
	NotEvaluable  = "not evaluable"  // NaN, no signal, unknown standard
)

// Dispositions.
const (
	Clear = "clear"
	Held  = "held"
)

// Effects of a coverage edge.
const (
	EffectHolds   = "holds"
	EffectInforms = "informs"
)

// Bases of a result.
const (
	BasisAsIs       = "as is"
	BasisPerAlcohol = "per hL of pure alcohol"
)

// Censoring of a result. Empty: the value is a number within the range.
const (
	CensorNone     = ""
	CensorBelowLOD = "below LOD"
	CensorBelowLOQ = "below LOQ"
	CensorAbove    = "above range"
)

// Calibration is one fitted calibration function.
type Calibration struct {
	Analyte string `json:"analyte"`
	Run     string `json:"run"` // of the calibration standards
	Model   string `json:"model"`
	Weight  string `json:"weight"`
	// Coefficients, lowest power of the amount first; that of a line through the origin is its
	// slope alone, and a point to point function has none. StdErrors and Covariance likewise.
	Coefficients []float64   `json:"coefficients"`
	StdErrors    []float64   `json:"standard_errors"`
	Covariance   [][]float64 `json:"covariance"`
	R2           *float64    `json:"r2"`
	AdjustedR2   *float64    `json:"adjusted_r2"`
	ResidualSD   *float64    `json:"residual_sd"` // in response units
	RSEPercent   *float64    `json:"rse_percent"` // relative standard error of the back-calculated amounts
	RSDPercent   *float64    `json:"rsd_percent"` // of the response factors; average response factor only
	DF           *int        `json:"degrees_of_freedom"`
	LackOfFit    []LackOfFit `json:"lack_of_fit"`
	// LOD and LOQ by the calibration, in Unit: for information, beside the validated ones that results go by.
	LOD       *float64  `json:"lod_by_calibration"`
	LOQ       *float64  `json:"loq_by_calibration"`
	Monotonic *bool     `json:"monotonic"` // over the amounts of the points
	Range     []float64 `json:"range"`     // low, high, in Unit
	Unit      string    `json:"unit"`
	Accepted  bool      `json:"accepted"`
	Reasons   []string  `json:"reasons"`
	Points    []Point   `json:"points"`
	// Exclusions are suggestions to look at a point; nothing is left out of a fit without a
	// named person and a cause.
	Exclusions []string `json:"suggested_exclusions"`
	Warnings   []string `json:"warnings"`
}

// LackOfFit is a test whether another model would fit better.
type LackOfFit struct {
	Test string  `json:"test"` // one of the tests below
	F    float64 `json:"f"`
	P    float64 `json:"p"` // probability of a larger F when the model holds
	DF1  int     `json:"df1"`
	DF2  int     `json:"df2"`
}

// Tests of lack of fit.
const (
	TestMandel    = "Mandel: straight line against quadratic"
	TestPureError = "pure error of replicates"
)

// Point is one calibrant.
type Point struct {
	Position  int      `json:"position"`
	Standard  string   `json:"standard"`
	Amount    float64  `json:"amount"`
	Response  float64  `json:"response"`
	Back      *float64 `json:"back_calculated"`   // amount found from the response
	Deviation *float64 `json:"deviation_percent"` // 100 (found - nominal) / nominal; nil at nominal 0
	Leverage  *float64 `json:"leverage"`          // share of the point in its own fitted value, 0 to 1
}

// Check is one verdict: a rule applied to a subject, and what it covers.
type Check struct {
	ID          string   `json:"id"` // derived from rule, analyte and subject
	Rule        string   `json:"rule"`
	Scope       string   `json:"scope"`
	Analyte     string   `json:"analyte"` // empty: all
	Subject     string   `json:"subject"` // what was judged, in words: "CCV-3 at position 21"
	Acquisition string   `json:"acquisition,omitempty"`
	Positions   []int    `json:"positions"` // the positions judged
	Statistic   string   `json:"statistic"` // "recovery", "RSD", "amount", "r²", …
	Observed    *float64 `json:"observed"`
	LimitLow    *float64 `json:"limit_low"`
	LimitHigh   *float64 `json:"limit_high"`
	Unit        string   `json:"unit"`
	Verdict     string   `json:"verdict"`
	Reason      string   `json:"reason"` // one sentence in words, with observed and limit
	WaitingFor  string   `json:"waiting_for,omitempty"`
	Covers      []Cover  `json:"covers"`
	Source      string   `json:"source,omitempty"` // citation of the limits
}

// Cover is what a check covers: an analyte (empty: all) at a range of positions, on
// one basis (empty: all).
type Cover struct {
	Analyte string `json:"analyte"`
	Basis   string `json:"basis,omitempty"`
	From    int    `json:"from"`
	To      int    `json:"to"`
	Effect  string `json:"effect"`
}

// Result is one analyte in one acquisition on one basis.
type Result struct {
	ID          string         `json:"id"` // derived from batch, acquisition, analyte and basis
	Sample      string         `json:"sample"`
	Acquisition AcquisitionRef `json:"acquisition_ref"`
	Position    int            `json:"position"`
	Analyte     string         `json:"analyte"`
	CAS         string         `json:"cas,omitempty"`
	Quantity    string         `json:"quantity,omitempty"`
	Kind        string         `json:"kind,omitempty"` // of a strength
	Basis       string         `json:"basis"`
	Value       *float64       `json:"value"`    // full precision, in Unit; nil when censored or not to be had
	Reported    string         `json:"reported"` // rounded text without unit: "12.3", "< 0.5", "> 200"; empty when there is none
	Unit        string         `json:"unit"`
	Censored    string         `json:"censored"`
	LOD         *float64       `json:"lod"`
	LOQ         *float64       `json:"loq"`                  // times dilution
	Uncertainty *float64       `json:"standard_uncertainty"` // combined, in Unit; nil when the method asks for none or the value is nil
	// CoverageFactor makes an expanded uncertainty of Uncertainty; nil without one.
	CoverageFactor *float64      `json:"coverage_factor"`
	Qualifiers     []string      `json:"qualifiers"`
	Disposition    string        `json:"disposition"`
	HeldBy         []string      `json:"held_by"` // check ids
	WaitingFor     []string      `json:"waiting_for"`
	Uses           []Pin         `json:"uses"` // related results this one was computed with
	Notices        []NoticeGiven `json:"notices"`
}

// Pin names one revision of a result of another batch.
type Pin struct {
	Result   string `json:"result"`
	Revision string `json:"revision"`
}

// NoticeGiven is a legal or label notice on a result. It informs, it never releases or holds.
type NoticeGiven struct {
	Analyte     string  `json:"analyte"`
	Limit       float64 `json:"limit"`
	Unit        string  `json:"unit"`
	Act         string  `json:"act"`
	Outcome     string  `json:"outcome"` // one of the outcomes below
	Toxic       bool    `json:"toxic"`
	Unconfirmed bool    `json:"unconfirmed"` // the result is held
	Text        string  `json:"text"`
}

// Outcomes of a notice. A censored result whose bound lies on the wrong side of the
// limit decides nothing.
const (
	OutcomeAbove     = "above the limit"
	OutcomeBelow     = "below the limit"
	OutcomeUndecided = "not decided"
)

// Finding is a remark on the batch that no rule carries: an acquisition that no line
// names, order of times against positions.
type Finding struct {
	Code    string `json:"code"`
	Subject string `json:"subject"`
	Text    string `json:"text"`
}
