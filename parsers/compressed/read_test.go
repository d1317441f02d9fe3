package compressed

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"underbond/parsers"
)

// lines is a reader of a made-up format: each line "key" is an acquisition, a line "?"
// a warning, a line "!" a refusal, and the last line is "end".
type lines struct{}

func (lines) Format() string                  { return "lines" }
func (lines) Sniff(head []byte) parsers.Guess { return parsers.Guess{} }

func (lines) EndProof(r io.ReaderAt, size int64) (parsers.EndProof, string, error) {
	all, err := io.ReadAll(io.NewSectionReader(r, 0, size))
	if err != nil || bytes.HasSuffix(all, []byte("end\n")) {
		return parsers.EndProofHeld, "", err
	}
	return parsers.EndProofFailed, "no end", nil
}

func (lines) Read(_ context.Context, src io.Reader, _ parsers.Options, sink parsers.Sink) ([]parsers.Problem, error) {
	all, err := io.ReadAll(src)
	if err != nil {
		return nil, err
	}
	record := 0
	var file []parsers.Problem
	for i, line := range strings.Split(strings.TrimSpace(string(all)), "\n") {
		switch line {
		case "end":
		case "?":
			file = append(file, parsers.Warn("odd", parsers.Place{Line: i + 1}, "odd"))
		case "!":
			return nil, parsers.Refuse("bad", parsers.Place{Line: i + 1, Record: record, Element: "row"}, "bad")
		default:
			record++
			if err := sink.Begin(parsers.Header{Record: record, NativeKey: strings.Trim(line, "-"), Format: "lines"}); err != nil {
				return nil, err
			}
			if err := sink.End(parsers.Trailer{Problems: []parsers.Problem{parsers.Warn("seen", parsers.Place{Record: record}, "seen")}}); err != nil {
				return nil, err
			}
		}
	}
	return file, nil
}

// log is a sink that writes down what it gets.
type log struct{ strings.Builder }

func (l *log) Begin(h parsers.Header) error {
	fmt.Fprintf(l, "%d %s;", h.Record, h.NativeKey)
	return nil
}
func (l *log) Signal(parsers.Signal) error { return nil }
func (l *log) End(t parsers.Trailer) error {
	fmt.Fprintf(l, " %s %.2x\n", t.Problems[0].Where, t.Digest)
	return nil
}

func always(*Member, []byte) (parsers.Reader, error) { return lines{}, nil }

