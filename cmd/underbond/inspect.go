package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/text/encoding/htmlindex"

	"underbond/cmd/underbond/inspect"
	"underbond/parsers/delimited"
)

type inspectCommand struct {
	JSON     bool     `name:"json" help:"Print one JSON object a file."`
	Points   bool     `name:"points" help:"Print all points and table cells."`
	All      bool     `name:"all" help:"Print everything of a long list, such as every spectrum of a run, not only first, middle and last."`
	Profile  []string `name:"profile" short:"p" type:"existingfile" sep:"none" help:"Profile of delimited exports; give several by repeating the flag." placeholder:"PROFILE.yaml"`
	Zone     string   `name:"zone" help:"Time zone of the instrument PC; without it, wall clock times stay as written." placeholder:"ZONE"`
	Encoding string   `name:"encoding" help:"Code page of text that does not say its own, such as windows-1252." placeholder:"NAME"`
	Files    []string `arg:"" help:"Export files."`
}

// Run shows each file and fails when one is refused or cannot be read.
func (c *inspectCommand) Run(ctx context.Context, io streams) error {
	opt := inspect.Options{Points: c.Points, All: c.All, Encoding: c.Encoding}
	if c.Zone != "" {
		zone, err := time.LoadLocation(c.Zone)
		if err != nil {
			return &usageError{fmt.Sprintf("--zone %q is not a time zone; use a name such as Europe/Berlin", c.Zone)}
		}
		opt.Zone = zone
	}
	if _, err := htmlindex.Get(c.Encoding); c.Encoding != "" && err != nil {
		return &usageError{fmt.Sprintf("--encoding %q is not known; use a name such as windows-1252", c.Encoding)}
	}
	for _, path := range c.Profile {
		data, err := os.ReadFile(path)
		if err != nil {
			return fmt.Errorf("read the profile: %w", err)
		}
		p, err := delimited.ParseProfile(path, data)
		if err != nil {
			return err
		}
		opt.Profiles = append(opt.Profiles, p)
	}
	failed := false
	for _, path := range c.Files {
		report, err := inspect.File(ctx, path, opt)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			fmt.Fprintln(io.err, "underbond:", err)
			failed = true
			continue
		}
		failed = failed || report.Outcome == inspect.OutcomeRefused
		if c.JSON {
			err = printJSON(io.out, report)
		} else {
			err = c.print(io.out, report)
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

// shown is how many acquisitions, tables or chromatograms of a long list are printed as text.
const shown = 12

// print prints a report as text.
func (c *inspectCommand) print(out io.Writer, r *inspect.Report) error {
	p := printer{out: out}
	p.line("%s: %s", r.File, r.Outcome)
	format := string(r.Format)
	if format == "" {
		format = "unknown format"
	}
	if r.FormatVersion != "" {
		format += " " + string(r.FormatVersion)
	}
	if r.Profile != "" {
		format += " by profile " + string(r.Profile)
	}
	p.line("  %s, end mark %s, SHA-256 %s", format, endMarks[string(r.EndProof)], r.SHA256)
	for _, problem := range r.Problems {
		for i, text := range strings.Split(problem.Message, "\n") {
			if i == 0 {
				text = fmt.Sprintf("%s %s at %s: %s", problem.Grade, problem.Code, problem.Where, text)
			}
			p.line("  %s", text)
		}
	}
	for _, a := range r.Acquisitions[:c.upTo(len(r.Acquisitions))] {
		p.acquisition(a, c)
	}
	p.rest("  ", len(r.Acquisitions), c, "acquisitions")
	return p.err
}

var endMarks = map[string]string{"held": "there", "failed": "missing", "none": "not to be expected"}

func (c *inspectCommand) upTo(n int) int {
	if c.All {
		return n
	}
	return min(n, shown)
}

// printer writes lines whose texts from files are made safe for a terminal.
type printer struct {
	out io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err != nil {
		return
	}
	if _, err := fmt.Fprintln(p.out, safe(fmt.Sprintf(format, args...))); err != nil {
		p.err = fmt.Errorf("write the summary: %w", err)
	}
}

func (p *printer) rest(indent string, n int, c *inspectCommand, what string) {
	if left := n - c.upTo(n); left > 0 {
		p.line("%s… and %d more %s; --all or --json gives them", indent, left, what)
	}
}

func (p *printer) acquisition(a inspect.Acquisition, c *inspectCommand) {
	p.line("  Acquisition %d%s%s%s%s", a.Record, named("title", a.Title), named("sample", a.Sample), named("vial", a.Vial), started(a))
	for _, t := range a.Tables[:c.upTo(len(a.Tables))] {
		p.table(t)
	}
	p.rest("    ", len(a.Tables), c, "tables")
	if a.SpectrumN > 0 {
		p.line("    %d spectra", a.SpectrumN)
	}
	for _, s := range a.Spectra {
		p.line("    spectrum %d: %s%s, %d points, x %s to %s %s, sum %s, greatest %s at %s", s.Index, or(s.Kind, "spectrum"), scan(s),
			s.Points, value(s.First), value(s.Last), or(s.XUnitText, string(s.XUnit)), value(s.Sum), value(s.BaseIntensity), value(s.BaseAt))
		p.xy(s.XY)
	}
	for _, g := range a.Chromatogram[:c.upTo(len(a.Chromatogram))] {
		p.line("    chromatogram %d: %s%s, %d points, %s to %s s, sum %s, greatest %s at %s s", g.Index, or(g.Kind, "chromatogram"), named("id", g.ID),
			g.Points, value(g.First), value(g.Last), value(g.Sum), value(g.Max), value(g.MaxAt))
		p.xy(g.XY)
	}
	p.rest("    ", len(a.Chromatogram), c, "chromatograms")
}

func (p *printer) table(t inspect.Table) {
	if t.Rows != nil {
		names := make([]string, len(t.Columns))
		for i, column := range t.Columns {
			names[i] = column.Name
		}
		p.line("    table %s, %d rows: %s", or(t.Label, "without a name"), *t.Rows, strings.Join(names, " | "))
		for _, row := range t.Cells {
			texts := make([]string, len(row))
			for i, cell := range row {
				texts[i] = cell.Text
			}
			p.line("      %s", strings.Join(texts, " | "))
		}
		return
	}
	p.line("    %s %s%s%s, %d points, x %s to %s %s, y %s to %s %s, sum %s", t.Label, t.Form, named("id", t.ID), named("type", t.DataType),
		*t.Points, value(t.First.X), value(t.Last.X), or(t.XUnitText, ""), value(t.MinY), value(t.MaxY), or(t.YUnitText, ""), value(t.SumY))
	p.xy(t.XY)
}

func (p *printer) xy(points *inspect.Points) {
	if points == nil {
		return
	}
	for i, x := range points.X {
		p.line("      %s %s", exact(x), exact(points.Y[i]))
	}
}

func started(a inspect.Acquisition) string {
	switch {
	case a.StartedAt != nil:
		return ", started " + a.StartedAt.Format(time.RFC3339Nano)
	case a.StartedText != "":
		return fmt.Sprintf(", started %q (%s)", string(a.StartedText), a.StartStatus)
	}
	return ""
}

func scan(s inspect.Spectrum) string {
	var b strings.Builder
	if s.MSLevel > 0 {
		fmt.Fprintf(&b, ", level %d", s.MSLevel)
	}
	for _, text := range []inspect.Text{s.Polarity, s.Mode} {
		if text != "" {
			b.WriteString(", " + string(text))
		}
	}
	if s.ScanTime.Known() {
		fmt.Fprintf(&b, ", at %s s", value(s.ScanTime))
	}
	return b.String()
}

func named(what string, text inspect.Text) string {
	if text == "" {
		return ""
	}
	return fmt.Sprintf(", %s %q", what, string(text))
}

func or(text inspect.Text, instead string) string {
	if text == "" {
		return instead
	}
	return string(text)
}

func value(v inspect.Value) string {
	if !v.Known() {
		return "–"
	}
	f := float64(v)
	return number(&f, 10)
}

// exact gives all digits; a missing ordinate is a dash.
func exact(v float64) string {
	if !inspect.Value(v).Known() {
		return "–"
	}
	return number(&v, -1)
}
