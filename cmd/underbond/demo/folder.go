package demo

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"underbond/cmd/underbond/scenario"
	"underbond/ingest/custody"
)

// marker tells a folder that the demo made, and may make anew, from any other.
const marker = "THIS-IS-A-DEMO.txt"

const markerText = "This folder holds the demo of underbond: invented data of an invented laboratory.\nStarting the demo again replaces it. Nothing real belongs here.\n"

// DefaultFolder is where the demo's data goes: the current folder, or /var/tmp for root
// when the account that runs Postgres could not reach the current one.
func DefaultFolder() (string, error) {
	here, err := os.Getwd()
	if err != nil {
		return "", fmt.Errorf("find the current folder: %w", err)
	}
	if runtime.GOOS != "windows" && os.Geteuid() == 0 && !passable(here) {
		here = "/var/tmp"
	}
	return filepath.Join(here, "underbond-demo"), nil
}

// passable tells whether every account can pass through the folder and those above it.
func passable(folder string) bool {
	for {
		info, err := os.Stat(folder)
		if err != nil || info.Mode().Perm()&0o001 == 0 {
			return false
		}
		up := filepath.Dir(folder)
		if up == folder {
			return true
		}
		folder = up
	}
}

// prepare makes the folder anew and writes the configuration; it returns the
// configuration's path.
func prepare(folder string, s *scenario.Scenario) (string, error) {
	if err := clear(folder); err != nil {
		return "", err
	}
	for _, sub := range append([]string{"documents"}, exportFolders(s)...) {
		if err := os.MkdirAll(filepath.Join(folder, sub), 0o755); err != nil {
			return "", fmt.Errorf("make the demo folder: %w", err)
		}
	}
	if err := os.WriteFile(filepath.Join(folder, marker), []byte(markerText), 0o644); err != nil {
		return "", fmt.Errorf("mark the demo folder: %w", err)
	}
	path := filepath.Join(folder, "underbond.yaml")
	if err := os.WriteFile(path, []byte(configuration(s)), 0o644); err != nil {
		return "", fmt.Errorf("write the demo's configuration: %w", err)
	}
	return path, nil
}

// clear removes what an earlier demo left; any other content is refused.
func clear(folder string) error {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(entries) == 0 {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look into the demo folder: %w", err)
	}
	if _, err := os.Stat(filepath.Join(folder, marker)); err != nil {
		return fmt.Errorf("%s is not empty and was not made by the demo; choose another folder with --data", folder)
	}
	lock, err := custody.LockDir(filepath.Join(folder, "archive"))
	if err != nil {
		return fmt.Errorf("another demo runs in %s: %w; stop it, or choose another folder with --data", folder, err)
	}
	if err := lock.Unlock(); err != nil {
		return fmt.Errorf("unlock the demo folder: %w", err)
	}
	if err := os.RemoveAll(folder); err != nil {
		return fmt.Errorf("remove the earlier demo: %w", err)
	}
	return nil
}

func exportFolders(s *scenario.Scenario) []string {
	var list []string
	for _, i := range s.Instruments {
		list = append(list, filepath.Join("exports", i.Name))
	}
	return list
}

// configuration is the demo's underbond.yaml. The times are short, so that a person
// does not wait; a laboratory's are longer.
func configuration(s *scenario.Scenario) string {
	var b strings.Builder
	b.WriteString("# Configuration of the demo: an invented laboratory. The waiting times are far shorter than a laboratory's.\n" +
		"kind: configuration\ndata: data\narchive: archive\nhttp:\n  address: 127.0.0.1:0\nwatch:\n  quiet: 600ms\n  scan_every: 300ms\n  incomplete_after: 4s\nfolders:\n" +
		"  - name: documents\n    path: documents\n    holds: documents\n")
	for _, i := range s.Instruments {
		fmt.Fprintf(&b, "  - name: %s\n    path: exports/%s\n    instrument: %s\n    zone: %s\n", strings.ToLower(i.Name), i.Name, i.Name, scenario.Zone)
	}
	return b.String()
}
