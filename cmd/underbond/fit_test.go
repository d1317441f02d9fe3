package main

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"underbond/qc/calibration"
)

// TestFitGolden keeps every digit of the handbook calibrations.
func TestFitGolden(t *testing.T) {
	schema := schemaOf(t, "fit.schema.json")
	for name, args := range map[string][]string{
		"fluorescein":           {"fluorescein.csv", "--model", "linear", "--predict", "2.9,13.5,23.0,13.5x4"},
		"fluorescein-quadratic": {"fluorescein.csv", "--model", "quadratic", "--predict", "13.5", "--confidence", "0.9"},
		"fluorescein-segments":  {"fluorescein.csv", "--model", "point-to-point", "--predict", "13.5x2,30"},
		"silver":                {"silver.csv", "--model", "standard-addition"},
		"harvey":                {"harvey.csv", "--model", "linear", "--predict", "29.33x3"},
		"harvey-weighted":       {"harvey.csv", "--model", "linear", "--weight", "1/s^2", "--predict", "29.33x3"},
		"factors":               {"factors.csv", "--model", "average-rf", "--lod-rule", "signal-to-noise", "--noise", "0.5", "--predict", "40"},
	} {
		t.Run(name, func(t *testing.T) {
			args := append([]string{"fit", filepath.Join("testdata", "fit", args[0])}, args[1:]...)
			r := runs(t, append(args, "--json")...)
			if r.code != exitOK || r.err != "" {
				t.Fatalf("%+v", r)
			}
			if runtime.GOARCH == "amd64" { // the last digits of others can differ
				golden(t, "fit/"+name+".json", indented(t, r.out))
			}
			var value any
			if err := json.Unmarshal([]byte(r.out), &value); err != nil {
				t.Fatal(err)
			}
			conforms(t, "", schema, schema, value)
			if r := runs(t, args...); r.code != exitOK || r.err != "" {
				t.Errorf("as text: %+v", r)
			}
		})
	}
}

func TestFitText(t *testing.T) {
	r := runs(t, "fit", "testdata/fit/fluorescein.csv", "--model", "linear", "--predict", "2.9,13.5x4,30")
	if r.code != exitOK || r.err != "" {
		t.Fatalf("%+v", r)
	}
	golden(t, "fit/fluorescein.txt", r.out)
}

