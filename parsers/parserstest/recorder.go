package parserstest

import (
	"bytes"
	"fmt"

	"underbond/parsers"
)

// recorder is a sink that writes the calls down, checks their order and can fail.
type recorder struct {
	calls  bytes.Buffer
	fail   string
	err    error
	failed bool
	after  int  // calls after the failed one
	data   bool // write down what was measured, without the digest of the bytes
	open   bool
	begun  int
	warned int // problems of acquisitions
	faults []string
}

func (r *recorder) call(name string) error {
	if r.failed {
		r.after++
	}
	if name == r.fail {
		r.failed = true
		return r.err
	}
	return nil
}

func (r *recorder) fault(format string, args ...any) {
	r.faults = append(r.faults, fmt.Sprintf(format, args...))
}

// Begin implements parsers.Sink.
func (r *recorder) Begin(h parsers.Header) error {
	if r.begun++; h.Record != r.begun {
		r.fault("acquisition %d has record number %d", r.begun, h.Record)
	}
	if r.open {
		r.fault("acquisition %d begins inside another", r.begun)
	}
	if h.Format == "" {
		r.fault("acquisition %d has no format", r.begun)
	}
	r.open = true
	fmt.Fprintf(&r.calls, "begin %+v\n", h)
	return r.call("begin")
}

// Signal implements parsers.Sink.
func (r *recorder) Signal(s parsers.Signal) error {
	if !r.open {
		r.fault("a signal outside an acquisition")
	}
	switch s := s.(type) {
	case *parsers.Table:
		fmt.Fprintf(&r.calls, "table %q %+v\n", s.Name, s.Columns)
		for _, row := range s.Rows {
			if len(row.Cells) != len(s.Columns) {
				r.fault("line %d has %d cells for %d columns", row.Line, len(row.Cells), len(s.Columns))
			}
			fmt.Fprintf(&r.calls, "%d:", row.Line)
			for _, c := range row.Cells {
				if c.Value != nil {
					fmt.Fprintf(&r.calls, " %q=%v", c.Text, *c.Value)
				} else {
					fmt.Fprintf(&r.calls, " %q %s", c.Text, c.Mark)
				}
			}
			r.calls.WriteByte('\n')
		}
	case *parsers.Spectrum:
		if len(s.X) != len(s.Y) {
			r.fault("spectrum %d has %d x and %d y", s.Index, len(s.X), len(s.Y))
		}
		fmt.Fprintf(&r.calls, "spectrum %+v\n", *s)
	case *parsers.Chromatogram:
		if len(s.Time) != len(s.Value) {
			r.fault("chromatogram %d has %d times and %d values", s.Index, len(s.Time), len(s.Value))
		}
		fmt.Fprintf(&r.calls, "chromatogram %+v\n", *s)
	default:
		r.fault("unknown signal %T", s)
	}
	return r.call("signal")
}

// End implements parsers.Sink.
func (r *recorder) End(tr parsers.Trailer) error {
	if !r.open {
		r.fault("an end without a beginning")
	}
	r.open = false
	r.warned += len(tr.Problems)
	if r.data {
		tr.Digest = [32]byte{}
	}
	fmt.Fprintf(&r.calls, "end %+v\n", tr)
	return r.call("end")
}
