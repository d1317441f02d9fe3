package jcampdx

import (
	"bytes"
	"context"
	"math"
	"slices"
	"testing"

	"underbond/parsers"
)

// acquisition is what one Begin … End sequence gave.
type acquisition struct {
	header  parsers.Header
	spectra []parsers.Spectrum
	tables  []parsers.Table
	signals []parsers.Signal // both, in order
	trailer parsers.Trailer
}

// collector is a sink that keeps everything and fails the test on calls out of order.
type collector struct {
	t    testing.TB
	open bool
	got  []acquisition
}

func (c *collector) Begin(h parsers.Header) error {
	if c.open {
		c.t.Error("Begin before End")
	}
	c.open = true
	c.got = append(c.got, acquisition{header: h})
	return nil
}

func (c *collector) Signal(s parsers.Signal) error {
	if !c.open {
		c.t.Error("Signal outside of Begin and End")
	}
	a := &c.got[len(c.got)-1]
	switch s := s.(type) {
	case *parsers.Spectrum:
		if len(s.X) != len(s.Y) {
			c.t.Errorf("X has %d values, Y has %d", len(s.X), len(s.Y))
		}
		kept := *s
		kept.X, kept.Y = slices.Clone(s.X), slices.Clone(s.Y)
		a.spectra = append(a.spectra, kept)
		a.signals = append(a.signals, &kept)
	case *parsers.Table:
		a.tables = append(a.tables, *s)
		a.signals = append(a.signals, s)
	}
	return nil
}

func (c *collector) End(t parsers.Trailer) error {
	if !c.open {
		c.t.Error("End without Begin")
	}
	c.open = false
	c.got[len(c.got)-1].trailer = t
	return nil
}

// readAll reads content and gives acquisitions, all warnings, and the error.
func readAll(t testing.TB, content []byte, opt parsers.Options) ([]acquisition, []parsers.Problem, error) {
	t.Helper()
	c := &collector{t: t}
	problems, err := New().Read(context.Background(), bytes.NewReader(content), opt, c)
	if err == nil && c.open {
		t.Error("the last acquisition was not ended")
	}
	for _, a := range c.got {
		problems = append(problems, a.trailer.Problems...)
	}
	for _, p := range problems {
		if p.Grade != parsers.Warned && p.Grade != parsers.Lost {
			t.Errorf("problem beside acquisitions is a refusal: %v", p)
		}
	}
	return c.got, problems, err
}

// cancelled gives a context that has ended.
func cancelled() (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	return ctx, cancel
}

// asPoints gives the first two columns of a table of rows as a spectrum.
func asPoints(s parsers.Signal) parsers.Spectrum {
	switch s := s.(type) {
	case *parsers.Spectrum:
		return *s
	case *parsers.Table:
		out := parsers.Spectrum{XAxis: parsers.Quantity{UnitText: s.Columns[0].UnitText}}
		for _, row := range s.Rows {
			for i, axis := range []*[]float64{&out.X, &out.Y} {
				v := math.NaN()
				if given := row.Cells[i].Value; given != nil {
					v = *given
				}
				*axis = append(*axis, v)
			}
		}
		return out
	}
	return parsers.Spectrum{}
}

// codes lists the codes of problems.
func codes(problems []parsers.Problem) []string {
	var out []string
	for _, p := range problems {
		out = append(out, p.Code)
	}
	return out
}

// near compares with a relative tolerance.
func near(got, want, tolerance float64) bool {
	return math.Abs(got-want) <= tolerance*math.Max(1e-300, math.Max(math.Abs(got), math.Abs(want)))
}
