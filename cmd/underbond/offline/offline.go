// Package offline makes the input of an evaluation from files, without a database: what
// the daemon would see if these files were all that had arrived.
package offline

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"underbond/ingest/custody"
	"underbond/ingest/worker"
	"underbond/parsers"
	"underbond/parsers/delimited"
	"underbond/qc"
	"underbond/qc/method"
	"underbond/qc/register"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// Request names the files of an evaluation.
type Request struct {
	Method    string
	Worklist  string   // optional: without it, every acquisition is a sample
	Samples   string   // optional register
	Standards string   // optional standards list
	Profiles  []string // for delimited exports
	Exports   []string
	Zone      *time.Location
}

// RefusedError says which export was refused, and why.
type RefusedError struct {
	File    string
	Problem parsers.Problem
}

// Error implements error.
func (e *RefusedError) Error() string { return e.File + " is refused: " + e.Problem.String() }

// Input reads the files and puts the input together. Exports that are refused are a
// *RefusedError; faults in documents are located errors.
func Input(ctx context.Context, r Request) (*qc.Input, error) {
	in := &qc.Input{Schema: qc.InputSchema, Members: []qc.Member{}, Unlisted: []qc.Unlisted{}, Samples: []qc.SampleFacts{},
		Standards: []standard.Standard{}, Related: []qc.Related{}}
	m, err := document(in, "method", r.Method, worker.ParseMethod)
	if err != nil {
		return nil, err
	}
	in.Method = *m
	in.Documents[0].Name, in.Documents[0].Version = m.Name, m.Version
	profiles, err := r.profiles(m)
	if err != nil {
		return nil, err
	}
	list := &worklist.Worklist{Name: "no-worklist", Method: m.Name}
	if r.Worklist != "" {
		if list, err = document(in, "worklist", r.Worklist, worklist.Parse); err != nil {
			return nil, err
		}
		in.Documents[len(in.Documents)-1].Name, in.Documents[len(in.Documents)-1].Version = list.Name, list.Version
		if list.Method != m.Name {
			return nil, fmt.Errorf("worklist %s is for method %s, not for %s", list.Name, list.Method, m.Name)
		}
	}
	in.Batch = qc.Batch{Name: list.Name, Instrument: list.Instrument}
	read, err := r.read(ctx, list.Instrument, m, profiles)
	if err != nil {
		return nil, err
	}
	names := func(line, i int) bool { return list.Lines[line].Names(read[i].file, read[i].Header.Vial) }
	if r.Worklist == "" {
		list.Lines = everySample(read)
		names = func(line, i int) bool { return line == i } // several may share file and vial
	}
	if err := bind(in, list, read, names); err != nil {
		return nil, err
	}
	if err := r.facts(in); err != nil {
		return nil, err
	}
	slices.SortFunc(in.Documents, func(a, b qc.DocumentRef) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Name, b.Name), cmp.Compare(a.Version, b.Version))
	})
	return in, nil
}

// document reads and parses a document, and lists it in the input.
func document[T any](in *qc.Input, kind, path string, parse func(string, []byte) (*T, error)) (*T, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the %s: %w", kind, err)
	}
	parsed, err := parse(path, data)
	if err != nil {
		return nil, err
	}
	in.Documents = append(in.Documents, qc.DocumentRef{Kind: kind, SHA256: custody.HashOf(data).String()})
	return parsed, nil
}

// profiles reads the given profiles; without any, the method's profile is looked for
// beside the method and in a folder profiles beside the method's folder.
func (r Request) profiles(m *method.Method) ([]*delimited.Profile, error) {
	paths := r.Profiles
	if len(paths) == 0 && m.Input.Profile != "" {
		name := m.Input.Profile + ".yaml"
		folder := filepath.Dir(r.Method)
		for _, path := range []string{filepath.Join(folder, name), filepath.Join(folder, "..", "profiles", name)} {
			if _, err := os.Stat(path); err == nil {
				paths = append(paths, path)
				break
			}
		}
		if len(paths) == 0 {
			return nil, fmt.Errorf("method %s reads exports by profile %s; name its file with --profile", m.Name, m.Input.Profile)
		}
	}
	var list []*delimited.Profile
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, fmt.Errorf("read the profile: %w", err)
		}
		p, err := delimited.ParseProfile(path, data)
		if err != nil {
			return nil, err
		}
		list = append(list, p)
	}
	return list, nil
}

// reading is one acquisition with the file it came from.
type reading struct {
	file string // base name
	path string
	worker.Acquisition
}

func (r Request) read(ctx context.Context, instrument string, m *method.Method, profiles []*delimited.Profile) ([]reading, error) {
	var all []reading
	seen := map[string]string{}
	for _, path := range r.Exports {
		report, err := ReadExport(ctx, path, worker.Job{Instrument: instrument, Format: "auto", Profiles: profiles, Methods: []*method.Method{m}, Zone: r.Zone})
		if err != nil {
			return nil, err
		}
		for _, a := range report.Acquisitions {
			if before, twice := seen[a.Key]; twice {
				return nil, fmt.Errorf("acquisition %s is in %s and in %s; give one of the two", a.Key, before, path)
			}
			seen[a.Key] = path
			all = append(all, reading{filepath.Base(path), path, a})
		}
	}
	return all, nil
}

