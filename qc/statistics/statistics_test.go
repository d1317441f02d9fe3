package statistics

import (
	"errors"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers/parserstest"
)

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func certified(t *testing.T, set, quantity string) float64 {
	t.Helper()
	for _, row := range parserstest.Reference(t, "strd/certified.csv") {
		if row[0] == set && row[1] == quantity {
			return number(t, row[2])
		}
	}
	t.Fatalf("no certified %s of %s", quantity, set)
	return 0
}

// agrees wants at least so many digits of log relative error.
func agrees(t *testing.T, what string, got, want, digits float64) {
	t.Helper()
	lre := 15.5 // all digits that are certified
	if got != want {
		lre = min(lre, -math.Log10(math.Abs(got-want)/math.Abs(want)))
	}
	t.Logf("%s %.1f digits", what, lre)
	if !(lre >= digits) {
		t.Errorf("%s is %.16g, certified %.16g: %.1f digits, want %g", what, got, want, lre, digits)
	}
}

type digits struct{ mean, sd, r1 float64 }

func univariate(t *testing.T, values []float64, mean, sd, r1 float64, d digits) {
	t.Helper()
	for what, c := range map[string]struct {
		of           func([]float64) (float64, error)
		want, digits float64
	}{"mean": {Mean, mean, d.mean}, "standard deviation": {StandardDeviation, sd, d.sd}, "autocorrelation": {Autocorrelation, r1, d.r1}} {
		got, err := c.of(values)
		if err != nil {
			t.Fatal(err)
		}
		agrees(t, what, got, c.want, c.digits)
	}
}

// NIST Statistical Reference Datasets, univariate summary statistics. NumAcc3 and
// NumAcc4 cannot be held in doubles to more digits than are asked for.
func TestReferenceSeries(t *testing.T) {
	for set, d := range map[string]digits{
		"PiDigits": {14, 14, 12}, "Lottery": {14, 14, 13}, "Lew": {14, 14, 13}, "Mavro": {14, 12, 12}, "Michelso": {14, 13, 13},
		"NumAcc1": {14, 14, 14}, "NumAcc2": {14, 14, 14}, "NumAcc3": {14, 9, 9}, "NumAcc4": {14, 8, 8},
	} {
		t.Run(set, func(t *testing.T) {
			var values []float64
			for _, row := range parserstest.Reference(t, "strd/univ/"+set+".csv") {
				values = append(values, number(t, row[0]))
			}
			univariate(t, values, certified(t, set, "mean"), certified(t, set, "sd"), certified(t, set, "r1"), d)
		})
	}
}

