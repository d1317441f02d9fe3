package signal

// Limit says what a limit of a peak is.
type Limit string

const (
	LimitBaseline Limit = "baseline" // the signal has become straight
	LimitValley   Limit = "valley"   // a valley that lies on the baseline used
	LimitDrop     Limit = "drop"     // the perpendicular at a valley above the baseline
	LimitTangent  Limit = "tangent"  // where the tangent under a rider touches the signal
	LimitSet      Limit = "set"      // a time that the settings give
	LimitEnd      Limit = "end"      // the recording begins or ends within the peak
)

// Peak is a measured peak, with the limits and the baseline that were used: the straight
// line from BaselineStart at Start to BaselineEnd at End. Figures of shape that cannot
// be had are NaN.
type Peak struct {
	Apex, Start, End   float64 // times
	StartKind, EndKind Limit
	Height             float64
	Area               float64
	// BaselineStart and BaselineEnd are the baseline's level at Start and End.
	BaselineStart, BaselineEnd float64
	// SignalToNoise is 2H/h, h the range of the noise (6σ).
	SignalToNoise float64

	// Full widths in time at half height and at 10 % and 5 % of the height. Where a
	// neighbour hides one side of the half height, WidthHalf is twice the other side; where it
	// hides both, the distance between the limits. The widths at 10 % and 5 % are
	// NaN when either side is hidden or that height is below 3σ of the noise.
	WidthHalf, Width10, Width05 float64
	// WidthBase is the width at the baseline between the tangents to the flanks at their
	// steepest points (4σ of a Gaussian peak).
	WidthBase float64
	// Plates is the number of theoretical plates 5.54 (t/WidthHalf)², PlatesTangent
	// 16 (t/WidthBase)², with t the apex counted from time 0, the injection.
	Plates, PlatesTangent float64
	// Tailing is the symmetry factor Width05/(2f), f the distance from the leading edge to the
	// apex at 5 % of the height.
	Tailing float64
	// Asymmetry is b/a, the distances from the apex to the trailing and to the leading edge at 10 % of
	// the height. Common practice, no source.
	Asymmetry float64

	// Resolution from the next peak: 1.18 (t₂-t₁)/(WidthHalf₁+WidthHalf₂), and
	// 2 (t₂-t₁)/(WidthBase₁+WidthBase₂). NaN for the last peak.
	Resolution, ResolutionTangent float64
	// PeakToValley is Hp/Hv towards the next peak: the height of the smaller of the two
	// over that of the lowest point between them, both above the smaller one's baseline extended.
	// NaN for the last peak and when the valley is not above the baseline.
	PeakToValley float64

	Rider    bool // skimmed by a tangent
	Skimmed  bool // carries riders: Area is that between the limits less the riders'
	Shared   bool // Area is the share of the overlapping peaks' area by fitted shapes
	Shoulder bool // a bulge in a flank, cut off at the inflection
}

// Result is what Find makes of a signal.
type Result struct {
	// Noise is the estimate of σ that signal to noise was computed with: that of Noise,
	// but not less than the signal's resolution. Nil when the signal is too short.
	Noise *float64
	Peaks []Peak // by apex
}