func read(t *testing.T, content []byte) (string, Result, error) {
	t.Helper()
	c, err := Open(bytes.NewReader(content), int64(len(content)), parsers.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	var l log
	result, err := c.Read(context.Background(), always, parsers.Options{}, &l)
	return l.String(), result, err
}

func TestAcquisitionsAreNumberedOverMembers(t *testing.T) {
	sum := func(s string) string { return fmt.Sprintf("%.2x", sha256.Sum256([]byte(s))) }
	const two, one = "k1\n-\n?\nend\n", "k1\nend\n"
	for name, c := range map[string]struct {
		content  []byte
		want     string
		warnings string
	}{
		"plain":           {[]byte(two), "1 k1; record 1 0000\n2 ; record 2 0000\n", "line 3"},
		"gzip":            {packed(two), fmt.Sprintf("1 k1; record 1 %[1]s\n2 ; record 2 %[1]s\n", sum(two)), "line 3"},
		"zip, one member": {archive(t, entry{"a", one, 0}), "1 k1; record 1 " + sum(one) + "\n", ""},
		"zip, two members": {archive(t, entry{"a", two, 0}, entry{"b", one, 0}),
			fmt.Sprintf("1 k1!a; record 1, a %[1]s\n2 ; record 2, a %[1]s\n3 k1!b; record 3, b %[2]s\n", sum(two), sum(one)), "line 3, a"},
	} {
		t.Run(name, func(t *testing.T) {
			got, result, err := read(t, c.content)
			if err != nil || result.Proof != parsers.EndProofHeld || got != c.want {
				t.Errorf("%v %s\ngot  %s\nwant %s", err, result.Proof, got, c.want)
			}
			places := ""
			for _, w := range result.Warnings {
				places += w.Where.String()
			}
			if places != c.warnings {
				t.Errorf("warnings at %q, want %q", places, c.warnings)
			}
		})
	}
}

func TestOneBadMemberRefusesTheContent(t *testing.T) {
	for name, c := range map[string]struct {
		second, code, where string
		proof               parsers.EndProof
	}{
		"refused":    {"k\n!\nend\n", "bad", "record 3, line 2, b!row", parsers.EndProofHeld},
		"incomplete": {"k\n", CodeIncomplete, "byte 2, b", parsers.EndProofFailed},
		"nested":     {string(packed(text)), CodeNested, "byte 46, b", parsers.EndProofNone},
	} {
		t.Run(name, func(t *testing.T) {
			_, result, err := read(t, archive(t, entry{"a", "k\nk\nend\n", 0}, entry{"b", c.second, 0}))
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Code != c.code || refusal.Where.String() != c.where || result.Proof != c.proof {
				t.Errorf("got %v, proof %s", err, result.Proof)
			}
		})
	}
}

// full is a sink that refuses an acquisition.
type full struct {
	log
	record int
}

func (f *full) Begin(h parsers.Header) error {
	if h.Record == f.record {
		return parsers.Refuse("full", parsers.Place{Record: h.Record}, "full")
	}
	return nil
}

// TestSinkKnowsItsPlaces: what the sink refuses is not moved again.
func TestSinkKnowsItsPlaces(t *testing.T) {
	content := archive(t, entry{"a", "k\nk\nend\n", 0}, entry{"b", "k\nend\n", 0})
	c, err := Open(bytes.NewReader(content), int64(len(content)), parsers.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]struct {
		limit int
		where string
	}{"sink": {0, "record 3"}, "limit": {2, "record 3, b"}} {
		t.Run(name, func(t *testing.T) {
			_, err := c.Read(context.Background(), always, parsers.Options{Limits: parsers.Limits{Acquisitions: want.limit}}, &full{record: 3})
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Where.String() != want.where {
				t.Errorf("got %v", err)
			}
		})
	}
}

func TestEndProofSeesThroughCompression(t *testing.T) {
	whole := packed("k\nend\n")
	for name, c := range map[string]struct {
		content []byte
		known   bool
		proof   parsers.EndProof
		why     bool
	}{
		"plain":                  {[]byte("k\nend\n"), true, parsers.EndProofHeld, false},
		"plain, unknown":         {[]byte("k\nend\n"), false, parsers.EndProofNone, false},
		"gzip":                   {whole, true, parsers.EndProofHeld, false},
		"gzip being written":     {whole[:len(whole)-9], true, parsers.EndProofFailed, true},
		"gzip, unknown":          {whole, false, parsers.EndProofNone, false},
		"gzip, unknown, cut":     {whole[:len(whole)-9], false, parsers.EndProofFailed, true},
		"gzip of cut data":       {packed("k\n"), true, parsers.EndProofFailed, true},
		"gzip of gzip":           {packed(string(whole)), true, parsers.EndProofNone, false},
		"zip":                    {archive(t, entry{"a", "end\n", 0}, entry{"b", "end\n", 0}), true, parsers.EndProofHeld, false},
		"zip, one member no end": {archive(t, entry{"a", "end\n", 0}, entry{"b", "k\n", 0}), true, parsers.EndProofFailed, true},
	} {
		t.Run(name, func(t *testing.T) {
			opened, err := Open(bytes.NewReader(c.content), int64(len(c.content)), parsers.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			proof, why, err := opened.EndProof(context.Background(), func([]byte) parsers.Reader {
				if c.known {
					return lines{}
				}
				return nil
			})
			if err != nil || proof != c.proof || (why != "") != c.why {
				t.Errorf("got %s, %q, %v", proof, why, err)
			}
		})
	}
}
