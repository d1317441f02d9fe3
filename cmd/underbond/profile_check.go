package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"

	"underbond/cmd/underbond/propose"
	"underbond/parsers"
	"underbond/parsers/delimited"
)

// Shown of each file.
const (
	checkedAcquisitions = 3
	checkedRows         = 10
)

// profileReading is how a profile reads a file.
type profileReading struct {
	File         string               `json:"file"`
	Refusal      string               `json:"refusal,omitempty"` // the file is not read: why
	EndProof     parsers.EndProof     `json:"end_proof"`
	EndProofWhy  string               `json:"end_proof_why,omitempty"`
	Warnings     []parsers.Problem    `json:"warnings"`
	Acquisitions int                  `json:"acquisitions"`
	First        []profileAcquisition `json:"first"`
}

// profileAcquisition is one of the first acquisitions.
type profileAcquisition struct {
	Header  parsers.Header   `json:"header"`
	Columns []parsers.Column `json:"columns"`
	Count   int              `json:"rows"`
	Rows    [][]profileCell  `json:"first_rows"`
}

type profileCell struct {
	Text  string   `json:"text"`
	Value *float64 `json:"value"`
	Mark  string   `json:"mark,omitempty"`
}

// Begin implements parsers.Sink.
func (r *profileReading) Begin(h parsers.Header) error {
	if r.Acquisitions++; r.Acquisitions <= checkedAcquisitions {
		r.First = append(r.First, profileAcquisition{Header: h})
	}
	return nil
}

// Signal implements parsers.Sink.
func (r *profileReading) Signal(s parsers.Signal) error {
	table, ok := s.(*parsers.Table)
	if !ok || r.Acquisitions > checkedAcquisitions {
		return nil
	}
	a := &r.First[len(r.First)-1]
	a.Columns, a.Count, a.Rows = table.Columns, len(table.Rows), [][]profileCell{}
	for _, row := range table.Rows[:min(len(table.Rows), checkedRows)] {
		cells := make([]profileCell, len(row.Cells))
		for i, c := range row.Cells {
			cells[i] = profileCell{Text: c.Text, Mark: c.Mark}
			if c.Value != nil {
				v := *c.Value
				cells[i].Value = &v
			}
		}
		a.Rows = append(a.Rows, cells)
	}
	return nil
}

// End implements parsers.Sink.
func (r *profileReading) End(parsers.Trailer) error { return nil }

// readWith reads a file by a profile and keeps its first acquisitions.
func readWith(ctx context.Context, p *delimited.Profile, f propose.File) *profileReading {
	r := &profileReading{File: f.Name, Warnings: []parsers.Problem{}, First: []profileAcquisition{}}
	reader := delimited.New(p)
	var err error
	if r.EndProof, r.EndProofWhy, err = reader.EndProof(bytes.NewReader(f.Data), int64(len(f.Data))); err != nil {
		r.Refusal = err.Error()
		return r
	}
	warnings, err := reader.Read(ctx, bytes.NewReader(f.Data), parsers.Options{}, r)
	if err != nil {
		// What went to the sink before a refusal must be thrown away.
		r.Refusal, r.Acquisitions, r.First = err.Error(), 0, []profileAcquisition{}
	}
	r.Warnings = append(r.Warnings, warnings...)
	return r
}

// check shows how a profile reads the files, and fails when it refuses one.
func (c *profileCommand) check(ctx context.Context, io streams) error {
	data, err := os.ReadFile(c.Check)
	if err != nil {
		return fmt.Errorf("read the profile: %w", err)
	}
	p, err := delimited.ParseProfile(c.Check, data)
	if err != nil {
		return err
	}
	failed := false
	for _, path := range c.Files {
		data, err := os.ReadFile(path)
		if err != nil {
			return fmt.Errorf("read the export: %w", err)
		}
		r := readWith(ctx, p, propose.File{Name: path, Data: data})
		if ctx.Err() != nil {
			return ctx.Err()
		}
		failed = failed || r.Refusal != ""
		if c.JSON {
			err = printJSON(io.out, r)
		} else {
			err = r.print(io.out)
		}
		if err != nil {
			return err
		}
	}
	if failed {
		return errSilent
	}
	return nil
}

// print writes the first acquisitions as tables.
func (r *profileReading) print(out io.Writer) error {
	w := printer{out: out}
	if r.Refusal != "" {
		w.line("%s: refused: %s", r.File, r.Refusal)
		return w.err
	}
	proof := endMarks[string(r.EndProof)]
	if r.EndProofWhy != "" {
		proof += ", " + r.EndProofWhy
	}
	w.line("%s: %d acquisition(s), end mark %s", r.File, r.Acquisitions, proof)
	for _, p := range r.Warnings {
		w.line("  warning %s", p)
	}
	for _, a := range r.First {
		h := a.Header
		w.line("  Acquisition %d: key %q, sample %q, vial %q, start %q read as %q offset %q, %d row(s)", h.Record, h.NativeKey, h.Sample, h.Vial, h.Start.Text, h.Start.Local, h.Start.Offset, a.Count)
		for _, f := range h.Fields {
			w.line("    %s: %s", f.Name, f.Text)
		}
		if w.err != nil {
			return w.err
		}
		if err := a.table(out); err != nil {
			return err
		}
	}
	if left := r.Acquisitions - len(r.First); left > 0 {
		w.line("  … and %d more", left)
	}
	return w.err
}

func (a *profileAcquisition) table(out io.Writer) error {
	var names, meanings []string
	for _, c := range a.Columns {
		names = append(names, c.Name)
		meaning := c.Meaning
		if c.UnitText != "" {
			meaning += " in " + c.UnitText
		}
		if c.UnitText != "" && c.Unit == "" {
			meaning += " (unknown unit)"
		}
		meanings = append(meanings, meaning)
	}
	t := newTable(out, names...)
	t.row(meanings...)
	for _, row := range a.Rows {
		var texts []string
		for _, c := range row {
			switch {
			case c.Value != nil:
				texts = append(texts, number(c.Value, -1))
			case c.Mark == "":
				texts = append(texts, c.Text)
			case c.Text == "":
				texts = append(texts, "("+c.Mark+")")
			default:
				texts = append(texts, c.Text+" ("+c.Mark+")")
			}
		}
		t.row(texts...)
	}
	if a.Count > len(a.Rows) {
		t.row("…")
	}
	return t.flush()
}
