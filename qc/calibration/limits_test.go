package calibration

import (
	"errors"
	"math"
	"testing"
)

func TestLimitsOfFluorescein(t *testing.T) {
	c := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelLinear, WeightNone)
	const s, b = 0.43284771315743, 1.93035714285714
	blanks := []float64{1.1, 1.5, 1.9, 1.5} // standard deviation sqrt(0.32/3)
	for name, tt := range map[string]struct {
		limits   func() (*Limits, error)
		rule     Rule
		lod, loq float64
	}{
		// Miller & Miller print a limit of detection of 0.67.
		"calibration": {c.LimitsByCalibration, RuleCalibration, 0.6726958, 2.2423195},
		"3.3":         {c.LimitsBySlope, RuleCalibration33, 3.3 * s / b, 10 * s / b},
		"blank":       {func() (*Limits, error) { return c.LimitsByBlank(blanks) }, RuleBlank, 3 * math.Sqrt(.32/3) / b, 10 * math.Sqrt(.32/3) / b},
		"noise":       {func() (*Limits, error) { return c.LimitsByNoise(0.4) }, RuleNoise, 0.6 / b, 2 / b},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := tt.limits()
			if err != nil {
				t.Fatal(err)
			}
			if got.Rule != tt.rule {
				t.Errorf("rule %q", got.Rule)
			}
			near(t, "LOD", got.LOD, tt.lod, 1e-7)
			near(t, "LOQ", got.LOQ, tt.loq, 1e-7)
		})
	}
}

// A falling line has the same limits as its mirror image.
func TestLimitsOfAFallingLine(t *testing.T) {
	falling := make([]float64, len(fluoresceinY))
	for i, y := range fluoresceinY {
		falling[i] = 100 - y
	}
	up := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelLinear, WeightNone)
	down := fitPoints(t, Points{X: fluoresceinX, Y: falling}, ModelLinear, WeightNone)
	for name, of := range map[string]func(*Curve) (*Limits, error){
		"calibration": (*Curve).LimitsByCalibration, "3.3": (*Curve).LimitsBySlope,
		"din": func(c *Curve) (*Limits, error) { return c.LimitsByDIN(1, 0.01, 3) },
	} {
		a, err := of(up)
		if err != nil {
			t.Fatal(err)
		}
		b, err := of(down)
		if err != nil {
			t.Fatal(err)
		}
		near(t, name+" LOD", b.LOD, a.LOD, 1e-10)
		near(t, name+" LOQ", b.LOQ, a.LOQ, 1e-10)
	}
}

// Both limits put back into the formulas that they solve.
func TestLimitsByDIN(t *testing.T) {
	c := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelLinear, WeightNone)
	got, err := c.LimitsByDIN(3, 0.01, 3)
	if err != nil {
		t.Fatal(err)
	}
	const meanX, qx, t99, t995 = 6.0, 112.0, 3.364929998907, 4.032142983558 // Student's t of 5 degrees of freedom
	s := c.ResidualSD / c.Coefficients[1]
	near(t, "detection limit", got.LOD, s*t99*math.Sqrt(1.0/3+1.0/7+meanX*meanX/qx), 1e-9)
	near(t, "quantitation limit", got.LOQ, 3*s*t995*math.Sqrt(1.0/3+1.0/7+math.Pow(got.LOQ-meanX, 2)/qx), 1e-9)
	// An uncertainty of 1/k that the scatter never allows.
	if _, err := c.LimitsByDIN(3, 0.01, 30); !errors.Is(err, ErrNoRoot) {
		t.Error(err)
	}
}

