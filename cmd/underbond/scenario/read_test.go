package scenario

import (
	"bytes"
	"context"
	"errors"
	"math"
	"path"
	"slices"
	"testing"
	"time"

	"underbond/parsers"
	"underbond/parsers/delimited"
	"underbond/parsers/jcampdx"
	"underbond/parsers/mzml"
)

// readerOf gives the reader for an instrument's exports.
func readerOf(t *testing.T, s *Scenario, instrument string) parsers.Reader {
	t.Helper()
	i := slices.IndexFunc(s.Instruments, func(i Instrument) bool { return i.Name == instrument })
	if i < 0 {
		t.Fatalf("the scenario has no instrument %s", instrument)
	}
	switch s.Instruments[i].Format {
	case parsers.FormatMzML:
		return mzml.Reader{}
	case parsers.FormatJCAMPDX:
		return jcampdx.New()
	}
	profile := s.Instruments[i].Profile
	for _, d := range s.Documents {
		if d.Kind == "profile" && path.Base(d.File) == profile+".yaml" {
			p, err := delimited.ParseProfile(d.File, d.Data)
			if err != nil {
				t.Fatal(err)
			}
			return delimited.New(p)
		}
	}
	t.Fatalf("instrument %s has no reader", instrument)
	return nil
}

// tally counts what a reader gives and keeps the last signal's values.
type tally struct {
	headers  []parsers.Header
	problems []parsers.Problem
	rows     int
	x, y     []float64
}

func (c *tally) Begin(h parsers.Header) error { c.headers = append(c.headers, h); return nil }

func (c *tally) Signal(s parsers.Signal) error {
	switch s := s.(type) {
	case *parsers.Table:
		c.rows += len(s.Rows)
	case *parsers.Spectrum:
		c.x, c.y = append([]float64(nil), s.X...), append([]float64(nil), s.Y...)
	case *parsers.Chromatogram:
		c.x, c.y = append([]float64(nil), s.Time...), append([]float64(nil), s.Value...)
	}
	return nil
}

func (c *tally) End(t parsers.Trailer) error {
	c.problems = append(c.problems, t.Problems...)
	return nil
}

func TestExportsRead(t *testing.T) {
	s := build(t, 2)
	acquisitions := map[string]int{}
	for _, step := range s.Steps {
		reader := readerOf(t, s, step.Instrument)
		head := step.Bytes[:min(len(step.Bytes), parsers.SniffLength)]
		if reader.Format() != parsers.FormatDelimited && reader.Sniff(head).Confidence < 80 {
			t.Errorf("%s is hardly taken for %s: %v", step.File, reader.Format(), reader.Sniff(head))
		}
		proof, why, err := reader.EndProof(bytes.NewReader(step.Bytes), int64(len(step.Bytes)))
		if err != nil || step.Unfinished != (proof == parsers.EndProofFailed) {
			t.Errorf("%s: end proof %s (%s), %v", step.File, proof, why, err)
		}
		var seen tally
		warnings, err := reader.Read(context.Background(), bytes.NewReader(step.Bytes), parsers.Options{}, &seen)
		if step.Unfinished {
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Code != mzml.CodeTruncated {
				t.Errorf("%s is not refused as cut: %v", step.File, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", step.File, err)
			continue
		}
		if all := append(warnings, seen.problems...); len(all) > 0 {
			t.Errorf("%s has problems: %v", step.File, all)
		}
		acquisitions[step.Instrument] += len(seen.headers)
		for _, h := range seen.headers {
			zone, err := time.LoadLocation(Zone)
			if err != nil {
				t.Fatal(err)
			}
			if started := h.Start.Resolve(zone); started.At == nil || started.At.Month() != time.March || started.At.Day() > 17 {
				t.Errorf("%s starts at %+v", step.File, started)
			}
		}
	}
	want := map[string]int{"GC-1": 48, "LC-1": 47, "UV-1": 35, "DM-1": 48, "PM-1": 39}
	for instrument, n := range want {
		if acquisitions[instrument] != n {
			t.Errorf("%s gives %d acquisitions, want %d", instrument, acquisitions[instrument], n)
		}
	}
}

// TestSpectraSurvive: plain and packed ordinates give back the spectrum that was meant.
func TestSpectraSurvive(t *testing.T) {
	b := &builder{seed: 2, cellar: fillCellar(2), stray: strayBottle(2)}
	for _, p := range b.plans() {
		if p.instrument != "UV-1" {
			continue
		}
		for _, e := range p.entries {
			for name, packed := range map[string]bool{"plain": false, "packed": true} {
				var seen tally
				data := jcampFile(e, packed, newNoise(1, name))
				if _, err := jcampdx.New().Read(context.Background(), bytes.NewReader(data), parsers.Options{}, &seen); err != nil {
					t.Fatalf("%s, %s: %v", e.file, name, err)
				}
				if len(seen.x) != 481 || seen.x[0] != 220 || seen.x[480] != 700 {
					t.Fatalf("%s, %s: %d points", e.file, name, len(seen.x))
				}
				for i, x := range seen.x {
					want := e.solution.spectrum.at(x) / max(e.solution.thinned, 1)
					if d := math.Abs(seen.y[i] - want); !(d <= 0.0005+0.003*want) {
						t.Fatalf("%s, %s: absorbance %v at %v nm, want %v", e.file, name, seen.y[i], x, want)
					}
				}
			}
		}
	}
}