// indented makes a golden file of JSON readable and keeps its numbers as written.
func indented(t *testing.T, text string) string {
	t.Helper()
	raw := json.RawMessage(text)
	out, err := json.MarshalIndent(raw, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(out) + "\n"
}

func fitJSON(t *testing.T, args ...string) *struct {
	LOD, LOQ     *float64
	Coefficients []float64
	XIntercept   *float64 `json:"x_intercept"`
	Warnings     []string
	Points       []map[string]*float64
	Predictions  []map[string]*float64
} {
	t.Helper()
	got := new(struct {
		LOD, LOQ     *float64
		Coefficients []float64
		XIntercept   *float64 `json:"x_intercept"`
		Warnings     []string
		Points       []map[string]*float64
		Predictions  []map[string]*float64
	})
	r := runs(t, append([]string{"fit", "--json"}, args...)...)
	if r.code != exitOK {
		t.Fatalf("%+v", r)
	}
	if err := json.Unmarshal([]byte(r.out), got); err != nil {
		t.Fatal(err)
	}
	return got
}

// TestFitOrder: other orders of rows and columns change no digit.
func TestFitOrder(t *testing.T) {
	whole := func(content string) string {
		r := runs(t, "fit", "--json", "--model", "linear", "--weight", "1/s^2", "--predict", "29.33", write(t, "points.csv", content))
		if r.code != exitOK {
			t.Fatalf("%+v", r)
		}
		start, end := strings.Index(r.out, `"points":[`), strings.Index(r.out, `"predictions":`)
		points := strings.Split(strings.Trim(r.out[start+len(`"points":[`):end], "],"), "},")
		for i := range points {
			points[i] = strings.Trim(points[i], "{}")
		}
		slices.Sort(points)
		return r.out[:start] + strings.Join(points, "|") + r.out[end:]
	}
	rows := strings.Split(strings.TrimSpace(read(t, "testdata/fit/harvey.csv")), "\n")
	want := whole(strings.Join(rows, "\n"))
	turned := []string{"\ufeffs,x,y\r"}
	for _, i := range []int{4, 2, 6, 1, 3, 5} {
		cells := strings.Split(rows[i], ",")
		turned = append(turned, fmt.Sprintf(" %s ,%s,%s\r", cells[2], cells[0], cells[1]))
	}
	if got := whole(strings.Join(append(turned, ",,\r", ""), "\n")); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}

func TestFitLimits(t *testing.T) {
	replicates := write(t, "points.csv", "x,y\n0,1\n0,2\n0,3\n1,12\n1,11.5\n1,12.5\n1,11\n1,13\n1,12\n1,12\n5,52\n10,102\n")
	for name, c := range map[string]struct {
		args []string
		loq  bool
		says string
	}{
		"blank from the points":        {[]string{"--lod-rule", "blank", replicates}, true, ""},
		"blank given":                  {[]string{"--lod-rule", "blank", "--blank", "1,2,3", replicates}, true, ""},
		"mdl from the points":          {[]string{"--lod-rule", "mdl", replicates}, false, ""},
		"mdl given":                    {[]string{"--lod-rule", "mdl", "--spike", "12,11.5,12.5,11,13,12,12", "--blank", "2,2,2,2,2,2,2", replicates}, false, ""},
		"din-32645":                    {[]string{"--lod-rule", "din-32645", replicates}, true, ""},
		"calibration":                  {[]string{replicates}, true, ""},
		"calibration-3.3":              {[]string{"--lod-rule", "calibration-3.3", replicates}, true, ""},
		"signal-to-noise":              {[]string{"--lod-rule", "signal-to-noise", "--noise", "2", replicates}, true, ""},
		"a rule that does not go":      {[]string{"--lod-rule", "din-32645", "--weight", "1/y", replicates}, false, "no limits of detection and quantitation"},
		"scatter of a weighted fit":    {[]string{"--weight", "1/y", replicates}, true, "readings of blanks say more"},
		"mdl of the points, same as 1": {[]string{"--lod-rule", "mdl", "--spike", "12,11.5,12.5,11,13,12,12", replicates}, false, ""},
	} {
		t.Run(name, func(t *testing.T) {
			got := fitJSON(t, append([]string{"--model", "linear"}, c.args...)...)
			undefined := c.says != "" && !c.loq
			if (got.LOD == nil) != undefined || (got.LOQ == nil) == c.loq {
				t.Errorf("LOD %v, LOQ %v", got.LOD, got.LOQ)
			}
			if c.says != "" && !strings.Contains(strings.Join(got.Warnings, "\n"), c.says) {
				t.Errorf("warnings %q", got.Warnings)
			}
		})
	}
	byPoints := fitJSON(t, "--model", "linear", "--lod-rule", "mdl", replicates)
	byFlag := fitJSON(t, "--model", "linear", "--lod-rule", "mdl", "--spike", "12,11.5,12.5,11,13,12,12", replicates)
	if *byPoints.LOD != *byFlag.LOD {
		t.Errorf("%v from the points, %v from the flag", *byPoints.LOD, *byFlag.LOD)
	}
}

// TestFitUndefined: what cannot be said is null, and a warning says why.
func TestFitUndefined(t *testing.T) {
	arch := write(t, "points.csv", "x,y\n0,0\n1,7\n2,12\n3,15\n4,16\n5,15\n6,12\n")
	got := fitJSON(t, "--model", "quadratic", "--predict", "7,15,17", arch)
	warnings := strings.Join(got.Warnings, "\n")
	for _, says := range []string{"not monotonic", "several amounts have the response", "does not reach the response"} {
		if !strings.Contains(warnings, says) {
			t.Errorf("no warning %q in %q", says, got.Warnings)
		}
	}
	if x := got.Predictions[0]["x"]; x == nil || !(*x > 0.999 && *x < 1.001) {
		t.Errorf("%v", x)
	}
	for _, p := range got.Predictions[1:] {
		if p["x"] != nil || p["standard_error"] != nil || p["ci_low"] != nil || p["ci_high"] != nil {
			t.Errorf("%v", p)
		}
	}
	if a := got.Points[0]["accuracy_percent"]; a != nil {
		t.Errorf("accuracy at zero %v", *a)
	}
	outside := fitJSON(t, "--model", "linear", "--predict", "30", "testdata/fit/fluorescein.csv")
	if !strings.Contains(strings.Join(outside.Warnings, "\n"), "outside the calibrated range of 0 to 12") || outside.Predictions[0]["x"] == nil {
		t.Errorf("%+v", outside)
	}
	// A response below zero is a flag's value, too.
	if below := fitJSON(t, "--model", "linear", "--predict=-1.5x2", "testdata/fit/fluorescein.csv"); *below.Predictions[0]["replicates"] != 2 {
		t.Errorf("%+v", below)
	}
}

func TestFitRefusesPoints(t *testing.T) {
	for name, c := range map[string]struct {
		content string
		where   string
		says    string
		args    []string
	}{
		"empty":                 {"", ":1:1: ", "empty", nil},
		"header only":           {"x,y\n", ":2:1: ", "no point", nil},
		"no header":             {"1,2\n2,3\n", ":1:1: ", `unknown column "1"`, nil},
		"unknown column":        {"x,y,sd\n1,2,3\n", ":1:5: ", `unknown column "sd"`, nil},
		"twice":                 {"x,x\n1,2\n", ":1:3: ", "there twice", nil},
		"no y":                  {"x,s\n1,2\n", ":1:1: ", `no column "y"`, nil},
		"decimal comma":         {"x,y\n1,2\n1,5,2\n", ":3:1: ", "3 cells, the header 2", nil},
		"unit":                  {"x,y\n1,2\n2 mg/L,3\n", ":3:1: ", "2 mg/L", nil},
		"not a number":          {"x,y\n1,2\n2,NaN\n", ":3:3: ", "NaN", nil},
		"empty cell":            {"x,y\n1,2\n2,\n", ":3:3: ", "y is empty", nil},
		"open quote":            {"x,y\n1,\"2\n", ":2:", "", nil},
		"not UTF-8":             {"x,y\n1,\xff\n", ":2:", "", nil},
		"1/x at zero":           {"x,y\n1,2\n0,3\n2,4\n", ":3:1: ", "not above zero", []string{"--weight", "1/x"}},
		"1/y below zero":        {"y,x\n1,2\n-3,1\n2,4\n", ":3:1: ", "the response is -3", []string{"--weight", "1/y"}},
		"1/s^2 without s":       {"x,y\n1,2\n2,3\n3,4\n", ": ", "needs standard deviations", []string{"--weight", "1/s^2"}},
		"1/s^2, one is missing": {"x,y,s\n1,2,0.1\n2,3,\n3,4,0.1\n", ":3:5: ", "s is empty", []string{"--weight", "1/s^2"}},
		"1/s^2, one is zero":    {"x,y,s\n1,2,0.1\n2,3,0\n3,4,0.1\n", ":3:5: ", "the standard deviation is 0", []string{"--weight", "1/s^2"}},
		"one level":             {"x,y\n1,2\n1,3\n1,4\n", ": ", "1 levels for 2 coefficients", nil},
		"one point":             {"x,y\n1,2\n", ": ", "too few", nil},
	} {
		t.Run(name, func(t *testing.T) {
			path := write(t, "points.csv", c.content)
			r := runs(t, append([]string{"fit", "--json", "--model", "linear", path}, c.args...)...)
			if r.code != exitFailed || r.out != "" || !strings.Contains(r.err, path+c.where) || !strings.Contains(r.err, c.says) {
				t.Errorf("%+v", r)
			}
		})
	}
	both := runs(t, "fit", "--model", "linear", write(t, "points.csv", "x,y\na,b\n2,\n"))
	for _, where := range []string{":2:1: ", ":2:3: ", ":3:3: "} {
		if !strings.Contains(both.err, where) {
			t.Errorf("not all faults: %s", both.err)
		}
	}
	// Deviations that are not needed may be missing here and there.
	fitJSON(t, "--model", "linear", write(t, "points.csv", "x,y,s\n1,2,0.1\n2,3,\n3,4.5,0.1\n"))
}

func TestFitMistakesOnTheCommandLine(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"no model":                       {nil, "--model"},
		"unknown model":                  {[]string{"--model", "cubic"}, "polynomial:N"},
		"unknown weight":                 {[]string{"--model", "linear", "--weight", "1/z"}, "1/s^2"},
		"unknown rule":                   {[]string{"--model", "linear", "--lod-rule", "3s"}, "signal-to-noise"},
		"prediction not a number":        {[]string{"--model", "linear", "--predict", "high"}, "high"},
		"no reading":                     {[]string{"--model", "linear", "--predict", "13.5x0"}, "number of readings"},
		"readings missing":               {[]string{"--model", "linear", "--predict", "13.5x"}, "number of readings"},
		"certainty":                      {[]string{"--model", "linear", "--confidence", "1"}, "0.95"},
		"percent":                        {[]string{"--model", "linear", "--confidence", "95"}, "0.95"},
		"weights of factors":             {[]string{"--model", "average-rf", "--weight", "1/x"}, "does not go"},
		"weights of segments":            {[]string{"--model", "point-to-point", "--weight", "1/x"}, "does not go"},
		"predict from standard addition": {[]string{"--model", "standard-addition", "--predict", "1"}, "x intercept"},
		"blank without readings":         {[]string{"--model", "linear", "--lod-rule", "blank"}, "--blank"},
		"mdl without readings":           {[]string{"--model", "linear", "--lod-rule", "mdl"}, "--spike"},
		"noise without noise":            {[]string{"--model", "linear", "--lod-rule", "signal-to-noise"}, "--noise"},
		"noise not a number":             {[]string{"--model", "linear", "--lod-rule", "signal-to-noise", "--noise", "low"}, "low"},
		"blank not a number":             {[]string{"--model", "linear", "--lod-rule", "blank", "--blank", "1,2,low"}, "low"},
	} {
		t.Run(name, func(t *testing.T) {
			r := runs(t, append([]string{"fit", "testdata/fit/fluorescein.csv"}, c.args...)...)
			if r.code != exitUsage || r.out != "" || !strings.Contains(r.err, c.says) {
				t.Errorf("%+v", r)
			}
		})
	}
	if r := runs(t, "fit", "testdata/absent.csv", "--model", "linear"); r.code != exitUsage || !strings.Contains(r.err, "absent.csv") {
		t.Errorf("%+v", r)
	}
}

