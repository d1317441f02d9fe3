package main

import (
	"fmt"
	"os"

	"underbond/cmd/underbond/config"
	"underbond/ingest/custody"
	"underbond/ingest/worker"
	"underbond/qc/document"
)

type checkCommand struct {
	JSON  bool     `name:"json" help:"Print one JSON object a file."`
	Files []string `arg:"" help:"Documents or configuration files."`
}

// checked is what check says of a file.
type checked struct {
	File    string         `json:"file"`
	Kind    string         `json:"kind,omitempty"`
	Name    string         `json:"name,omitempty"`
	Version string         `json:"version,omitempty"`
	OK      bool           `json:"ok"`
	Faults  []checkedFault `json:"faults"`
}

type checkedFault struct {
	Line    int    `json:"line,omitempty"`
	Column  int    `json:"column,omitempty"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
}

// Run checks each file and fails when one has faults.
func (c *checkCommand) Run(io streams) error {
	failed := false
	for _, path := range c.Files {
		result, err := checkFile(path)
		failed = failed || err != nil
		switch {
		case c.JSON:
			result.Faults = faults(err)
			if err := printJSON(io.out, result); err != nil {
				return err
			}
		case err != nil:
			fmt.Fprintln(io.err, err)
		case result.Name != "":
			fmt.Fprintf(io.out, "%s: %s %s version %s, no faults\n", safe(path), result.Kind, result.Name, result.Version)
		default:
			fmt.Fprintf(io.out, "%s: %s, no faults\n", safe(path), result.Kind)
		}
	}
	if failed {
		return errSilent
	}
	return nil
}

func checkFile(path string) (checked, error) {
	result := checked{File: path, Faults: []checkedFault{}}
	data, err := os.ReadFile(path)
	if err != nil {
		return result, fmt.Errorf("read the file: %w", err)
	}
	kind, err := document.Detect(path, data)
	if err != nil {
		return result, err
	}
	result.Kind = string(kind)
	if kind == document.KindConfiguration {
		_, err := config.Parse(path, data)
		result.OK = err == nil
		return result, err
	}
	d, err := worker.ParseDocument(path, custody.HashOf(data), data)
	if err != nil {
		return result, err
	}
	result.Name, result.Version, result.OK = d.Name, d.Version, true
	return result, nil
}