func TestLimitsRefuse(t *testing.T) {
	line := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelLinear, WeightNone)
	bent := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelQuadratic, WeightNone)
	weighted := fitPoints(t, Points{X: fluoresceinX[1:], Y: fluoresceinY[1:]}, ModelLinear, WeightInverseX)
	segments := fitPoints(t, Points{X: fluoresceinX, Y: fluoresceinY}, ModelPointToPoint, WeightNone)
	two := fitPoints(t, Points{X: fluoresceinX[:2], Y: fluoresceinY[:2]}, ModelLinear, WeightNone)
	flat := fitPoints(t, Points{X: []float64{1, 2, 3}, Y: []float64{4, 4, 4}}, ModelLinear, WeightNone)
	for name, tt := range map[string]struct {
		limits func() (*Limits, error)
		want   error
	}{
		"segments":          {segments.LimitsByCalibration, ErrNotForModel},
		"flat":              {flat.LimitsBySlope, ErrFlat},
		"two points":        {two.LimitsBySlope, ErrNoDF},
		"two points, DIN":   {func() (*Limits, error) { return two.LimitsByDIN(1, 0.01, 3) }, ErrNoDF},
		"quadratic, DIN":    {func() (*Limits, error) { return bent.LimitsByDIN(1, 0.01, 3) }, ErrNotForModel},
		"weighted, DIN":     {func() (*Limits, error) { return weighted.LimitsByDIN(1, 0.01, 3) }, ErrWeighting},
		"no reading, DIN":   {func() (*Limits, error) { return line.LimitsByDIN(0, 0.01, 3) }, ErrReplicates},
		"no error, DIN":     {func() (*Limits, error) { return line.LimitsByDIN(1, 0, 3) }, ErrConfidence},
		"one blank":         {func() (*Limits, error) { return line.LimitsByBlank([]float64{1}) }, ErrTooFew},
		"blank not finite":  {func() (*Limits, error) { return line.LimitsByBlank([]float64{1, math.NaN()}) }, ErrNotFinite},
		"noise of zero":     {func() (*Limits, error) { return line.LimitsByNoise(0) }, ErrNotFinite},
		"noise not finite":  {func() (*Limits, error) { return line.LimitsByNoise(math.Inf(1)) }, ErrNotFinite},
		"noise on segments": {func() (*Limits, error) { return segments.LimitsByNoise(1) }, ErrNotForModel},
	} {
		t.Run(name, func(t *testing.T) {
			if got, err := tt.limits(); !errors.Is(err, tt.want) || got != nil {
				t.Errorf("%+v, %v, want %v", got, err, tt.want)
			}
		})
	}
}

// Berthouex & Brown, Statistics for Environmental Engineers, 2nd edition, example 14.1.
// The book's pooled limit of 0.96 goes on from a rounded 0.36.
func TestMethodDetectionLimit(t *testing.T) {
	low, high := []float64{2.5, 2.7, 2.2, 2.2, 3.1, 2.6, 2.8}, []float64{1.6, 1.9, 1.3, 1.7, 2.1, 0.9, 1.8}
	for name, tt := range map[string]struct {
		spikes       []float64
		printed, mdl float64
	}{"first": {low, 1.0, 1.0171857}, "second": {high, 1.3, 1.2626668}} {
		t.Run(name, func(t *testing.T) {
			m, err := MethodDetectionLimit(tt.spikes, nil)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "MDL", m.MDL, tt.mdl, 1e-7)
			printed(t, "MDL", m.MDL, tt.printed, 0.1)
			if m.Spiked != m.MDL || !math.IsNaN(m.Blank) {
				t.Errorf("%+v", m)
			}
		})
	}
	near(t, "pooled MDL", PooledMDL(math.Sqrt((0.1047619047619+0.1614285714286)/2), 12), 0.9780876, 1e-6)
}

func TestMethodDetectionLimitWithBlanks(t *testing.T) {
	spikes := []float64{2.5, 2.7, 2.2, 2.2, 3.1, 2.6, 2.8}
	none := func(n int, found ...float64) []*float64 {
		blanks := make([]*float64, n, n+len(found))
		for i := range found {
			blanks = append(blanks, &found[i])
		}
		return blanks
	}
	rising := make([]float64, 150)
	for i := range rising {
		rising[i] = float64(i + 1)
	}
	const t6 = 3.142668403290985 // Student's t, 99 % one-sided, of six degrees of freedom
	for name, tt := range map[string]struct {
		blanks []*float64
		blank  float64
		mdl    float64
	}{
		"no blank gave a number":     {none(7), math.NaN(), 1.0171857},
		"the highest of some":        {none(5, 0.4, 1.4, 0.2), 1.4, 1.4},
		"some, below the spiked":     {none(5, 0.4), 0.4, 1.0171857},
		"99 of 100, of many":         {none(50, rising...), 148, 148},       // rank 198 of 200
		"many without, few with":     {none(299, 7), math.NaN(), 1.0171857}, // rank 297 of 300 gave no number
		"all, mean and scatter":      {none(0, 1, 2, 3, 4, 5, 6, 7), 4 + t6*math.Sqrt(28.0/6), 4 + t6*math.Sqrt(28.0/6)},
		"all, negative mean":         {none(0, -1, -2, -3, -4, -5, -6, -7), t6 * math.Sqrt(28.0/6), t6 * math.Sqrt(28.0/6)},
		"zero and below are numbers": {none(0, 0, 0, 0, 0, 0, 0, 0), 0, 1.0171857},
		"a zero among those without": {none(3, 0, -1), 0, 1.0171857},
	} {
		t.Run(name, func(t *testing.T) {
			m, err := MethodDetectionLimit(spikes, tt.blanks)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "MDL", m.MDL, tt.mdl, 1e-7)
			if math.IsNaN(tt.blank) != math.IsNaN(m.Blank) {
				t.Errorf("blank %v, want %v", m.Blank, tt.blank)
			} else if !math.IsNaN(tt.blank) {
				near(t, "blank", m.Blank, tt.blank, 1e-9)
			}
		})
	}
	if _, err := MethodDetectionLimit(spikes[1:], nil); !errors.Is(err, ErrTooFew) {
		t.Error(err)
	}
	if _, err := MethodDetectionLimit(spikes, none(0, 1, 2)); !errors.Is(err, ErrTooFew) {
		t.Error(err)
	}
	if _, err := MethodDetectionLimit(spikes, none(1, math.NaN())); !errors.Is(err, ErrNotFinite) {
		t.Error(err)
	}
}