// FuzzFit: whatever a file holds, it is refused with its place or fitted, and a fit has
// finite coefficients.
func FuzzFit(f *testing.F) {
	f.Add("x,y\n1,2\n2,3\n4,5.5\n", byte(0))
	f.Add("y,x,s\r\n1e300,-2,1\r\n2,1e-300,.1\r\n4,5,1\r\n", byte(9))
	f.Add("x,y\n1.7e308,2\n-1.7e308,3\n1e308,5.5\n3,-1.7e308\n", byte(3))
	f.Add("x,y\n5e-324,2\n1e-323,3\n2e-323,5.5\n", byte(4))
	models := []calibration.Model{calibration.ModelAverageRF, calibration.ModelLinear, calibration.ModelThroughZero, calibration.ModelQuadratic,
		calibration.Polynomial(3), calibration.ModelStandardAddition, calibration.ModelPointToPoint}
	weights := []string{"1", "1/x", "1/x^2", "1/y", "1/s^2"}
	f.Fuzz(func(t *testing.T, content string, choice byte) {
		points, err := readPoints("points.csv", []byte(content), false)
		if err != nil {
			if !strings.HasPrefix(err.Error(), "points.csv:") {
				t.Errorf("no place: %v", err)
			}
			return
		}
		model, weight := models[int(choice)%len(models)], weights[int(choice)/len(models)%len(weights)]
		asked := &request{model: model, weight: fitWeights[weight], confidence: 0.95, rule: calibration.RuleCalibration, readings: []reading{{1, 1}}}
		if model == calibration.ModelStandardAddition {
			asked.readings = nil
		}
		c, err := calibration.Fit(points.Points, model, asked.weight)
		if err != nil {
			return
		}
		r, err := newFitReport(c, asked)
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range r.Coefficients {
			if b-b != 0 {
				t.Errorf("coefficient %v", b)
			}
		}
		if _, err := json.Marshal(r); err != nil {
			t.Error(err)
		}
	})
}

