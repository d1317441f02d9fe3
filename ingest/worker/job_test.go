package worker

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

	"underbond/ingest/custody"
	"underbond/parsers"
	"underbond/parsers/delimited"
	"underbond/qc/method"
)

const (
	profileText = `kind: profile
name: log
version: "1"
title: invented
invented: true
encoding: utf-8
delimiter: ","
decimal_mark: "."
columns:
  - {name: Measured, meaning: start, type: time}
  - {name: Vial, meaning: vial, type: text}
  - {name: Alcohol, meaning: strength, unit: "% vol", type: number}
shape: wide
key: [start, vial]
date_format: YYYY-MM-DD HH:mm:ss
end: newline
`
	logText  = "Measured,Vial,Alcohol\n2026-03-02 08:00:00,1,40.1\n2026-03-02 08:05:00,2,41.5\n2026-03-02 08:10:00,3,39.8\n"
	infrared = "##TITLE=small\n##JCAMP-DX=5.01\n##DATA TYPE=INFRARED SPECTRUM\n##XUNITS=1/CM\n##YUNITS=ABSORBANCE\n" +
		"##XFACTOR=1\n##YFACTOR=0.5\n##FIRSTX=10\n##LASTX=40\n##NPOINTS=4\n##XYDATA=(X++(Y..Y))\n10 1 2 3 4\n##END=\n"
)

// failing is a source in memory on which every reading fails, or worse.
type failing struct {
	*bytes.Reader
	fail func() error
}

func (s failing) ReadAt([]byte, int64) (int, error) { return 0, s.fail() }
func (s failing) Read([]byte) (int, error)          { return 0, s.fail() }
func (failing) Close() error                        { return nil }

func logProfile(t *testing.T) *delimited.Profile {
	t.Helper()
	p, err := delimited.ParseProfile("log.yaml", []byte(profileText))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func read(t *testing.T, job Job, text string) Report {
	t.Helper()
	job.Hash, job.Zone = custody.HashOf([]byte(text)), time.UTC
	report, err := Read(t.Context(), job, source{bytes.NewReader([]byte(text))}, int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	set := 0
	for _, is := range []bool{report.Refusal != nil, report.Wait != "", len(report.Acquisitions) > 0} {
		if is {
			set++
		}
	}
	if set != 1 {
		t.Fatalf("not exactly one of refusal, wait and acquisitions: %+v", report)
	}
	return report
}

func TestEqualBytesAreTwoAcquisitionsByPlace(t *testing.T) {
	a := read(t, Job{Root: "UV", File: "march/a.dx", Instrument: "UV-1"}, infrared).Acquisitions[0]
	b := read(t, Job{Root: "UV", File: "march/b.dx", Instrument: "UV-1"}, infrared).Acquisitions[0]
	if a.Key != "UV/march/a.dx" || a.Record != 1 || a.Digest.IsZero() || a.Started.Status != parsers.StartAbsent {
		t.Errorf("%+v", a)
	}
	if b.Key == a.Key || b.Digest != a.Digest {
		t.Errorf("%s %s and %s %s", a.Key, a.Digest, b.Key, b.Digest)
	}
}

func TestOneChangedNumberChangesOneDigest(t *testing.T) {
	job := Job{Root: "DM", File: "log.csv", Instrument: "DM-1", Format: "auto", Profiles: []*delimited.Profile{logProfile(t)}}
	before, after := read(t, job, logText), read(t, job, strings.Replace(logText, "41.5", "41.6", 1))
	if len(before.Acquisitions) != 3 || len(after.Acquisitions) != 3 {
		t.Fatalf("%d and %d acquisitions, want 3", len(before.Acquisitions), len(after.Acquisitions))
	}
	for i, a := range before.Acquisitions {
		b := after.Acquisitions[i]
		if a.Key != b.Key || a.Record != i+1 {
			t.Errorf("record %d: key %s became %s", a.Record, a.Key, b.Key)
		}
		if changed := a.Digest != b.Digest; changed != (i == 1) {
			t.Errorf("record %d: digest changed: %v", a.Record, changed)
		}
	}
}

func TestReductionsOnceAPlan(t *testing.T) {
	strength := method.Method{Name: "a", Analytes: []method.Analyte{{Name: "strength", Source: method.Source{Table: &method.TableSource{Value: "strength"}}}}}
	renamed := strength
	renamed.Name = "b" // asks the same of the signals
	density := method.Method{Name: "c", Analytes: []method.Analyte{{Name: "density", Source: method.Source{Table: &method.TableSource{Value: "density"}}}}}
	job := Job{Root: "DM", File: "log.csv", Instrument: "DM-1", Profiles: []*delimited.Profile{logProfile(t)}, Methods: []*method.Method{&strength, &renamed, &density}}
	for _, a := range read(t, job, logText).Acquisitions {
		if len(a.Reductions) != 2 || a.Reductions[0].Plan == a.Reductions[1].Plan || len(a.Reductions[0].Body) == 0 {
			t.Errorf("%s: %d reductions, want 2", a.Key, len(a.Reductions))
		}
	}
	job.Methods = nil
	if a := read(t, job, logText).Acquisitions[0]; len(a.Reductions) != 0 {
		t.Errorf("%d reductions without a method", len(a.Reductions))
	}
}

// TestProblemStaysWithItsAcquisition: a fault of one acquisition is kept with it and does
// not refuse the file.
func TestProblemStaysWithItsAcquisition(t *testing.T) {
	report := read(t, Job{Root: "UV", File: "a.dx"}, strings.Replace(infrared, "##NPOINTS=4", "##NPOINTS=7", 1))
	if len(report.Acquisitions) != 1 || len(report.Acquisitions[0].Problems) == 0 {
		t.Errorf("%+v", report)
	}
}

func TestKeyTwiceInAFile(t *testing.T) {
	c := newCollector(Job{Root: "LC", File: "run.mzML"})
	if err := c.Begin(parsers.Header{Record: 1, NativeKey: "run 1"}); err != nil {
		t.Fatal(err)
	}
	if err := c.End(parsers.Trailer{}); err != nil {
		t.Fatal(err)
	}
	err := c.Begin(parsers.Header{Record: 2, NativeKey: "run 1"})
	var refusal *parsers.Refusal
	if !errors.As(err, &refusal) || refusal.Code != "duplicate-key" || refusal.Where.Record != 2 {
		t.Errorf("%v, want a refusal of record 2", err)
	}
}

func TestFaultsOfTheDiskAreNotTheFiles(t *testing.T) {
	broken := errors.New("input/output error")
	src := failing{bytes.NewReader([]byte(infrared)), func() error { return broken }}
	report, err := Read(t.Context(), Job{File: "a.dx"}, src, int64(len(infrared)))
	if !errors.Is(err, broken) || report.Refusal != nil {
		t.Errorf("%+v, %v", report, err)
	}
}

func TestPanicIsARefusal(t *testing.T) {
	src := failing{bytes.NewReader([]byte(infrared)), func() error { panic("index out of range") }}
	report, err := Read(t.Context(), Job{File: "a.dx"}, src, int64(len(infrared)))
	if err != nil || report.Refusal == nil || report.Refusal.Code != "reader-panic" || !strings.Contains(report.Refusal.Message, "index out of range") {
		t.Errorf("%+v, %v", report, err)
	}
}