// The t values as printed for the procedure, 40 CFR 136 Appendix B.
func TestStudentsT(t *testing.T) {
	for df, want := range map[int]float64{6: 3.143, 7: 2.998, 8: 2.896, 9: 2.821, 10: 2.764, 15: 2.602, 20: 2.528, 25: 2.485, 30: 2.457, 60: 2.390} {
		if got := studentsT(0.99, df); !(math.Abs(got-want) <= 0.0005) {
			t.Errorf("t of %d degrees of freedom is %v, printed %v", df, got, want)
		}
	}
	// In closed form: one degree of freedom tan(π(p - ½)); two: (2p - 1)/sqrt(2p(1 - p)).
	for _, p := range []float64{0.9, 0.975, 0.995} {
		near(t, "t(1)", studentsT(p, 1), math.Tan(math.Pi*(p-0.5)), 1e-12)
		near(t, "t(2)", studentsT(p, 2), (2*p-1)/math.Sqrt(2*p*(1-p)), 1e-12)
	}
	if !math.IsNaN(studentsT(0.9, 0)) {
		t.Error("t without a degree of freedom")
	}
	// F of 2 and n: (1 + 2f/n)^(-n/2), far out in the tail too.
	for _, f := range []float64{0, 0.5, 3, 40, 4e4} {
		near(t, "p of F", fUpper(f, 2, 8), math.Pow(1+2*f/8, -4), 1e-11)
	}
}

func TestBracket(t *testing.T) {
	low, high := Standard{Amount: 10, Response: 105, At: 1}, Standard{Amount: 20, Response: 195, At: 9}
	for name, tt := range map[string]struct {
		amount func() (float64, error)
		want   float64
		err    error
	}{
		"between":                {func() (float64, error) { return Bracket(low, high, 150) }, 15, nil},
		"turned round":           {func() (float64, error) { return Bracket(high, low, 123) }, 12, nil},
		"at a standard":          {func() (float64, error) { return Bracket(low, high, 195) }, 20, nil},
		"beyond":                 {func() (float64, error) { return Bracket(low, high, 195.1) }, 0, ErrOutside},
		"one amount":             {func() (float64, error) { return Bracket(low, Standard{Amount: 10, Response: 99}, 100) }, 0, ErrOneLevel},
		"one response":           {func() (float64, error) { return Bracket(low, Standard{Amount: 12, Response: 105}, 105) }, 0, ErrFlat},
		"not a number":           {func() (float64, error) { return Bracket(low, high, math.NaN()) }, 0, ErrNotFinite},
		"drift, midway":          {func() (float64, error) { return BracketFactor(low, high, 101.25, 5) }, 10, nil}, // factors 10.5 and 9.75
		"drift, at the first":    {func() (float64, error) { return BracketFactor(low, high, 52.5, 1) }, 5, nil},
		"measured after":         {func() (float64, error) { return BracketFactor(low, high, 50, 9.5) }, 0, ErrOutside},
		"standards turned round": {func() (float64, error) { return BracketFactor(high, low, 50, 5) }, 0, ErrOutside},
		"empty standard":         {func() (float64, error) { return BracketFactor(Standard{At: 1, Response: 1}, high, 50, 5) }, 0, ErrNoWeight},
		"dead standards": {func() (float64, error) {
			return BracketFactor(Standard{Amount: 1, At: 1}, Standard{Amount: 1, At: 2}, 50, 1.5)
		}, 0, ErrFlat},
		"drift, not a number": {func() (float64, error) { return BracketFactor(low, high, 50, math.NaN()) }, 0, ErrNotFinite},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := tt.amount()
			if !errors.Is(err, tt.err) || !(math.Abs(got-tt.want) <= 1e-12*tt.want) {
				t.Errorf("%v, %v, want %v, %v", got, err, tt.want, tt.err)
			}
		})
	}
}