// ReadExport reads one export as job says; what is refused or has no profile is a *RefusedError.
func ReadExport(ctx context.Context, path string, job worker.Job) (worker.Report, error) {
	file, err := os.Open(path)
	if err != nil {
		return worker.Report{}, fmt.Errorf("open the export: %w", err)
	}
	defer file.Close()
	target, err := filepath.EvalSymlinks(path) // custody itself follows no link
	if err != nil {
		return worker.Report{}, fmt.Errorf("find the export: %w", err)
	}
	hash, identity, err := custody.Digest(ctx, custody.Source{Path: target})
	if err != nil {
		return worker.Report{}, fmt.Errorf("hash %s: %w", path, err)
	}
	job.File, job.Hash, job.Object = filepath.Base(path), hash, path
	report, err := worker.Read(ctx, job, file, identity.Size)
	switch {
	case err != nil:
		return report, err
	case report.Refusal != nil:
		return report, &RefusedError{path, *report.Refusal}
	case report.Wait != "":
		return report, &RefusedError{path, parsers.Refuse("no-profile", parsers.Place{}, "it needs %s", report.Wait).Problem}
	}
	return report, nil
}

// everySample is the worklist of files that have none: every acquisition is a sample.
func everySample(read []reading) []worklist.Line {
	var lines []worklist.Line
	for i, a := range read {
		sample := a.Header.Sample
		if sample == "" {
			sample = a.Key
		}
		lines = append(lines, worklist.Line{Position: i + 1, Run: "1", File: a.file, Vial: a.Header.Vial, Sample: sample, Role: worklist.RoleSample, Dilution: 1})
	}
	return lines
}

// bind gives each line the acquisitions that it names, and lists the others.
func bind(in *qc.Input, list *worklist.Worklist, read []reading, names func(line, i int) bool) error {
	used := make([]bool, len(read))
	complete := len(list.Lines) > 0
	for n, line := range list.Lines {
		m := qc.Member{Line: line, State: qc.MemberAwaited, Started: parsers.Started{Status: parsers.StartAbsent}}
		for i, a := range read {
			if !names(n, i) {
				continue
			}
			used[i] = true
			ref := a.ref(in.Batch.Instrument)
			m.Claimants = append(m.Claimants, ref)
			m.State, m.Acquisition, m.Started = qc.MemberRecorded, &ref, a.Started
			var reduction qc.Reduction
			if err := json.Unmarshal(a.Reductions[0].Body, &reduction); err != nil {
				return fmt.Errorf("read the reduction of %s: %w", a.path, err)
			}
			m.Reduction = &reduction
		}
		if len(m.Claimants) > 1 {
			m.State, m.Acquisition, m.Reduction, m.Started = qc.MemberAmbiguous, nil, nil, parsers.Started{Status: parsers.StartAbsent}
		} else {
			m.Claimants = nil
		}
		complete = complete && m.State == qc.MemberRecorded
		in.Members = append(in.Members, m)
	}
	for i, a := range read {
		if !used[i] {
			in.Unlisted = append(in.Unlisted, qc.Unlisted{Acquisition: a.ref(in.Batch.Instrument), Started: a.Started})
		}
	}
	if complete {
		in.Batch.Closed, in.Batch.Cause = true, "worklist complete"
	}
	return nil
}

func (a reading) ref(instrument string) qc.AcquisitionRef {
	return qc.AcquisitionRef{Instrument: instrument, Key: a.Key, Revision: a.Digest.String(), File: a.file}
}

// facts adds what the register and the standards list say of the samples and standards named.
func (r Request) facts(in *qc.Input) error {
	named, standards := map[string]bool{}, map[string]bool{}
	for _, m := range in.Members {
		named[m.Line.Sample] = true
		for _, id := range m.Line.Standards {
			standards[id] = true
		}
	}
	if r.Samples != "" {
		reg, err := document(in, "register", r.Samples, register.Parse)
		if err != nil {
			return err
		}
		in.Documents[len(in.Documents)-1].Name, in.Documents[len(in.Documents)-1].Version = reg.Name, reg.Version
		for _, s := range reg.Samples {
			if named[s.ID] {
				in.Samples = append(in.Samples, qc.SampleFacts{ID: s.ID, Category: s.Category})
			}
		}
	}
	if r.Standards != "" {
		list, err := document(in, "standards", r.Standards, standard.Parse)
		if err != nil {
			return err
		}
		in.Documents[len(in.Documents)-1].Name, in.Documents[len(in.Documents)-1].Version = list.Name, list.Version
		for _, s := range list.Standards {
			if standards[s.ID] {
				in.Standards = append(in.Standards, s)
			}
		}
	}
	slices.SortFunc(in.Samples, func(a, b qc.SampleFacts) int { return cmp.Compare(a.ID, b.ID) })
	slices.SortFunc(in.Standards, func(a, b standard.Standard) int { return cmp.Compare(a.ID, b.ID) })
	return nil
}
