package parserstest

import (
	"io/fs"
	"path"
	"testing"
)

// Seeds gives all documents below dir to a fuzz test.
func Seeds(f *testing.F, dir fs.FS) {
	f.Helper()
	err := fs.WalkDir(dir, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || path.Ext(name) == ".txt" || path.Dir(name) != "." && path.Base(path.Dir(name)) != "bad" {
			return err
		}
		data, err := fs.ReadFile(dir, name)
		f.Add(data)
		return err
	})
	if err != nil {
		f.Fatal(err)
	}
}
