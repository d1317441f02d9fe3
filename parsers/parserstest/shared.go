package parserstest

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"testing"
)

// Shared gives the path of a file or folder in the folder "shared" beside the
// repository, where published values and public files lie; slash separated. The test
// skips where it is absent.
func Shared(t testing.TB, name string) string {
	t.Helper()
	path, there := FindShared(name)
	if !there {
		t.Skipf("no shared/%s beside the repository", name)
	}
	return path
}

// FindShared is Shared without a test to skip.
func FindShared(name string) (path string, there bool) {
	dir, err := os.Getwd()
	for err == nil {
		path := filepath.Join(dir, "shared", filepath.FromSlash(name))
		if _, err := os.Stat(path); err == nil {
			return path, true
		}
		up := filepath.Dir(dir)
		if up == dir {
			break
		}
		dir = up
	}
	return "", false
}

// Reference gives the rows of a CSV file of published values below shared/reference,
// without its header row. Rows may differ in length. The test skips where it is absent.
func Reference(t testing.TB, name string) [][]string {
	t.Helper()
	file, err := os.Open(Shared(t, "reference/"+name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.FieldsPerRecord = -1
	rows, err := reader.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s has %d rows: %v", name, len(rows), err)
	}
	return rows[1:]
}