func schemaOf(t *testing.T, file string) map[string]any {
	t.Helper()
	var root map[string]any
	if err := json.Unmarshal([]byte(read(t, file)), &root); err != nil {
		t.Fatal(err)
	}
	return root
}

// conforms wants a value to be as the schema says, as far as types, keys and choices go.
func conforms(t *testing.T, path string, root, node map[string]any, value any) {
	t.Helper()
	if ref, ok := node["$ref"].(string); ok {
		node = root["$defs"].(map[string]any)[strings.TrimPrefix(ref, "#/$defs/")].(map[string]any)
	}
	if choices, ok := node["enum"].([]any); ok && !slices.Contains(choices, value) {
		t.Errorf("%s is %v, not one of %v", path, value, choices)
	}
	types, _ := node["type"].([]any)
	if one, ok := node["type"].(string); ok {
		types = []any{one}
	}
	kind := map[reflect.Kind]string{reflect.String: "string", reflect.Bool: "boolean", reflect.Float64: "number", reflect.Slice: "array", reflect.Map: "object", reflect.Invalid: "null"}[reflect.ValueOf(value).Kind()]
	if number, ok := value.(float64); ok && number == float64(int(number)) && slices.Contains(types, any("integer")) {
		kind = "integer"
	}
	if types != nil && !slices.Contains(types, any(kind)) {
		t.Errorf("%s is %s, not %v", path, kind, types)
		return
	}
	switch value := value.(type) {
	case []any:
		for i, item := range value {
			conforms(t, fmt.Sprintf("%s[%d]", path, i), root, node["items"].(map[string]any), item)
		}
	case map[string]any:
		properties := node["properties"].(map[string]any)
		for key, item := range value {
			property, ok := properties[key].(map[string]any)
			if !ok {
				t.Errorf("%s.%s is not in the schema", path, key)
				continue
			}
			conforms(t, path+"."+key, root, property, item)
		}
		for _, key := range node["required"].([]any) {
			if _, ok := value[key.(string)]; !ok {
				t.Errorf("%s.%s is missing", path, key)
			}
		}
	}
}
