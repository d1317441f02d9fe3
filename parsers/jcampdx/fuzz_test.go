package jcampdx

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"testing"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

// strictSink fails on what no reader may hand over.
type strictSink struct {
	open    bool
	records int
}

var errOrder = errors.New("calls out of order")

func (s *strictSink) Begin(h parsers.Header) error {
	s.records++
	if s.open || h.Record != s.records || h.Format != parsers.FormatJCAMPDX {
		return errOrder
	}
	s.open = true
	return nil
}

func (s *strictSink) Signal(signal parsers.Signal) error {
	if !s.open {
		return errOrder
	}
	switch v := signal.(type) {
	case *parsers.Spectrum:
		if len(v.X) != len(v.Y) || (len(v.X) == 0) != v.Lost {
			return errors.New("axes of different length")
		}
		for i := range v.X {
			if math.IsNaN(v.X[i]) || math.IsInf(v.X[i], 0) || math.IsInf(v.Y[i], 0) {
				return errors.New("an abscissa is not a number or a value is infinite")
			}
		}
	case *parsers.Table:
		for _, row := range v.Rows {
			if len(row.Cells) != len(v.Columns) {
				return errors.New("row of another width than the table")
			}
		}
	}
	return nil
}

func (s *strictSink) End(parsers.Trailer) error {
	if !s.open {
		return errOrder
	}
	s.open = false
	return nil
}

// FuzzRead starts from hand-made files that show every form of table.
func FuzzRead(f *testing.F) {
	parserstest.Seeds(f, os.DirFS("testdata/files"))
	for _, form := range encodings {
		f.Add(file(encode(tableVI, form, 30), len(tableVI)))
	}
	f.Add([]byte(pagesFile))
	f.Add([]byte(spectrumFile(fourLabels, fourTable)))
	f.Add([]byte(spectrumFile("##FIRSTX=1,5\n", "##XYPOINTS=(XY..XY)\n1,5; 2,5\n2,5; 3\n")))
	f.Add([]byte(spectrumFile("", "##PEAK ASSIGNMENTS=(XYWA)\n(1,2,,<a\nb>)\n1,2,3,<c>\n")))
	f.Add([]byte("##TITLE=l\r##DATA TYPE=LINK\r##BLOCKS=1\r##TITLE=\xb5\r##XYDATA=(X++(Y..Y))\r1A?B\r##END=\r##END=\r\x1a\x00"))
	f.Fuzz(func(t *testing.T, content []byte) {
		opt := parsers.Options{Encoding: "windows-1252", Limits: parsers.Limits{Points: 1 << 16, TokenBytes: 1 << 16}}
		s := &strictSink{}
		problems, err := New().Read(context.Background(), bytes.NewReader(content), opt, s)
		var refusal *parsers.Refusal
		if err != nil && !errors.As(err, &refusal) {
			t.Fatal(err)
		}
		if err == nil && (s.open || s.records == 0) {
			t.Fatalf("read without error, %d acquisitions, open %t", s.records, s.open)
		}
		for _, p := range problems {
			if p.Grade == parsers.Refused {
				t.Fatal(p)
			}
		}
		proof, why, err2 := New().EndProof(bytes.NewReader(content), int64(len(content)))
		if err2 != nil || (proof == parsers.EndProofFailed) == (why == "") {
			t.Fatalf("end proof %q, %q, %v", proof, why, err2)
		}
		if err == nil && proof != parsers.EndProofHeld {
			t.Fatalf("content is read as whole, but the end proof fails: %s", why)
		}
		New().Sniff(content[:min(len(content), parsers.SniffLength)])
	})
}
