package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"

	"underbond/cmd/underbond/propose"
	"underbond/parsers/delimited"
)

type profileCommand struct {
	JSON     bool     `name:"json" help:"Print JSON: the proposal with its reasons, or with --check one object a file."`
	Check    string   `name:"check" type:"existingfile" help:"Show how this profile reads the files, instead of proposing one." placeholder:"PROFILE.yaml"`
	Encoding string   `name:"encoding" help:"Encoding of files that do not say their own, such as windows-1252." placeholder:"NAME"`
	Name     string   `name:"name" help:"Name of the proposed profile; without it, from the first file's name." placeholder:"NAME"`
	Files    []string `arg:"" help:"Delimited exports of one kind."`
}

// Run prints a proposed profile on the standard output and what was understood on the
// standard error, or shows how a profile reads files.
func (c *profileCommand) Run(ctx context.Context, io streams) error {
	if c.Encoding != "" && !slices.Contains(delimited.Encodings(), c.Encoding) {
		return &usageError{fmt.Sprintf("--encoding %q is not one of %q", c.Encoding, delimited.Encodings())}
	}
	if c.Check != "" {
		if c.Encoding != "" || c.Name != "" {
			return &usageError{"--check takes name and encoding from the profile: leave --name and --encoding out"}
		}
		return c.check(ctx, io)
	}
	var files []propose.File
	for _, path := range c.Files {
		data, err := os.ReadFile(path)
		if err != nil {
			return fmt.Errorf("read the export: %w", err)
		}
		files = append(files, propose.File{Name: path, Data: data})
	}
	p, err := propose.Make(files, propose.Options{Name: c.Name, Encoding: c.Encoding})
	if err != nil {
		return err
	}
	if c.JSON {
		if err := printJSON(io.out, p); err != nil {
			return err
		}
	} else if _, err := io.out.Write(p.YAML()); err != nil {
		return fmt.Errorf("write the profile: %w", err)
	}
	return c.tell(ctx, io.err, p, files)
}

// tell says in words what was understood. A proposal without questions must read the
// files that it comes from; when it does not, that is said and the command fails.
func (c *profileCommand) tell(ctx context.Context, out io.Writer, p *propose.Proposal, files []propose.File) error {
	w := printer{out: out}
	w.line("%d file(s), %d rows of %d columns: %s shape, %s, delimiter %q, decimal mark %q", p.Files, p.Rows, p.Columns, p.Profile.Shape, p.Profile.Encoding, p.Profile.Delimiter, p.Profile.DecimalMark)
	for _, n := range p.Decisions {
		w.line("  %s: %s", n.Key, n.Text)
	}
	for _, n := range p.Questions {
		w.line("  QUESTION %s: %s", n.Key, n.Text)
	}
	if len(p.Questions) > 0 {
		w.line("%d question(s) are open: answer them in the profile, then look with underbond profile --check PROFILE FILE", len(p.Questions))
		return w.err
	}
	profile, err := delimited.ParseProfile("the proposed profile", p.YAML())
	if err != nil {
		return fmt.Errorf("check the proposal: %w", err)
	}
	failed := false
	for _, f := range files {
		if r := readWith(ctx, profile, f); r.Refusal != "" {
			w.line("%s: the proposed profile refuses it: %s", f.Name, r.Refusal)
			failed = true
		}
	}
	if w.err == nil && failed {
		return errSilent
	}
	return w.err
}
