package calibration

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// certified are NIST's values of a set, as strings: quantity, value, standard deviation of the estimate.
type certified map[string][2]string

// embedded reads a set that lies beside the tests.
func embedded(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	reader.FieldsPerRecord = -1
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func certifiedOf(rows [][]string, set string) certified {
	c := certified{}
	for _, row := range rows {
		if row[0] == set {
			c[row[1]] = [2]string{row[2], row[3]}
		}
	}
	return c
}

// columns of a set: the response and the regressors.
func columns(t *testing.T, rows [][]string) (y []float64, x [][]float64) {
	t.Helper()
	for _, row := range rows {
		y = append(y, number(t, row[0]))
		var regressors []float64
		for _, cell := range row[1:] {
			regressors = append(regressors, number(t, cell))
		}
		x = append(x, regressors)
	}
	return y, x
}

// fitted are the figures of a fit that NIST certifies.
type fitted struct {
	coefficients, standardErrors []float64
	residualSD, rSquared         float64
	df                           int
}

func fitSet(t *testing.T, model Model, y []float64, x [][]float64) fitted {
	t.Helper()
	if model == "" { // several regressors
		for i := range x {
			x[i] = append([]float64{1}, x[i]...)
		}
		s, err := LeastSquares(x, y, nil, true)
		if err != nil {
			t.Fatal(err)
		}
		return fitted{s.Coefficients, s.StandardErrors, s.ResidualSD, s.RSquared, s.DF}
	}
	points := Points{Y: y}
	for i := range x {
		points.X = append(points.X, x[i][0])
	}
	c, err := Fit(points, model, WeightNone)
	if err != nil {
		t.Fatal(err)
	}
	return fitted{c.Coefficients, c.StandardErrors, c.ResidualSD, c.RSquared, c.DF}
}

// agrees compares with the certified values: at least digits of log relative error, or
// an absolute bound where the certified value is zero. It gives the least digits found.
func agrees(t *testing.T, got fitted, c certified, first string, digits, bound float64) (least float64) {
	t.Helper()
	least = math.Inf(1)
	compare := func(what string, got float64, text string) {
		t.Helper()
		want := number(t, text)
		if want == 0 {
			if !(math.Abs(got) <= bound) {
				t.Errorf("%s is %g, certified 0, allowed %g", what, got, bound)
			}
			return
		}
		lre := 15.5 // all digits that are certified
		if got != want {
			lre = min(lre, -math.Log10(math.Abs(got-want)/math.Abs(want)))
		}
		least = min(least, lre)
		if !(lre >= digits) {
			t.Errorf("%s is %.16g, certified %s: %.1f digits, want %g", what, got, text, lre, digits)
		}
	}
	names := []string{"B0", "B1", "B2", "B3", "B4", "B5", "B6", "B7", "B8", "B9", "B10"}
	if first == "B1" {
		names = names[1:]
	}
	for i, b := range got.coefficients {
		compare(names[i], b, c[names[i]][0])
		compare("standard error of "+names[i], got.standardErrors[i], c[names[i]][1])
	}
	count := 0
	for name := range c {
		if strings.HasPrefix(name, "B") {
			count++
		}
	}
	if count != len(got.coefficients) {
		t.Errorf("%d coefficients, certified are %d", len(got.coefficients), count)
	}
	compare("residual standard deviation", got.residualSD, c["residual_sd"][0])
	compare("r²", got.rSquared, c["r_squared"][0])
	if float64(got.df) != number(t, c["df_residual"][0]) {
		t.Errorf("%d degrees of freedom, certified %s", got.df, c["df_residual"][0])
	}
	return least
}

// NIST Statistical Reference Datasets, linear regression, at the digits that double
// precision allows each set.
func TestReferenceRegressions(t *testing.T) {
	for set, c := range map[string]struct {
		model  Model // empty: several regressors
		first  string
		digits float64
		bound  float64 // where the certified value is zero
	}{
		"Norris":   {ModelLinear, "B0", 13, 0},
		"NoInt1":   {ModelThroughZero, "B1", 14, 0},
		"Longley":  {"", "B0", 12, 0},
		"Wampler1": {Polynomial(5), "B0", 13, 1e-9},
		"Wampler2": {Polynomial(5), "B0", 12, 1e-12},
		"Wampler3": {Polynomial(5), "B0", 12, 0},
		"Wampler5": {Polynomial(5), "B0", 12, 0},
		"Filip":    {Polynomial(10), "B0", 12, 0},
	} {
		t.Run(set, func(t *testing.T) {
			y, x := columns(t, shared(t, "strd/lls/"+set+".csv"))
			got := fitSet(t, c.model, y, x)
			least := agrees(t, got, certifiedOf(shared(t, "strd/certified.csv"), set), c.first, c.digits, c.bound)
			t.Logf("%s: least log relative error %.1f", set, least)
		})
	}
}

// TestSmallReferenceRegressions needs nothing outside of the package: Norris, NoInt1,
// NoInt2 and Longley of the NIST Statistical Reference Datasets.
func TestSmallReferenceRegressions(t *testing.T) {
	values := embedded(t, "strd_certified.csv")
	for set, c := range map[string]struct {
		model Model
		first string
	}{
		"Norris": {ModelLinear, "B0"}, "NoInt1": {ModelThroughZero, "B1"}, "NoInt2": {ModelThroughZero, "B1"}, "Longley": {"", "B0"},
	} {
		t.Run(set, func(t *testing.T) {
			y, x := columns(t, embedded(t, "strd_"+strings.ToLower(set)+".csv"))
			agrees(t, fitSet(t, c.model, y, x), certifiedOf(values, set), c.first, 12, 0)
		})
	}
}
