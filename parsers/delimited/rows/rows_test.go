package rows

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
)

// all gives the cells of all rows that are not blank.
func all(src io.Reader, opt Options) (table [][]string, err error) {
	s := New(src, opt)
	for {
		row, err := s.Next()
		if err == io.EOF {
			return table, nil
		}
		if err != nil {
			return table, err
		}
		if row.Blank() {
			continue
		}
		var cells []string
		for _, c := range row.Cells {
			cells = append(cells, string(c))
		}
		table = append(table, cells)
	}
}

func TestRows(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		want [][]string
	}{
		"plain":            {"a,b\nc,\n", [][]string{{"a", "b"}, {"c", ""}}},
		"no last line end": {"a,b", [][]string{{"a", "b"}}},
		"quotes":           {"\"a,b\",\"c\"\"d\",\"\"\n", [][]string{{"a,b", `c"d`, ""}}},
		"line end in cell": {"\"a\nb\",c\nd,e\n", [][]string{{"a\nb", "c"}, {"d", "e"}}},
		"CRLF":             {"a\r\n\"b\r\nc\"\r\n", [][]string{{"a"}, {"b\r\nc"}}},
		"blank lines":      {"\n\na\n\n", [][]string{{"a"}}},
		"empty last cell":  {"\"a\",\n,\n", [][]string{{"a", ""}, {"", ""}}},
	} {
		t.Run(name, func(t *testing.T) {
			for kind, src := range map[string]io.Reader{"whole": strings.NewReader(c.text), "bytes": iotest.OneByteReader(strings.NewReader(c.text))} {
				got, err := all(src, Options{Delimiter: ','})
				if err != nil || !slices.EqualFunc(got, c.want, slices.Equal) {
					t.Errorf("%s: got %q, %v", kind, got, err)
				}
			}
		})
	}
}

func TestFaults(t *testing.T) {
	for name, c := range map[string]struct {
		text         string
		code         string
		line, column int
	}{
		"never closed":            {"a\nb,\"c\nd\n", CodeQuote, 2, 3},
		"stray":                   {"é,b\"c\nd\n", CodeQuote, 1, 4},
		"after a quote":           {"\"a\"b,c\n", CodeQuote, 1, 4},
		"in a later line of cell": {"\"a\nb\"c\n", CodeQuote, 2, 3},
		"lone CR":                 {"a\rb\n", CodeLineEnd, 1, 2},
		"CR only":                 {"a\rb\rc", CodeLineEnd, 1, 2},
		"CR at the end":           {"a\n\r", CodeLineEnd, 2, 1},
		"LF then CRLF":            {"a\nb\r\n", CodeLineEnd, 2, 2},
		"CRLF then LF":            {"a\r\nbc\n", CodeLineEnd, 2, 3},
		"NUL":                     {"a,\x00\n", CodeNUL, 1, 3},
		"not UTF-8":               {"ab\xff\n", CodeEncoding, 1, 3},
		"too long":                {strings.Repeat("x", 200) + "\n", CodeTooLong, 1, 1},
		"too long by a quote":     {"a\"" + strings.Repeat("\nx", 200) + "\n", CodeQuote, 1, 2},
	} {
		t.Run(name, func(t *testing.T) {
			for kind, src := range map[string]io.Reader{"whole": strings.NewReader(c.text), "bytes": iotest.OneByteReader(strings.NewReader(c.text))} {
				_, err := all(src, Options{Delimiter: ',', MaxRow: 100})
				var f *Fault
				if !errors.As(err, &f) || f.Code != c.code || f.Line != c.line || f.Column != c.column {
					t.Errorf("%s: got %v", kind, err)
				}
			}
		})
	}
}

func TestPlaceAndUnquoted(t *testing.T) {
	s := New(strings.NewReader("é,\"x\ny\",z\n"), Options{Delimiter: ','})
	row, err := s.Next()
	if err != nil {
		t.Fatal(err)
	}
	for cell, want := range [][2]int{{1, 1}, {1, 3}, {2, 4}} {
		if line, column := row.Place(cell); line != want[0] || column != want[1] {
			t.Errorf("cell %d is at %d:%d", cell, line, column)
		}
	}
	got, err := all(strings.NewReader("5\" column;\"\n"), Options{Delimiter: ';', Unquoted: true})
	if err != nil || !slices.Equal(got[0], []string{`5" column`, `"`}) {
		t.Errorf("got %q, %v", got, err)
	}
}

// FuzzRows: what the standard library's strict reader takes is read alike, but for
// what is a fault here only; nothing is taken that it refuses.
func FuzzRows(f *testing.F) {
	for _, seed := range []string{"a,b\n\"c\",d\n", "\"a\"\"b\"\r\n", "a\rb", "\"", "x,\"y\nz\"\n,\n", "\n\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := all(bytes.NewReader(data), Options{Delimiter: ','})
		pieces, pieceErr := all(iotest.OneByteReader(bytes.NewReader(data)), Options{Delimiter: ','})
		if !slices.EqualFunc(got, pieces, slices.Equal) || (err == nil) != (pieceErr == nil) || err != nil && err.Error() != pieceErr.Error() {
			t.Fatalf("%q, %v in one piece, %q, %v byte by byte", got, err, pieces, pieceErr)
		}
		oracle := csv.NewReader(bytes.NewReader(data))
		oracle.FieldsPerRecord = -1
		want, wantErr := oracle.ReadAll()
		var fault *Fault
		switch {
		case errors.As(err, &fault):
			if fault.Code == CodeQuote && wantErr == nil {
				t.Fatalf("%v, and the standard library reads %q", err, want)
			}
		case err != nil:
			t.Fatal(err)
		case wantErr != nil:
			t.Fatalf("read %q, and the standard library says %v", got, wantErr)
		default:
			for _, row := range got {
				for i := range row {
					row[i] = strings.ReplaceAll(row[i], "\r\n", "\n")
				}
			}
			if !slices.EqualFunc(got, want, slices.Equal) {
				t.Fatalf("got %q, the standard library %q", got, want)
			}
		}
	})
}
