package rule

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

var nan, inf = math.NaN(), math.Inf(1)

func near(got, want float64) bool {
	if math.IsNaN(want) {
		return math.IsNaN(got)
	}
	return math.Abs(got-want) <= 1e-12*math.Max(1, math.Abs(want))
}

func TestStatistics(t *testing.T) {
	tests := map[string]struct{ got, want float64 }{
		"recovery":                      {Recovery(9.3, 10), 93},
		"recovery of nothing":           {Recovery(0, 10), 0},
		"recovery, negative found":      {Recovery(-1, 10), -10},
		"recovery, nominal zero":        {Recovery(1, 0), nan},
		"recovery, nominal negative":    {Recovery(1, -1), nan},
		"recovery, NaN found":           {Recovery(nan, 10), nan},
		"recovery, NaN nominal":         {Recovery(1, nan), nan},
		"recovery, infinite found":      {Recovery(inf, 10), nan},
		"recovery, overflow":            {Recovery(1e300, 1e-300), nan},
		"deviation above":               {Deviation(11, 10), 10},
		"deviation below":               {Deviation(8, 10), -20},
		"deviation, nominal zero":       {Deviation(1, 0), nan},
		"deviation, NaN":                {Deviation(nan, 1), nan},
		"RPD of 8 and 10":               {RelativePercentDifference(8, 10), 200.0 / 9},
		"RSD of 8 and 10":               {RSD(8, 10), 200.0 / 9 / math.Sqrt2},
		"RPD of equal values":           {RelativePercentDifference(5, 5), 0},
		"RPD of zeros":                  {RelativePercentDifference(0, 0), nan},
		"RPD about zero":                {RelativePercentDifference(-1, 1), nan},
		"RPD, NaN":                      {RelativePercentDifference(nan, 1), nan},
		"RPD, infinite":                 {RelativePercentDifference(inf, 1), nan},
		"RSD, NaN":                      {RSD(1, nan), nan},
		"percent of mean":               {PercentOfMean(50, []float64{90, 110}), 50},
		"percent of mean, no reference": {PercentOfMean(50, nil), nan},
		"percent of mean, zero mean":    {PercentOfMean(50, []float64{0, 0}), nan},
		"percent of mean, NaN inside":   {PercentOfMean(50, []float64{1, nan}), nan},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if !near(tt.got, tt.want) {
				t.Errorf("got %v, want %v", tt.got, tt.want)
			}
		})
	}
}

// The printed figures of the duplicate pair 8.0 and 10.0.
func TestDuplicateFiguresAsPrinted(t *testing.T) {
	if got := RelativePercentDifference(8, 10); math.Abs(got-22.2222) > 5e-5 {
		t.Errorf("relative percent difference %v, want 22.2222", got)
	}
	if got := RSD(8, 10); math.Abs(got-15.7135) > 5e-5 {
		t.Errorf("RSD %v, want 15.7135", got)
	}
}

func TestWithin(t *testing.T) {
	p := func(v float64) *float64 { return &v }
	tests := map[string]struct {
		v         float64
		low, high *float64
		want      bool
	}{
		"inside":                    {100, p(90), p(110), true},
		"at the low limit":          {90, p(90), p(110), true},
		"at the high limit":         {110, p(90), p(110), true},
		"within the guard above":    {110 * (1 + 0.9e-9), p(90), p(110), true},
		"within the guard below":    {90 * (1 - 0.9e-9), p(90), p(110), true},
		"beyond the guard above":    {110 * (1 + 2e-9), p(90), p(110), false},
		"beyond the guard below":    {90 * (1 - 2e-9), p(90), p(110), false},
		"guard at a negative limit": {-10 * (1 + 0.9e-9), p(-10), nil, true},
		"beyond a negative limit":   {-10 * (1 + 2e-9), p(-10), nil, false},
		"no low limit":              {-5, nil, p(110), true},
		"no high limit":             {1e9, p(90), nil, true},
		"no limits":                 {1, nil, nil, true},
		"NaN with limits":           {nan, p(90), p(110), false},
		"NaN without limits":        {nan, nil, nil, false},
		"infinite":                  {inf, p(90), p(110), false},
		"infinite without limits":   {inf, nil, nil, false},
		"minus infinity":            {-inf, nil, p(110), false},
		"NaN low limit":             {100, p(nan), p(110), false},
		"NaN high limit":            {100, p(90), p(nan), false},
		"limit zero":                {0, p(0), p(0), true},
		"just off limit zero":       {1e-300, nil, p(0), false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got := Within(tt.v, tt.low, tt.high); got != tt.want {
				t.Errorf("Within(%v) = %v, want %v", tt.v, got, tt.want)
			}
		})
	}
}

// A value is at least or at most a limit, and both only within twice the guard of it.
func TestComparisonsMeet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "v")
		limit := rapid.Float64Range(-1e6, 1e6).Draw(t, "limit")
		least, most := AtLeast(v, limit), AtMost(v, limit)
		if !least && !most {
			t.Fatalf("%v is neither at least nor at most %v", v, limit)
		}
		if least && most && math.Abs(v-limit) > 2*Guard*math.Abs(limit) {
			t.Fatalf("%v counts as equal to %v", v, limit)
		}
	})
}
