// Package parserstest holds tests that several packages pass: the conformance of
// every reader with its contract, and directories of bad documents with the message
// that each must give.
package parserstest

import (
	"io/fs"
	"path"
	"strings"
	"testing"
)

// Bad parses every file of dir and wants the error text that the file of the same
// name with the ending .txt holds. Each document must fail.
func Bad(t *testing.T, dir fs.FS, parse func(file string, data []byte) error) {
	t.Helper()
	entries, err := fs.ReadDir(dir, ".")
	if err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, entry := range entries {
		name := entry.Name()
		if path.Ext(name) == ".txt" {
			continue
		}
		tried++
		t.Run(name, func(t *testing.T) {
			data, err := fs.ReadFile(dir, name)
			if err != nil {
				t.Fatal(err)
			}
			want, err := fs.ReadFile(dir, strings.TrimSuffix(name, path.Ext(name))+".txt")
			if err != nil {
				t.Fatal(err)
			}
			got := parse(name, data)
			if got == nil {
				t.Fatal("no error")
			}
			if text := got.Error() + "\n"; text != string(want) {
				t.Errorf("got\n%s\nwant\n%s", text, want)
			}
		})
	}
	if tried == 0 {
		t.Error("no bad documents")
	}
}
