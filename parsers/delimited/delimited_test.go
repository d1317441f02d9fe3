package delimited

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

// taken is one acquisition as a sink got it.
type taken struct {
	header  parsers.Header
	table   parsers.Table
	trailer parsers.Trailer
}

type collector struct{ all []taken }

func (c *collector) Begin(h parsers.Header) error {
	c.all = append(c.all, taken{header: h})
	return nil
}

func (c *collector) Signal(s parsers.Signal) error {
	t := *s.(*parsers.Table)
	t.Rows = slices.Clone(t.Rows)
	for i, row := range t.Rows {
		cells := slices.Clone(row.Cells)
		for k, cell := range cells {
			if cell.Value != nil {
				v := *cell.Value
				cells[k].Value = &v
			}
		}
		t.Rows[i].Cells = cells
	}
	c.all[len(c.all)-1].table = t
	return nil
}

func (c *collector) End(t parsers.Trailer) error {
	c.all[len(c.all)-1].trailer = t
	return nil
}

func profile(t testing.TB, file string) *Profile {
	t.Helper()
	data, err := os.ReadFile("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := ParseProfile(file, data)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func text(t testing.TB, file string) string {
	t.Helper()
	data, err := os.ReadFile("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func readAll(t testing.TB, p *Profile, data []byte) ([]taken, []parsers.Problem) {
	t.Helper()
	c := &collector{}
	warnings, err := New(p).Read(t.Context(), bytes.NewReader(data), parsers.Options{}, c)
	if err != nil {
		t.Fatal(err)
	}
	return c.all, warnings
}

func utf16le(s string) []byte {
	data := []byte{0xFF, 0xFE}
	for _, u := range utf16.Encode([]rune(s)) {
		data = binary.LittleEndian.AppendUint16(data, u)
	}
	return data
}

const metals = "Run;Vial;Cu 63;Pb 208;Operator\r\nR1;1;1.234,5;0,25;é\r\nR1;2;-1e-3;;x\r\n"

func TestConformance(t *testing.T) {
	t.Run("long", func(t *testing.T) {
		parserstest.Conformance(t, New(profile(t, "peaks.yaml")), []parserstest.Sample{{Name: "peaks", Data: []byte(text(t, "peaks.csv"))}})
	})
	t.Run("wide", func(t *testing.T) {
		parserstest.Conformance(t, New(profile(t, "metals.yaml")), []parserstest.Sample{{Name: "metals", Data: utf16le(metals)}})
	})
}

func TestReadStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := New(profile(t, "peaks.yaml")).Read(ctx, strings.NewReader(text(t, "peaks.csv")), parsers.Options{}, &collector{})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

func TestReadLong(t *testing.T) {
	got, warnings := readAll(t, profile(t, "peaks.yaml"), []byte(text(t, "peaks.csv")))
	if len(got) != 3 {
		t.Fatalf("%d acquisitions", len(got))
	}
	first := got[0]
	if h := first.header; h.NativeKey != "run=R31 injection=1" || h.Vial != "12" || h.Sample != "AS-001" || h.Record != 1 ||
		h.Start != (parsers.Start{Text: "03/02/2026 09:15:00", Local: "2026-02-03T09:15:00"}) {
		t.Errorf("header %+v", h)
	}
	var fields []string
	for _, f := range first.header.Fields {
		fields = append(fields, f.Name+"="+f.Text)
	}
	if s := strings.Join(fields, "|"); s != "=Peak table|Sequence=R31|Operator=Ida Morrow (invented)" {
		t.Errorf("fields %q", s)
	}
	if len(first.table.Rows) != 2 || first.table.Rows[0].Line != 7 || first.table.Name != "test-peaks" {
		t.Errorf("table %+v", first.table)
	}
	cells := first.table.Rows[0].Cells
	if cells[5].Text != "Methanol, total" || *cells[7].Value != 1045.5 || cells[7].Text != "1045.5" {
		t.Errorf("cells %+v", cells)
	}
	if c := first.table.Columns[6]; c.Name != "RT" || c.Meaning != "retention" || c.UnitText != "min" {
		t.Errorf("column %+v", c)
	}
	for name, c := range map[string]struct {
		cell parsers.Cell
		text string
		mark string
	}{
		"not found": {first.table.Rows[1].Cells[7], "n.d.", MarkNotFound},
		"below":     {got[1].table.Rows[0].Cells[7], "<0.5", MarkBelow},
		"empty":     {got[2].table.Rows[0].Cells[7], "", MarkEmpty},
	} {
		if c.cell.Value != nil || c.cell.Mark != c.mark || c.cell.Text != c.text {
			t.Errorf("%s: %+v", name, c.cell)
		}
	}
	if len(warnings) != 1 || warnings[0].Code != "delimited-start" || got[2].header.Start.Local != "" || got[2].header.Start.Text == "" {
		t.Errorf("an impossible date gives %v, %+v", warnings, got[2].header.Start)
	}
}

func TestReadWide(t *testing.T) {
	got, _ := readAll(t, profile(t, "metals.yaml"), utf16le(metals))
	if len(got) != 2 || got[1].header.NativeKey != "run=R1 vial=2" {
		t.Fatalf("%+v", got)
	}
	cells := got[0].table.Rows[0].Cells
	if len(cells) != 4 || *cells[2].Value != 1234.5 || *cells[3].Value != 0.25 || *got[1].table.Rows[0].Cells[2].Value != -0.001 {
		t.Errorf("cells %+v", cells)
	}
}

// TestDigests: one changed number revises one acquisition, a changed header line all,
// a volatile line none.
func TestDigests(t *testing.T) {
	p, base := profile(t, "peaks.yaml"), text(t, "peaks.csv")
	before, _ := readAll(t, p, []byte(base))
	for name, c := range map[string]struct {
		old, new string
		changed  []bool
	}{
		"number":        {"3.10,n.d.", "3.11,n.d.", []bool{true, false, false}},
		"other number":  {"<0.5", "0.5", []bool{false, true, false}},
		"header line":   {"Ida Morrow", "Tomas Vell", []bool{true, true, true}},
		"volatile line": {"Monday", "Tuesday", []bool{false, false, false}},
		"comment":       {"made up", "made up again", []bool{false, false, false}},
	} {
		after, _ := readAll(t, p, []byte(strings.Replace(base, c.old, c.new, 1)))
		for i := range after {
			if got := after[i].trailer.Digest != before[i].trailer.Digest; got != c.changed[i] {
				t.Errorf("%s: acquisition %d changed: %v", name, i+1, got)
			}
		}
	}
	crlf, _ := readAll(t, p, []byte(strings.ReplaceAll(base, "\n", "\r\n")))
	for i := range crlf {
		if crlf[i].trailer.Digest != before[i].trailer.Digest {
			t.Errorf("line ends change the digest of acquisition %d", i+1)
		}
	}
}

func TestRefusals(t *testing.T) {
	peaks, wide := profile(t, "peaks.yaml"), profile(t, "metals.yaml")
	base := text(t, "peaks.csv")
	change := func(old, new string) []byte {
		if !strings.Contains(base, old) {
			t.Fatalf("nothing to change: %q", old)
		}
		return []byte(strings.Replace(base, old, new, 1))
	}
	for name, c := range map[string]struct {
		profile      *Profile
		data         []byte
		code         string
		line, column int
		words        string
	}{
		"ragged row":             {peaks, change("2,13,AS-002", "2,13"), "delimited-cells", 9, 8, "7 cells, the header row 8"},
		"one cell too many":      {peaks, change("2,13,AS", "2,13,,AS"), "delimited-cells", 9, 9, "9 cells"},
		"duplicate column":       {peaks, change("RT,Area", "RT,Area,RT"), "delimited-header", 6, 9, `"RT" is there twice`},
		"unknown column":         {peaks, change("RT,Area", "RT,Area,Note"), "delimited-header", 6, 9, `"Note" is not described`},
		"missing column":         {peaks, change("RT,Area", "RT,Areas"), "delimited-header", 6, 0, `lacks "Area"`},
		"unclosed quote":         {peaks, change(`total"`, `total`), "delimited-quote", 7, 6, "never closed"},
		"stray quote":            {peaks, change(`Acetal`, `Ace"tal`), "delimited-quote", 8, 6, "inside a cell"},
		"lone carriage return":   {peaks, change("AS-002", "AS\r002"), "delimited-line-end", 9, 1, "without a line feed"},
		"mixed line ends":        {peaks, change("n.d.\n", "n.d.\r\n"), "delimited-line-end", 8, 1, "line feed"},
		"NUL":                    {peaks, change("AS-002", "AS\x00002"), "delimited-nul", 9, 1, "NUL"},
		"not UTF-8":              {peaks, change("AS-002", "AS\xff002"), "delimited-encoding", 9, 1, "0xFF"},
		"decimal comma":          {peaks, change("1045.5", `"1,045"`), "delimited-number", 7, 8, "comma"},
		"number with unit":       {peaks, change("1045.5", "1045.5 pA"), "delimited-number", 7, 8, "not a decimal number"},
		"underscore":             {peaks, change("1045.5", "1_000"), "delimited-number", 7, 8, "not a decimal"},
		"hexadecimal":            {peaks, change("1045.5", "0x10"), "delimited-number", 7, 8, "not a decimal"},
		"NaN":                    {peaks, change("1045.5", "NaN"), "delimited-number", 7, 8, "not a decimal"},
		"Inf":                    {peaks, change("1045.5", "Inf"), "delimited-number", 7, 8, "not a decimal"},
		"overflow":               {peaks, change("1045.5", "1e999"), "delimited-number", 7, 8, "too large"},
		"underflow":              {peaks, change("1045.5", "1e-999"), "delimited-number", 7, 8, "too small"},
		"limit without number":   {peaks, change("<0.5", "<"), "delimited-number", 9, 8, "not a decimal"},
		"key comes again":        {peaks, change("3,14,AS-003", "1,12,AS-001"), "delimited-duplicate-key", 11, 0, "run=R31 injection=1 is already at line 7"},
		"empty key":              {peaks, change("3,14,AS-003", ",14,AS-003"), "delimited-key", 11, 0, "injection is empty"},
		"group disagrees":        {peaks, change("1,12,AS-001,03/02/2026,09:15:00,Acetal", "1,12,AS-009,03/02/2026,09:15:00,Acetal"), "delimited-group", 8, 0, `"AS-001" in the acquisition's first row at line 7`},
		"footer missing":         {peaks, change("Rows: 4\n", ""), "delimited-footer", 12, 0, "without the footer"},
		"footer counts others":   {peaks, change("Rows: 4", "Rows: 5"), "delimited-footer", 12, 0, "counts 5 rows, and there are 4"},
		"row after footer":       {peaks, []byte(base + "more\n"), "delimited-footer", 13, 0, "follows the footer"},
		"required line missing":  {peaks, change("Sequence: R31\n", ""), "delimited-preamble", 5, 0, `"Sequence" is missing`},
		"line twice":             {peaks, change("Printed: Monday", "Sequence: R32"), "delimited-preamble", 3, 0, "first at line 2"},
		"no header":              {peaks, []byte("a,b\n1,2\n"), "delimited-header", 3, 0, "no row has any of the columns"},
		"BOM of UTF-16":          {peaks, utf16le(base), "delimited-encoding", 0, 0, "states utf-8, and the content begins with the byte order mark of utf-16le"},
		"no rows":                {wide, utf16le("Run;Vial;Cu 63;Pb 208;Operator\r\n"), "delimited-empty", 2, 0, "no row"},
		"header row order":       {wide, utf16le("Vial;Run;Cu 63;Pb 208;Operator\r\n"), "delimited-header", 1, 1, "the profile's is"},
		"key twice":              {wide, utf16le(metals + "R1;1;1;1;\r\n"), "delimited-duplicate-key", 4, 0, "run=R1 vial=1 is already at line 2"},
		"cut last line":          {wide, utf16le(metals + "R1;3;1;12"), "delimited-cut", 4, 4, "may be cut"},
		"cut inside a character": {wide, utf16le(metals)[:len(utf16le(metals))-3], "delimited-encoding", 3, 5, "not utf-16le"},
		"group mark astray":      {wide, utf16le(strings.Replace(metals, "1.234,5", "12.34,5", 1)), "delimited-number", 2, 3, "where no thousands are"},
		"unpaired surrogate":     {wide, append(utf16le(metals), 0x00, 0xD8, '\r', 0, '\n', 0), "delimited-encoding", 4, 1, "not utf-16le"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := New(c.profile).Read(t.Context(), bytes.NewReader(c.data), parsers.Options{}, &collector{})
			var r *parsers.Refusal
			if !errors.As(err, &r) {
				t.Fatalf("got %v", err)
			}
			if r.Code != c.code || r.Where.Line != c.line || c.column > 0 && r.Where.Column != c.column && c.code != "delimited-line-end" || !strings.Contains(r.Message, c.words) {
				t.Errorf("got %s", r)
			}
		})
	}
}

func TestEndProof(t *testing.T) {
	peaks, wide := profile(t, "peaks.yaml"), profile(t, "metals.yaml")
	base := text(t, "peaks.csv")
	none := *wide
	none.End = ""
	for name, c := range map[string]struct {
		profile *Profile
		data    []byte
		want    parsers.EndProof
	}{
		"footer":                  {peaks, []byte(base), parsers.EndProofHeld},
		"footer, no line end":     {peaks, []byte(strings.TrimSpace(base)), parsers.EndProofHeld},
		"padded footer, blanks":   {peaks, []byte(strings.TrimSpace(base) + ",,,\n\n,,\n"), parsers.EndProofHeld},
		"no footer":               {peaks, []byte(strings.Replace(base, "Rows: 4", "", 1)), parsers.EndProofFailed},
		"half a footer":           {peaks, []byte(strings.Replace(base, "Rows: 4", "Rows:", 1)), parsers.EndProofFailed},
		"line end":                {wide, utf16le(metals), parsers.EndProofNone},
		"no line end":             {wide, utf16le(metals[:len(metals)-2]), parsers.EndProofFailed},
		"half a character":        {wide, utf16le(metals)[1:], parsers.EndProofFailed},
		"empty":                   {wide, nil, parsers.EndProofFailed},
		"profile without a proof": {&none, utf16le(metals), parsers.EndProofNone},
	} {
		t.Run(name, func(t *testing.T) {
			got, why, err := New(c.profile).EndProof(bytes.NewReader(c.data), int64(len(c.data)))
			if err != nil || got != c.want || (got == parsers.EndProofFailed) != (why != "") {
				t.Errorf("got %q (%s), %v", got, why, err)
			}
		})
	}
}

func TestEncodings(t *testing.T) {
	body := "Run;Vial;Cu 63;Pb 208;Operator\nR1;1;1;1;é\n"
	for name, c := range map[string]struct {
		encoding string
		data     string
		ok       bool
	}{
		"utf-8":                        {"utf-8", body, true},
		"utf-8 with mark":              {"utf-8", "\ufeff" + body, true},
		"utf-16 with mark":             {"utf-16", string(utf16le(body)), true},
		"utf-16 without mark":          {"utf-16", string(utf16le(body)[2:]), false},
		"utf-16le without mark":        {"utf-16le", string(utf16le(body)[2:]), true},
		"utf-16be against mark":        {"utf-16be", string(utf16le(body)), false},
		"windows-1252":                 {"windows-1252", strings.Replace(body, "é", "\xe9", 1), true},
		"windows-1252 with utf-8 mark": {"windows-1252", "\ufeff" + body, false},
		"latin-1 read as utf-8":        {"utf-8", strings.Replace(body, "é", "\xe9", 1), false},
		"utf-16 read as utf-8":         {"utf-8", string(utf16le(body)[2:]), false},
	} {
		t.Run(name, func(t *testing.T) {
			p := *profile(t, "metals.yaml")
			p.Encoding, p.DecimalMark, p.GroupMark = c.encoding, ".", ""
			p.OtherColumns, p.HeaderRow = otherRefuse, nil
			p.Columns = append(p.Columns[:4:4], ColumnSpec{Name: "Operator", Meaning: "operator", Type: typeText})
			sink := &collector{}
			_, err := New(&p).Read(t.Context(), strings.NewReader(c.data), parsers.Options{}, sink)
			if (err == nil) != c.ok {
				t.Fatalf("got %v", err)
			}
			if c.ok && sink.all[0].table.Rows[0].Cells[4].Text != "é" {
				t.Errorf("got %+v", sink.all[0].table.Rows[0])
			}
		})
	}
}

func TestLimits(t *testing.T) {
	p, data := profile(t, "peaks.yaml"), text(t, "peaks.csv")
	for name, limits := range map[string]parsers.Limits{
		"rows":         {Points: 1},
		"acquisitions": {Acquisitions: 2},
		"columns":      {Attributes: 7},
		"row":          {TokenBytes: 30},
		"bytes":        {TotalBytes: 100},
	} {
		_, err := New(p).Read(t.Context(), strings.NewReader(data), parsers.Options{Limits: limits}, &collector{})
		var r *parsers.Refusal
		if !errors.As(err, &r) || r.Code != "delimited-limit" && r.Code != "delimited-too-long" {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestSniff(t *testing.T) {
	peaks, wide := New(profile(t, "peaks.yaml")), New(profile(t, "metals.yaml"))
	data := []byte(text(t, "peaks.csv"))
	if g := peaks.Sniff(data); g.Confidence < 90 {
		t.Errorf("own content: %+v", g)
	}
	if g := wide.Sniff(data); g.Confidence != 0 || g.Reason == "" {
		t.Errorf("other content: %+v", g)
	}
	if g := wide.Sniff(utf16le(metals)[:101]); g.Confidence < 70 {
		t.Errorf("cut inside a character behind the header row: %+v", g)
	}
}

type discard struct{}

func (discard) Begin(parsers.Header) error  { return nil }
func (discard) Signal(parsers.Signal) error { return nil }
func (discard) End(parsers.Trailer) error   { return nil }
