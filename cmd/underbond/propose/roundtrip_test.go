package propose

import (
	"bytes"
	"path"
	"slices"
	"strings"
	"testing"

	"underbond/cmd/underbond/scenario"
	"underbond/parsers"
	"underbond/parsers/delimited"
	"underbond/parsers/parserstest"
)

// answers are what a person would say to the open questions about the demonstration's
// exports; no other question may come up.
var answers = map[string]*strings.Replacer{
	"gc-peak-table": strings.NewReplacer(),
	"density-log":   strings.NewReplacer(),
	"metals-table":  strings.NewReplacer(),
}

func readTables(t *testing.T, p *delimited.Profile, data []byte) *tables {
	t.Helper()
	sink := &tables{}
	if _, err := delimited.New(p).Read(t.Context(), bytes.NewReader(data), parsers.Options{}, sink); err != nil {
		t.Fatal(err)
	}
	return sink
}

// TestDemoRoundTrip: the profiles proposed for the demonstration's exports read them to
// the same acquisitions and cells as the profiles written by hand, and no part of an
// export passes for the whole.
func TestDemoRoundTrip(t *testing.T) {
	s, err := scenario.Build(1)
	if err != nil {
		t.Fatal(err)
	}
	for _, instrument := range s.Instruments {
		if instrument.Format != parsers.FormatDelimited {
			continue
		}
		t.Run(instrument.Profile, func(t *testing.T) {
			i := slices.IndexFunc(s.Documents, func(d scenario.Document) bool { return path.Base(d.File) == instrument.Profile+".yaml" })
			byHand, err := delimited.ParseProfile(s.Documents[i].File, s.Documents[i].Data)
			if err != nil {
				t.Fatal(err)
			}
			var files []File
			for _, step := range s.Steps {
				// Of a file that is exported again the proposal needs one.
				if step.Instrument == instrument.Name && !slices.ContainsFunc(files, func(f File) bool { return f.Name == step.File }) {
					files = append(files, File{step.File, step.Bytes})
				}
			}
			p, err := Make(files, Options{})
			if err != nil {
				t.Fatal(err)
			}
			yaml := answers[instrument.Profile].Replace(string(p.YAML()))
			proposed, err := delimited.ParseProfile("proposed.yaml", []byte(yaml))
			if err != nil {
				t.Fatalf("%v\n%s", err, yaml)
			}
			if !slices.Equal(proposed.Key, byHand.Key) || proposed.Shape != byHand.Shape || proposed.Footer != byHand.Footer || proposed.End != byHand.End {
				t.Errorf("key %q, shape %s, footer %q, end %q; by hand %q, %s, %q, %q", proposed.Key, proposed.Shape, proposed.Footer, proposed.End, byHand.Key, byHand.Shape, byHand.Footer, byHand.End)
			}
			for _, f := range files {
				parserstest.Truncation(t, delimited.New(byHand), []parserstest.Sample{{Name: f.Name, Data: f.Data}})
				same(t, f.Name, readTables(t, proposed, f.Data), readTables(t, byHand, f.Data))
			}
		})
	}
}

func same(t *testing.T, file string, got, want *tables) {
	t.Helper()
	if len(got.headers) != len(want.headers) || len(got.rows) != len(want.rows) {
		t.Errorf("%s: %d acquisitions of %d rows, want %d of %d", file, len(got.headers), len(got.rows), len(want.headers), len(want.rows))
		return
	}
	for i, h := range want.headers {
		if g := got.headers[i]; g.NativeKey != h.NativeKey || g.Start != h.Start || g.Sample != h.Sample || g.Vial != h.Vial {
			t.Errorf("%s: acquisition %+v, want %+v", file, g, h)
		}
	}
	for i, c := range want.columns {
		if g := got.columns[i]; g.Name != c.Name || g.Meaning != c.Meaning || c.Unit != "" && g.Unit != c.Unit {
			t.Errorf("%s: column %+v, want %+v", file, g, c)
		}
	}
	for i, row := range want.rows {
		for k, cell := range row {
			g := got.rows[i][k]
			if g.Text != cell.Text || g.Mark != cell.Mark || (g.Value == nil) != (cell.Value == nil) || g.Value != nil && *g.Value != *cell.Value {
				t.Errorf("%s: row %d, %s is %+v, want %+v", file, i+1, want.columns[k].Name, g, cell)
			}
		}
	}
}