// Sets that a rule makes: NumAcc1, and NumAcc2 to NumAcc4 with 1001 values that swing by
// 0.1 about their first. Exact mean, standard deviation 0.1 (1) and autocorrelation.
func TestGeneratedSeries(t *testing.T) {
	swing := func(first, low, high float64) []float64 {
		values := []float64{first}
		for range 500 {
			values = append(values, low, high)
		}
		return values
	}
	for set, c := range map[string]struct {
		values       []float64
		mean, sd, r1 float64
		digits
	}{
		"NumAcc1": {[]float64{10000001, 10000003, 10000002}, 10000002, 1, -0.5, digits{14, 14, 14}},
		"NumAcc2": {swing(1.2, 1.1, 1.3), 1.2, 0.1, -0.999, digits{14, 14, 14}},
		"NumAcc3": {swing(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, -0.999, digits{14, 9, 9}},
		"NumAcc4": {swing(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, -0.999, digits{14, 8, 8}},
	} {
		t.Run(set, func(t *testing.T) { univariate(t, c.values, c.mean, c.sd, c.r1, c.digits) })
	}
}

// NIST Statistical Reference Datasets, analysis of variance. The decimals of the last
// three sets, beside 1e12, leave about four digits in a double.
func TestReferenceVariances(t *testing.T) {
	for set, least := range map[string]float64{"SiRstv": 12, "SmLs01": 14, "SmLs02": 14, "SmLs03": 14, "SmLs04": 9, "SmLs06": 9, "SmLs07": 3, "SmLs08": 3, "SmLs09": 3} {
		t.Run(set, func(t *testing.T) {
			var groups [][]float64
			for _, row := range parserstest.Reference(t, "strd/anova/"+set+".csv") {
				group := int(number(t, row[0]))
				for len(groups) < group {
					groups = append(groups, nil)
				}
				groups[group-1] = append(groups[group-1], number(t, row[1]))
			}
			a, err := OneWay(groups)
			if err != nil {
				t.Fatal(err)
			}
			for quantity, got := range map[string]float64{
				"df_between": float64(a.DFBetween), "df_within": float64(a.DFWithin), "ss_between": a.SSBetween, "ss_within": a.SSWithin,
				"ms_between": a.MSBetween, "ms_within": a.MSWithin, "F": a.F, "r_squared": a.RSquared, "residual_sd": a.WithinSD,
			} {
				agrees(t, quantity, got, certified(t, set, quantity), least)
			}
		})
	}
}

// By hand: means 2 and 5, grand mean 3.5; SS between 6·2.25, within 4.
func TestOneWayByHand(t *testing.T) {
	a, err := OneWay([][]float64{{1, 2, 3}, {4, 5, 6}})
	if err != nil {
		t.Fatal(err)
	}
	if a.SSBetween != 13.5 || a.SSWithin != 4 || a.F != 13.5 || a.RSquared != 13.5/17.5 || a.WithinSD != 1 {
		t.Errorf("%+v", a)
	}
	agrees(t, "between", a.BetweenSD, math.Sqrt(12.5/3), 14)
	agrees(t, "intermediate", a.IntermediateSD, math.Sqrt(1+12.5/3), 14)
	same, err := OneWay([][]float64{{1, 3}, {1, 3}})
	if err != nil || same.BetweenSD != 0 || same.F != 0 {
		t.Errorf("%+v, %v", same, err)
	}
	still, err := OneWay([][]float64{{2, 2}, {2, 2}})
	if err != nil || !math.IsNaN(still.F) || !math.IsNaN(still.RSquared) {
		t.Errorf("%+v, %v", still, err)
	}
}

func TestRefused(t *testing.T) {
	huge := []float64{math.MaxFloat64, math.MaxFloat64}
	for name, c := range map[string]struct {
		of     func([]float64) (float64, error)
		values []float64
		want   error
	}{
		"mean of nothing":              {Mean, nil, ErrTooFew},
		"mean with NaN":                {Mean, []float64{1, math.NaN()}, ErrNotFinite},
		"mean beyond all bounds":       {Mean, huge, ErrNotFinite},
		"deviation of one":             {StandardDeviation, []float64{1}, ErrTooFew},
		"deviation with Inf":           {StandardDeviation, []float64{1, math.Inf(1)}, ErrNotFinite},
		"autocorrelation of one":       {Autocorrelation, []float64{1}, ErrTooFew},
		"autocorrelation of constants": {Autocorrelation, []float64{2, 2, 2}, ErrConstant},
	} {
		t.Run(name, func(t *testing.T) {
			if got, err := c.of(c.values); !errors.Is(err, c.want) || got != 0 {
				t.Errorf("%v, %v", got, err)
			}
		})
	}
	for name, groups := range map[string][][]float64{"one group": {{1, 2}}, "no replicate": {{1}, {2}}, "an empty group": {{1, 2}, {}}, "none": nil} {
		if a, err := OneWay(groups); !errors.Is(err, ErrTooFew) || a != nil {
			t.Errorf("%s: %+v, %v", name, a, err)
		}
	}
	if _, err := OneWay([][]float64{{1, math.NaN()}, {1, 2}}); !errors.Is(err, ErrNotFinite) {
		t.Error(err)
	}
}

// A constant added to all values moves the mean and leaves the scatter, digit by digit
// when nothing is rounded.
func TestShift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.SliceOfN(rapid.IntRange(-1000, 1000), 2, 40).Draw(t, "values")
		by := float64(rapid.IntRange(-1<<40, 1<<40).Draw(t, "shift"))
		var values, moved []float64
		for _, v := range whole {
			values, moved = append(values, float64(v)), append(moved, float64(v)+by)
		}
		before, err := StandardDeviation(values)
		if err != nil {
			t.Fatal(err)
		}
		after, err := StandardDeviation(moved)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(after-before) <= 1e-14*before) {
			t.Errorf("standard deviation %v, then %v", before, after)
		}
	})
}
