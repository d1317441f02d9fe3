package delimited

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

var update = flag.Bool("update", false, "write the golden files anew")

// example is a profile of testdata/examples with its export.
type example struct {
	profile *Profile
	data    []byte
	golden  string
}

func examples(t testing.TB) map[string]example {
	t.Helper()
	files, err := filepath.Glob("testdata/examples/*.yaml")
	if err != nil || len(files) < 4 {
		t.Fatalf("%d examples, %v", len(files), err)
	}
	all := map[string]example{}
	for _, file := range files {
		stem := strings.TrimSuffix(file, ".yaml")
		exports, err := filepath.Glob(stem + ".[ct][sx][vt]")
		if err != nil || len(exports) != 1 {
			t.Fatalf("exports of %s: %v, %v", file, exports, err)
		}
		data, err := os.ReadFile(exports[0])
		if err != nil {
			t.Fatal(err)
		}
		all[filepath.Base(stem)] = example{profile(t, strings.TrimPrefix(file, "testdata/")), data, stem + ".golden"}
	}
	return all
}

// written gives all that was read, one line a cell.
func written(all []taken, problems []parsers.Problem) string {
	var b strings.Builder
	for _, a := range all {
		h := a.header
		fmt.Fprintf(&b, "acquisition %d key %q sample %q vial %q title %q\n", h.Record, h.NativeKey, h.Sample, h.Vial, h.Title)
		fmt.Fprintf(&b, "  start %q local %q offset %q\n", h.Start.Text, h.Start.Local, h.Start.Offset)
		for _, f := range h.Fields {
			fmt.Fprintf(&b, "  field %q %q\n", f.Name, f.Text)
		}
		for _, row := range a.table.Rows {
			fmt.Fprintf(&b, "  line %d\n", row.Line)
			for i, c := range a.table.Columns {
				cell := row.Cells[i]
				fmt.Fprintf(&b, "    %s (%s, %q %q) %q", c.Name, c.Meaning, c.Unit, c.UnitText, cell.Text)
				if cell.Value != nil {
					fmt.Fprintf(&b, " = %v", *cell.Value)
				}
				if cell.Mark != "" {
					fmt.Fprintf(&b, " is %s", cell.Mark)
				}
				b.WriteByte('\n')
			}
		}
	}
	for _, p := range problems {
		fmt.Fprintf(&b, "%s\n", p)
	}
	return b.String()
}

func TestExamples(t *testing.T) {
	for name, e := range examples(t) {
		t.Run(name, func(t *testing.T) {
			got := written(readAll(t, e.profile, e.data))
			if *update {
				if err := os.WriteFile(e.golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(e.golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
			parserstest.Conformance(t, New(e.profile), []parserstest.Sample{{Name: name, Data: e.data}})
		})
	}
}
