package main

import (
	"context"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"underbond/cmd/underbond/offline"
	"underbond/qc"
)

func batchFile(name string) string { return filepath.Join("testdata", "batch", name) }

// batchArgs evaluates the invented batch: one analyte, the last check standard fails.
func batchArgs(extra ...string) []string {
	return append([]string{"evaluate", "-m", batchFile("methanol.yaml"), "-w", batchFile("worklist.csv"), "--samples", batchFile("samples.csv"),
		"--standards", batchFile("standards.csv"), "--zone", "Europe/Berlin"}, extra...)
}

func batchInput(t *testing.T) []byte {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	in, err := offline.Input(context.Background(), offline.Request{Method: batchFile("methanol.yaml"), Worklist: batchFile("worklist.csv"),
		Samples: batchFile("samples.csv"), Standards: batchFile("standards.csv"), Exports: []string{batchFile("peaks.csv")}, Zone: zone})
	if err != nil {
		t.Fatal(err)
	}
	line, err := qc.Canonical(in)
	if err != nil {
		t.Fatal(err)
	}
	return line
}

// TestEvaluateText and TestEvaluateJSON hold a result that is held: no failure of the command.
func TestEvaluateText(t *testing.T) {
	r := runs(t, batchArgs(batchFile("peaks.csv"))...)
	if r.code != exitOK || r.err != "" {
		t.Fatalf("%+v", r)
	}
	golden(t, "evaluation.txt", r.out)
}

func TestEvaluateJSON(t *testing.T) {
	r := runs(t, batchArgs("--json", batchFile("peaks.csv"))...)
	if r.code != exitOK || r.err != "" {
		t.Fatalf("%+v", r)
	}
	golden(t, "evaluation.json", r.out)
	var got struct {
		Schema  int `json:"schema_version"`
		Batches []qc.Evaluation
	}
	if err := json.Unmarshal([]byte(r.out), &got); err != nil {
		t.Fatal(err)
	}
	if got.Schema != qc.EvaluationSchema || len(got.Batches) != 1 || len(got.Batches[0].Results) != 2 {
		t.Fatalf("%+v", got)
	}
	for i, want := range []string{qc.Clear, qc.Held} {
		if r := got.Batches[0].Results[i]; r.Disposition != want {
			t.Errorf("%s is %s, want %s", r.Sample, r.Disposition, want)
		}
	}
}

func TestReplayGivesTheSameBytes(t *testing.T) {
	line := string(batchInput(t))
	once := write(t, "once.ndjson", line+"\n")
	for name, flags := range map[string][]string{"text": nil, "JSON": {"--json"}} {
		t.Run(name, func(t *testing.T) {
			direct := runs(t, batchArgs(append(flags, batchFile("peaks.csv"))...)...)
			replayed := runs(t, append([]string{"evaluate", "--inputs", once}, flags...)...)
			if direct != replayed || direct.code != exitOK {
				t.Errorf("direct\n%+v\nreplayed\n%+v", direct, replayed)
			}
		})
	}
	twice := runs(t, "evaluate", "--json", "--inputs", write(t, "twice.ndjson", line+"\n\n"+line))
	var got struct{ Batches []json.RawMessage }
	if err := json.Unmarshal([]byte(twice.out), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Batches) != 2 || string(got.Batches[0]) != string(got.Batches[1]) {
		t.Errorf("%d batches, or two that differ", len(got.Batches))
	}
	if none := runs(t, "evaluate", "--json", "--inputs", write(t, "none.ndjson", "")); none.code != exitOK || none.out != "{\"schema_version\":1,\"batches\":[]}\n" {
		t.Errorf("no input: %+v", none)
	}
}

func TestReplayRefuses(t *testing.T) {
	good := string(batchInput(t))
	for name, c := range map[string]struct{ content, says string }{
		"no JSON":      {good + "\nnonsense\n", ":2: not an evaluation input"},
		"unknown key":  {strings.Replace(good, `{"`, `{"clock":1,"`, 1), ":1: not an evaluation input"},
		"other schema": {strings.Replace(good, `"schema":1`, `"schema":99`, 1), ":1: "},
		"two a line":   {good + good, ":1: not an evaluation input"},
		"cut":          {good[:len(good)/2], ":1: not an evaluation input"},
	} {
		t.Run(name, func(t *testing.T) {
			path := write(t, "in.ndjson", c.content)
			r := runs(t, "evaluate", "--json", "--inputs", path)
			if r.code != exitFailed || !strings.Contains(r.err, path+c.says) {
				t.Errorf("%+v", r)
			}
			if json.Valid([]byte(r.out)) {
				t.Errorf("the answer passes for a whole one: %s", r.out)
			}
		})
	}
}

func TestEvaluateRefuses(t *testing.T) {
	peaks := read(t, batchFile("peaks.csv"))
	cases := map[string]struct {
		args []string
		says string
	}{
		"export that is cut":   {batchArgs(write(t, "peaks.csv", strings.TrimSuffix(peaks, "\n"))), "is refused: incomplete"},
		"number that is none":  {batchArgs(write(t, "peaks.csv", strings.Replace(peaks, ",997\n", ",997x\n", 1))), "is refused: delimited-number at line 3, column 6, Area"},
		"export of no profile": {batchArgs(write(t, "peaks.csv", "a,b\n1,2\n")), "is refused: no-profile"},
		"same export twice":    {batchArgs(batchFile("peaks.csv"), write(t, "again.csv", peaks)), "give one of the two"},
		"worklist of another method": {[]string{"evaluate", "-m", batchFile("methanol.yaml"), "-w",
			write(t, "w.csv", strings.Replace(read(t, batchFile("worklist.csv")), "methanol-test", "other", 1)), batchFile("peaks.csv")}, "is for method other"},
		"worklist with a fault": {[]string{"evaluate", "-m", batchFile("methanol.yaml"), "-w",
			write(t, "w.csv", strings.Replace(read(t, batchFile("worklist.csv")), "method blank", "blank", 1)), batchFile("peaks.csv")}, "w.csv:7:22: "},
		"profile not to be found": {[]string{"evaluate", "-m", write(t, "m.yaml", read(t, batchFile("methanol.yaml"))), batchFile("peaks.csv")}, "--profile"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r := runs(t, c.args...)
			if r.code != exitFailed || r.out != "" || !strings.Contains(r.err, c.says) {
				t.Errorf("%+v", r)
			}
		})
	}
}

// TestEvaluateWithoutWorklist takes every acquisition for a sample, also where several
// lie in one file and share a vial.
func TestEvaluateWithoutWorklist(t *testing.T) {
	oneVial := strings.ReplaceAll(read(t, batchFile("peaks.csv")), "8,8,OC-001", "8,7,OC-001")
	r := runs(t, "evaluate", "--json", "-m", batchFile("methanol.yaml"), write(t, "peaks.csv", oneVial))
	var got struct{ Batches []qc.Evaluation }
	if err := json.Unmarshal([]byte(r.out), &got); err != nil {
		t.Fatalf("%v: %+v", err, r)
	}
	e := got.Batches[0]
	if r.code != exitOK || len(e.Results) != 11 {
		t.Fatalf("%d results, %s", len(e.Results), r.err)
	}
	keys := map[string]bool{}
	for _, result := range e.Results {
		if result.Disposition != qc.Held {
			t.Errorf("%s is %s without quality control", result.Sample, result.Disposition)
		}
		keys[result.Acquisition.Key] = true
	}
	if len(keys) != 11 {
		t.Errorf("results of %d acquisitions", len(keys))
	}
}
