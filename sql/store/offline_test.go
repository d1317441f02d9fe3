package store_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"underbond/cmd/underbond/offline"
	"underbond/cmd/underbond/scenario"
	"underbond/ingest/record"
	"underbond/ingest/worker"
	"underbond/parsers/delimited"
	"underbond/qc"
	"underbond/qc/method"
)

// TestSnapshotIsWhatTheFilesSay: what the record gives for evaluation is what is put
// together from the same files without a database.
func TestSnapshotIsWhatTheFilesSay(t *testing.T) {
	s, err := scenario.Build(1)
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation(scenario.Zone)
	if err != nil {
		t.Fatal(err)
	}
	w := written{laboratory: newLaboratory(t), dir: t.TempDir(), zone: zone, finished: map[string]bool{}, instruments: map[string]scenario.Instrument{}}
	for _, i := range s.Instruments {
		w.instruments[i.Name] = i
	}
	for _, d := range s.Documents {
		w.document(d)
	}
	for _, step := range s.Steps {
		w.export(step)
	}
	for _, b := range s.Batches {
		t.Run(b.Name, func(t *testing.T) {
			request := offline.Request{Method: w.file("methods/" + b.Method + ".yaml"), Worklist: w.file("worklists/" + b.Name + ".csv"), Samples: w.file("registers/county-survey-2026.csv"),
				Standards: w.file("standards/standards-2026.csv"), Zone: zone}
			for _, file := range b.Files {
				if w.finished[file] {
					request.Exports = append(request.Exports, w.file("exports/"+file))
				}
			}
			want, err := offline.Input(t.Context(), request)
			if err != nil {
				t.Fatal(err)
			}
			snap := w.snapshot(w.batch(b.Name))
			snap.Input.Related = want.Related // results of other batches, which files do not have
			if diff := cmp.Diff(canonical(t, want), canonical(t, &snap.Input)); diff != "" {
				t.Errorf("files (-) and record (+):\n%s", diff)
			}
		})
	}
}

// canonical is the canonical JSON of an input, with line ends for a readable difference.
func canonical(t *testing.T, in *qc.Input) string {
	t.Helper()
	body, err := qc.Canonical(in.Ordered())
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, body, "", " "); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// written are the scenario's files, on the disk and in the record.
type written struct {
	*laboratory
	dir         string
	zone        *time.Location
	profiles    []*delimited.Profile
	methods     []*method.Method
	instruments map[string]scenario.Instrument
	finished    map[string]bool
}

func (w *written) file(name string) string { return filepath.Join(w.dir, filepath.FromSlash(name)) }

func (w *written) write(name string, data []byte) {
	w.Helper()
	w.must(os.MkdirAll(filepath.Dir(w.file(name)), 0o755))
	w.must(os.WriteFile(w.file(name), data, 0o600))
}

func (w *written) document(d scenario.Document) {
	w.Helper()
	w.write(d.File, d.Data)
	w.must(w.laboratory.document(d.File, string(d.Data)))
	switch d.Kind {
	case "profile":
		p, err := delimited.ParseProfile(d.File, d.Data)
		w.must(err)
		w.profiles = append(w.profiles, p)
	case "method":
		m, err := method.Parse(d.File, d.Data)
		w.must(err)
		w.methods = append(w.methods, m)
	}
}

// export takes a finished file as the pipeline does.
func (w *written) export(step scenario.Step) {
	w.Helper()
	if step.Unfinished {
		return
	}
	w.finished[step.File] = true
	w.write("exports/"+step.File, step.Bytes)
	// Files without a database have no folder of a name.
	c := w.take(w.arrival("", record.HoldsExports, step.Instrument, step.File, step.Bytes))
	instrument := w.instruments[step.Instrument]
	report, err := worker.Read(w.Context(), worker.Job{Hash: c.Object, File: step.File, Root: c.Root, Instrument: c.Instrument, Format: instrument.Format, Profile: instrument.Profile,
		Profiles: w.profiles, Methods: w.methods, Zone: w.zone}, source{bytes.NewReader(step.Bytes)}, c.Size)
	w.must(err)
	if report.Refusal != nil || report.Wait != "" {
		w.Fatalf("%s: %v %s", step.File, report.Refusal, report.Wait)
	}
	var list []record.Acquisition
	for _, a := range report.Acquisitions {
		list = append(list, record.Acquisition{Instrument: c.Instrument, Key: a.Key, Record: a.Record, Digest: a.Digest, Header: a.Header, File: path.Base(step.File), Started: a.Started, Problems: a.Problems})
		for _, r := range a.Reductions {
			var reduction qc.Reduction
			w.must(json.Unmarshal(r.Body, &reduction))
			if r.Plan == w.planOf(step.Instrument) {
				w.reductions[a.Digest.String()] = &reduction
			}
		}
	}
	w.must(w.RecordAcquisitions(w.Context(), c, list, nil))
}

// planOf is the reduction plan of the one method that the scenario has for an instrument.
func (w *written) planOf(instrument string) string {
	name := map[string]string{"GC-1": "congeners-gc", "LC-1": "wood-lc", "UV-1": "colour-uv", "DM-1": "strength-dm", "PM-1": "metals-pm"}[instrument]
	for _, m := range w.methods {
		if m.Name == name {
			return qc.NewPlan(m).Digest()
		}
	}
	w.Fatalf("no method for %s", instrument)
	return ""
}

type source struct{ *bytes.Reader }

func (source) Close() error { return nil }
