package mzml

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"

	"underbond/parsers"
)

// collected is a sink that copies what it is given and checks the order of calls.
type collected struct {
	header  *parsers.Header
	spectra []parsers.Spectrum
	traces  []parsers.Chromatogram
	trailer *parsers.Trailer
	fail    error // returned by Signal
}

func (c *collected) Begin(h parsers.Header) error {
	if c.header != nil {
		return errors.New("Begin twice")
	}
	c.header = &h
	return nil
}

func (c *collected) Signal(s parsers.Signal) error {
	if c.header == nil || c.trailer != nil {
		return errors.New("Signal outside of an acquisition")
	}
	switch s := s.(type) {
	case *parsers.Spectrum:
		if len(s.X) != len(s.Y) {
			return fmt.Errorf("spectrum %d: %d and %d points", s.Index, len(s.X), len(s.Y))
		}
		kept := *s
		kept.X, kept.Y, kept.Fields, kept.Extra = slices.Clone(s.X), slices.Clone(s.Y), slices.Clone(s.Fields), cloneExtra(s.Extra)
		kept.Precursors, kept.ScanWindows = slices.Clone(s.Precursors), slices.Clone(s.ScanWindows)
		c.spectra = append(c.spectra, kept)
	case *parsers.Chromatogram:
		if len(s.Time) != len(s.Value) {
			return fmt.Errorf("chromatogram %d: %d and %d points", s.Index, len(s.Time), len(s.Value))
		}
		kept := *s
		kept.Time, kept.Value, kept.Fields, kept.Extra = slices.Clone(s.Time), slices.Clone(s.Value), slices.Clone(s.Fields), cloneExtra(s.Extra)
		c.traces = append(c.traces, kept)
	default:
		return fmt.Errorf("a signal of type %T", s)
	}
	return c.fail
}

func cloneExtra(list []parsers.Array) []parsers.Array {
	list = slices.Clone(list)
	for i := range list {
		list[i].Values = slices.Clone(list[i].Values)
	}
	return list
}

func (c *collected) End(t parsers.Trailer) error {
	if c.header == nil || c.trailer != nil {
		return errors.New("End outside of an acquisition")
	}
	c.trailer = &t
	return nil
}

// read reads content; all warnings, of the file and of the run, are given together.
func read(content []byte, lim parsers.Limits) (*collected, []parsers.Problem, error) {
	c := &collected{}
	problems, err := Reader{}.Read(context.Background(), bytes.NewReader(content), parsers.Options{Limits: lim}, c)
	if c.trailer != nil {
		problems = append(problems, c.trailer.Problems...)
	}
	return c, problems, err
}

// codesOf lists the codes of problems, each once, in order.
func codesOf(problems []parsers.Problem) []string {
	var codes []string
	for _, p := range problems {
		if !slices.Contains(codes, p.Code) {
			codes = append(codes, p.Code)
		}
	}
	return codes
}
