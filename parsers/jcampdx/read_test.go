package jcampdx

import (
	"context"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"underbond/parsers"
)

// spectrumFile is a small whole file with a place for more labels and the table.
func spectrumFile(labels, table string) string {
	return "##TITLE=small\n##JCAMP-DX=5.01\n##DATA TYPE=INFRARED SPECTRUM\n##XUNITS=1/CM\n##YUNITS=ABSORBANCE\n" +
		labels + table + "##END=\n"
}

const (
	fourLabels = "##XFACTOR=1\n##YFACTOR=0.5\n##FIRSTX=10\n##LASTX=40\n##NPOINTS=4\n"
	fourTable  = "##XYDATA=(X++(Y..Y))\n10 1 2 3 4\n"
)

func TestRefusals(t *testing.T) {
	four := spectrumFile(fourLabels, fourTable)
	for name, c := range map[string]struct {
		content string
		code    string
		line    int
	}{
		"empty":                       {"", "jcampdx-start", 0},
		"other content":               {"a,b\n1,2\n", "jcampdx-start", 1},
		"no title":                    {"##JCAMP-DX=4.24\n##END=\n", "jcampdx-no-title", 1},
		"no end":                      {strings.TrimSuffix(four, "##END=\n"), "jcampdx-incomplete", 12},
		"cut in the end label":        {strings.TrimSuffix(four, "D=\n"), "jcampdx-label", 13},
		"text after the end":          {four + "more\n", "jcampdx-after-end", 14},
		"label after the end":         {four + "##OWNER=x\n", "jcampdx-after-end", 14},
		"one end too many":            {four + "##END=\n", "jcampdx-after-end", 14},
		"no table":                    {spectrumFile(fourLabels, ""), "jcampdx-no-data", 0},
		"empty table":                 {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n"), "jcampdx-empty-table", 11},
		"NUL in a table":              {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1 2\x00\x00\n"), "jcampdx-nul", 12},
		"NUL in a label":              {spectrumFile("##OWNER=a\x00\n"+fourLabels, fourTable), "jcampdx-nul", 6},
		"not UTF-8":                   {spectrumFile("##OWNER=M\xfcller\n"+fourLabels, fourTable), "jcampdx-encoding", 6},
		"letters in a table":          {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1 2 #fault\n"), "jcampdx-ordinate", 12},
		"abscissa missing":            {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\nABC\n"), "jcampdx-abscissa", 12},
		"abscissa only":               {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1 2 3 4\n50\n"), "jcampdx-ordinate", 13},
		"two points in a number":      {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1.2.3 4\n"), "jcampdx-ordinate", 12},
		"fraction after pseudo-digit": {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10A2.5\n"), "jcampdx-ordinate", 12},
		"exponent of one digit":       {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1.5E-5 2 3 4\n"), "jcampdx-ordinate", 12},
		"exponent without sign":       {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1.5E05 2 3 4\n"), "jcampdx-ordinate", 12},
		"value between commas":        {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1,,3,4\n"), "jcampdx-ordinate", 12},
		"line starts with difference": {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10JJ\n"), "jcampdx-ordinate", 12},
		"line starts with repeat":     {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10T\n"), "jcampdx-ordinate", 12},
		"repeat of a repeat":          {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10ATT\n"), "jcampdx-ordinate", 12},
		"difference after missing":    {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10A?J\n"), "jcampdx-ordinate", 12},
		"repeat count out of reach":   {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10AZ99999999999999\n"), "jcampdx-limit-points", 12},
		"word, count shows it":        {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1 2\n30 3 4\n50 bad lamp\n"), "jcampdx-letters", 14},
		"word, abscissae show it":     {spectrumFile(strings.Replace(fourLabels, "##NPOINTS=4", "##NPOINTS=7", 1), "##XYDATA=(X++(Y..Y))\n10 1 2\n15 3 4\n900 bad\n"), "jcampdx-letters", 14},
		"check fails in the middle":   {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10AJJ\n30DJ\n40E\n"), "jcampdx-y-check", 13},
		"check line fails, data on":   {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10AJJ\n30D\n40E\n"), "jcampdx-y-check", 13},
		"count and abscissae wrong":   {spectrumFile(strings.Replace(fourLabels, "=4\n", "=9\n", 1), "##XYDATA=(X++(Y..Y))\n10 1 2\n77 3\n12 4\n"), "jcampdx-abscissa", 11},
		"point after decimal commas":  {spectrumFile("##FIRSTX=1,5\n", "##XYPOINTS=(XY..XY)\n1,5; 2\n2.5; 3\n"), "jcampdx-group", 9},
		"factor zero":                 {spectrumFile(strings.Replace(fourLabels, "0.5", "0", 1), fourTable), "jcampdx-factor", 7},
		"factor not a number":         {spectrumFile(strings.Replace(fourLabels, "0.5", "half", 1), fourTable), "jcampdx-factor", 7},
		"factor too large":            {spectrumFile(strings.Replace(fourLabels, "0.5", "1e308", 1), "##XYDATA=(X++(Y..Y))\n10 1 2 3 400\n"), "jcampdx-number-range", 11},
		"abscissae too far apart":     {spectrumFile("##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=-1e308\n##LASTX=1e308\n##NPOINTS=4\n", fourTable), "jcampdx-number-range", 11},
		"abscissa factor too large":   {spectrumFile("##XFACTOR=1e300\n", "##XYPOINTS=(XY..XY)\n1 1 1e9 1 2 1\n"), "jcampdx-number-range", 7},
		"too many digits":             {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10A123456789012345678901234567890\n"), "jcampdx-ordinate", 12},
		"variable list unknown":       {spectrumFile(fourLabels, "##XYDATA=(Q)\n10 1 2 3 4\n"), "jcampdx-variables", 11},
		"half a pair":                 {spectrumFile("", "##PEAK TABLE=(XY..XY)\n1 2 3\n"), "jcampdx-group", 7},
		"text in a pair":              {spectrumFile("", "##PEAK TABLE=(XY..XY)\n1 two\n"), "jcampdx-group", 7},
		"unclosed group":              {spectrumFile("", "##PEAK ASSIGNMENTS=(XYA)\n(1,2,<a>\n"), "jcampdx-group", 6},
		"thousands comma":             {spectrumFile("##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=4,000\n##LASTX=4,003\n##NPOINTS=4\n", "##XYDATA=(X++(Y..Y))\n4000 1 2 3 4\n"), "jcampdx-decimal-comma", 8},
		"table in a link":             {"##TITLE=l\n##DATA TYPE=LINK\n" + four + "##XYDATA=(X++(Y..Y))\n1 2\n##END=\n", "jcampdx-table-in-link", 16},
		"text between blocks":         {"##TITLE=l\n##DATA TYPE=LINK\n" + four + "stray\n##END=\n", "jcampdx-stray-text", 16},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := readAll(t, []byte(c.content), parsers.Options{})
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) {
				t.Fatalf("not refused: %v", err)
			}
			if refusal.Code != c.code || refusal.Where.Line != c.line {
				t.Errorf("got %v, want %s on line %d", refusal, c.code, c.line)
			}
		})
	}
}

func TestWarnings(t *testing.T) {
	link := func(inner string) string { return "##TITLE=l\n##DATA TYPE=LINK\n" + inner + "##END=\n" }
	four := spectrumFile(fourLabels, fourTable)
	for name, c := range map[string]struct {
		content string
		codes   []string
	}{
		"clean":                      {four, nil},
		"count":                      {spectrumFile(strings.Replace(fourLabels, "=4\n", "=5\n", 1), fourTable), []string{"jcampdx-npoints"}},
		"absurd count":               {spectrumFile(strings.Replace(fourLabels, "=4\n", "=999999999999999\n", 1), fourTable), []string{"jcampdx-npoints"}},
		"first ordinate":             {spectrumFile(fourLabels+"##FIRSTY=2.5\n", fourTable), []string{"jcampdx-firsty"}},
		"first ordinate, rounded":    {spectrumFile(fourLabels+"##FIRSTY=0.6\n", fourTable), nil},
		"extremes":                   {spectrumFile(fourLabels+"##MAXY=7\n##MINY=-7\n", fourTable), []string{"jcampdx-maxy", "jcampdx-miny"}},
		"step":                       {spectrumFile(fourLabels+"##DELTAX=-10\n", fourTable), []string{"jcampdx-deltax"}},
		"line abscissa":              {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1 2\n77 3 4\n"), []string{"jcampdx-x-check"}},
		"lines count":                {spectrumFile(strings.Replace(fourLabels, "=4\n", "=9\n", 1), "##XYDATA=(X++(Y..Y))\n0 1 2\n2 3 4\n"), []string{"jcampdx-npoints", "jcampdx-x-check"}},
		"closing check fails":        {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10AJJJ\n40@\n"), []string{"jcampdx-y-check"}},
		"word that fits":             {spectrumFile("##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=1\n##LASTX=7\n##NPOINTS=7\n", "##XYDATA=(X++(Y..Y))\n1 1 2\n3 3 4\n5 bad\n"), []string{"jcampdx-letters"}},
		"closing check missing":      {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10AJJJ\n"), []string{"jcampdx-no-closing-check"}},
		"bracket missing":            {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y)\n10 1 2 3 4\n"), []string{"jcampdx-variables"}},
		"end without equals":         {strings.Replace(four, "##END=", "##END", 1), []string{"jcampdx-end-without-equals"}},
		"end missing between blocks": {link(strings.Replace(four, "##END=\n", "", 1) + four), []string{"jcampdx-missing-end"}},
		"number of blocks":           {link("##BLOCKS=3\n" + four + four), []string{"jcampdx-blocks"}},
		"block without data":         {link(four + "##TITLE=structure\n##END=\n"), []string{"jcampdx-block-without-data"}},
		"label twice":                {spectrumFile(fourLabels+"##LASTX=40\n##FIRSTX=9\n##FIRSTX=10\n", fourTable), []string{"jcampdx-repeated-label", "jcampdx-repeated-label"}},
		"header number":              {spectrumFile(fourLabels+"##FIRSTY=high\n", fourTable), []string{"jcampdx-header-number"}},
		"blank inside a number":      {spectrumFile(strings.Replace(fourLabels, "0.5", "0. 5E+00", 1), fourTable), []string{"jcampdx-header-number"}},
		"no factor":                  {spectrumFile(strings.Replace(fourLabels, "##YFACTOR=0.5\n", "", 1), fourTable), []string{"jcampdx-no-factor"}},
		"ambiguous date":             {spectrumFile("##DATE=01/02/03\n##TIME=10:00:00\n"+fourLabels, fourTable), []string{"jcampdx-date"}},
		"no declared abscissae":      {spectrumFile("##XFACTOR=2\n##YFACTOR=1\n", "##XYDATA=(X++(Y..Y))\n5 1 2\n15 3 4\n"), []string{"jcampdx-x-from-lines"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, problems, err := readAll(t, []byte(c.content), parsers.Options{})
			if err != nil {
				t.Fatal(err)
			}
			got, want := codes(problems), slices.Clone(c.codes)
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("got %v, want %v: %v", got, want, problems)
			}
		})
	}
}

func TestHeaderAndAxes(t *testing.T) {
	content := "##TITLE= plum $$ c\n second line\n##JCAMP-DX= 5.01 $$ writer\n##data_type=INFRARED SPECTRUM\n##= a comment\nruns on\n" +
		"##LONG DATE=2024/03/05 07:08:09.50 +0100\n##SAMPLE DESCRIPTION=cask 7\n##$Private= 1\n##X UNITS=1/CM\n##YUNITS=TRANSMITTANCE\n" +
		fourLabels + fourTable
	got, problems, err := readAll(t, []byte(content+"##END=\n"), parsers.Options{})
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	h := got[0].header
	if h.Record != 1 || h.Format != "jcamp-dx" || h.Version != "5.01" || h.Title != "plum\nsecond line" || h.Sample != "cask 7" || h.NativeKey != "" {
		t.Errorf("header: %+v", h)
	}
	if want := (parsers.Start{Text: "2024/03/05 07:08:09.50 +0100", Local: "2024-03-05T07:08:09.5", Offset: "+01:00"}); h.Start != want {
		t.Errorf("start: %+v", h.Start)
	}
	var names []string
	for _, f := range h.Fields {
		names = append(names, f.Name)
	}
	if want := "data_type LONG DATE SAMPLE DESCRIPTION $Private X UNITS YUNITS XFACTOR YFACTOR FIRSTX LASTX NPOINTS"; strings.Join(names, " ") != want {
		t.Errorf("fields: %v", names)
	}
	s := got[0].spectra[0]
	if s.Kind != "INFRARED SPECTRUM" || s.Table != "XYDATA (X++(Y..Y))" {
		t.Errorf("kind %q, table %q", s.Kind, s.Table)
	}
	if want := (parsers.Quantity{Name: "wavenumber", Unit: "cm-1", UnitText: "1/CM"}); s.XAxis != want {
		t.Errorf("x axis: %+v", s.XAxis)
	}
	if want := (parsers.Quantity{Name: "transmittance", Unit: "1", UnitText: "TRANSMITTANCE"}); s.YAxis != want {
		t.Errorf("y axis: %+v", s.YAxis)
	}
	if !slices.Equal(s.X, []float64{10, 20, 30, 40}) || !slices.Equal(s.Y, []float64{0.5, 1, 1.5, 2}) {
		t.Errorf("points: %v %v", s.X, s.Y)
	}
}

func TestEncodings(t *testing.T) {
	text := spectrumFile("##OWNER=Bürette µ\n"+fourLabels, fourTable)
	must := func(b []byte, err error) []byte {
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	little := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM)
	big := unicode.UTF16(unicode.BigEndian, unicode.UseBOM)
	bare := unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM)
	latin := must(charmap.Windows1252.NewEncoder().Bytes([]byte(text)))
	for name, c := range map[string]struct {
		content []byte
		page    string
	}{
		"UTF-8":                  {[]byte(text), ""},
		"UTF-8, page configured": {[]byte(text), "windows-1252"},
		"UTF-8 with mark":        {append([]byte("\xef\xbb\xbf"), text...), ""},
		"UTF-16 little endian":   {must(little.NewEncoder().Bytes([]byte(text))), ""},
		"UTF-16 big endian":      {must(big.NewEncoder().Bytes([]byte(text))), ""},
		"UTF-16 as configured":   {must(bare.NewEncoder().Bytes([]byte(text))), "utf-16le"},
		"code page":              {latin, "windows-1252"},
		"CR line ends":           {[]byte(strings.ReplaceAll(text, "\n", "\r")), ""},
		"CR LF line ends":        {[]byte(strings.ReplaceAll(text, "\n", "\r\n")), ""},
		"mixed line ends":        {[]byte(strings.Replace(strings.Replace(text, "\n", "\r\n", 3), "\n##X", "\r##X", 1)), ""},
		"blank before labels":    {[]byte(strings.ReplaceAll(text, "##", " ##")), ""},
		"Ctrl-Z and NUL":         {[]byte(text + "\x1a\x00\x00\x00"), ""},
	} {
		t.Run(name, func(t *testing.T) {
			got, problems, err := readAll(t, c.content, parsers.Options{Encoding: c.page})
			if err != nil || len(problems) > 0 {
				t.Fatal(err, problems)
			}
			if owner := got[0].header.Fields[3]; owner.Text != "Bürette µ" {
				t.Errorf("owner is %q", owner.Text)
			}
			if !slices.Equal(got[0].spectra[0].Y, []float64{0.5, 1, 1.5, 2}) {
				t.Errorf("y: %v", got[0].spectra[0].Y)
			}
			proof, why, err := New().EndProof(strings.NewReader(string(c.content)), int64(len(c.content)))
			if c.page != "utf-16le" && (proof != parsers.EndProofHeld || err != nil) {
				t.Errorf("end proof: %s %s %v", proof, why, err)
			}
		})
	}
	t.Run("code page, UTF-16 configured", func(t *testing.T) {
		if _, _, err := readAll(t, latin, parsers.Options{Encoding: "utf-16le"}); refusalCode(err) != "jcampdx-encoding" {
			t.Errorf("got %v", err)
		}
	})
	t.Run("unknown code page", func(t *testing.T) {
		if _, _, err := readAll(t, latin, parsers.Options{Encoding: "of-our-own"}); refusalCode(err) != "jcampdx-encoding-unknown" {
			t.Errorf("got %v", err)
		}
	})
	t.Run("mixed", func(t *testing.T) {
		mixed := spectrumFile("##OWNER=µ\n##ORIGIN=\xb5\n"+fourLabels, fourTable)
		if _, _, err := readAll(t, []byte(mixed), parsers.Options{Encoding: "windows-1252"}); refusalCode(err) != "jcampdx-encoding" {
			t.Errorf("got %v", err)
		}
	})
}

func TestPairs(t *testing.T) {
	for name, c := range map[string]struct {
		labels, table string
		x, y          []float64
	}{
		"blanks":         {"", "1 2\n3 4\n", []float64{1, 3}, []float64{2, 4}},
		"commas":         {"", "1, 2 3, 4\n", []float64{1, 3}, []float64{2, 4}},
		"semicolons":     {"", "1, 2; 3, 4;\n", []float64{1, 3}, []float64{2, 4}},
		"tabs, packed":   {"", "1\t2\n+3-4\n", []float64{1, 3}, []float64{2, -4}},
		"exponents":      {"", "1e1 2E-3\n1.5E+02,.5\n", []float64{10, 150}, []float64{0.002, 0.5}},
		"missing":        {"", "1 ?\n2 5\n", []float64{1, 2}, []float64{math.NaN(), 5}},
		"factors":        {"##XFACTOR=2\n##YFACTOR=0.5\n", "1 2\n3 4\n", []float64{2, 6}, []float64{1, 2}},
		"decimal comma":  {"##FIRSTX=1,5\n##LASTX=2,5\n", "1,5; 10,25\n2,5; 11\n", []float64{1.5, 2.5}, []float64{10.25, 11}},
		"comma in MAXX":  {"##FIRSTX=1\n##MAXX=3,0\n", "1,2 3,4\n", []float64{1, 3}, []float64{2, 4}},
		"comma or point": {"##FIRSTX=1,5\n", "1.5, 2\n3, 4\n", []float64{1.5, 3}, []float64{2, 4}},
	} {
		t.Run(name, func(t *testing.T) {
			got, _, err := readAll(t, []byte(spectrumFile(c.labels, "##XYPOINTS=(XY..XY)\n"+c.table)), parsers.Options{})
			if err != nil {
				t.Fatal(err)
			}
			equal := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
			s := got[0].spectra[0]
			if !slices.EqualFunc(s.X, c.x, equal) || !slices.EqualFunc(s.Y, c.y, equal) {
				t.Errorf("got %v %v, want %v %v", s.X, s.Y, c.x, c.y)
			}
		})
	}
}

// TestDigest shows that one changed number revises one block only.
func TestDigest(t *testing.T) {
	first, second := spectrumFile(fourLabels, fourTable), spectrumFile("##OWNER=b\n"+fourLabels, fourTable)
	digests := func(content string) (out [][32]byte) {
		got, _, err := readAll(t, []byte(content), parsers.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range got {
			out = append(out, a.trailer.Digest)
		}
		return out
	}
	before := digests("##TITLE=l\n##DATA TYPE=LINK\n" + first + second + "##END=\n")
	after := digests("##TITLE=l\n##DATA TYPE=LINK\n" + first + strings.Replace(second, "3 4", "3 5", 1) + "##END=\n")
	sibling := digests("##TITLE=l\n##DATA TYPE=LINK\n" + second + "##END=\n")
	outer := digests("##TITLE=l\n##DATA TYPE=LINK\n##OWNER=c\n" + second + "##END=\n")
	if before[0] != after[0] || before[1] == after[1] {
		t.Errorf("a change in the second block changes the digests %t, %t", before[0] != after[0], before[1] != after[1])
	}
	if before[1] != sibling[0] {
		t.Error("the digest depends on the blocks beside")
	}
	if before[1] == outer[0] {
		t.Error("the digest does not show that a label of the outer block changed")
	}
	var zero [32]byte
	if before[0] == before[1] || before[0] == zero {
		t.Error("the digests do not tell the blocks apart")
	}
}

func TestLimits(t *testing.T) {
	content := spectrumFile(fourLabels, fourTable)
	long := spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10AZ7\n")
	deep := strings.Repeat("##TITLE=l\n", 3) + content + strings.Repeat("##END=\n", 3)
	for name, c := range map[string]struct {
		content string
		limits  parsers.Limits
		code    string
	}{
		"bytes":        {content, parsers.Limits{TotalBytes: 100}, "jcampdx-limit-bytes"},
		"line":         {content, parsers.Limits{TokenBytes: 12}, "jcampdx-limit-line"},
		"header":       {content, parsers.Limits{TokenBytes: 200}, "jcampdx-limit-header"},
		"points":       {content, parsers.Limits{Points: 3}, "jcampdx-limit-points"},
		"repeat":       {long, parsers.Limits{Points: 50}, "jcampdx-limit-points"},
		"pairs":        {spectrumFile("", "##XYPOINTS=(XY..XY)\n1 2 3 4\n"), parsers.Limits{Points: 1}, "jcampdx-limit-points"},
		"acquisitions": {content + content, parsers.Limits{Acquisitions: 1}, "jcampdx-limit-acquisitions"},
		"signals":      {content + content, parsers.Limits{Signals: 1}, "jcampdx-limit-signals"},
		"depth":        {deep, parsers.Limits{Depth: 3}, "jcampdx-limit-depth"},
		"inflation":    {spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10AZ9999999\n"), parsers.Limits{}, "jcampdx-limit-points"},
	} {
		t.Run(name, func(t *testing.T) {
			if _, _, err := readAll(t, []byte(c.content), parsers.Options{Limits: c.limits}); refusalCode(err) != c.code {
				t.Errorf("got %v, want %s", err, c.code)
			}
		})
	}
}

// TestOtherErrors shows that faults of the source, the sink and the context are not
// blamed on the content.
func TestOtherErrors(t *testing.T) {
	content := spectrumFile(fourLabels, fourTable)
	broken := errors.New("broken")
	read := func(src io.Reader, sink parsers.Sink) error {
		_, err := New().Read(context.Background(), src, parsers.Options{}, sink)
		return err
	}
	cut := io.MultiReader(strings.NewReader(content[:100]), iotest.ErrReader(broken))
	for name, err := range map[string]error{
		"source":          read(cut, &discard{}),
		"source at start": read(iotest.ErrReader(broken), &discard{}),
		"begin":           read(strings.NewReader(content), failing{begin: broken}),
		"signal":          read(strings.NewReader(content), failing{signal: broken}),
		"end":             read(strings.NewReader(content), failing{end: broken}),
	} {
		if !errors.Is(err, broken) || refusalCode(err) != "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := New().Read(ctx, strings.NewReader(content+strings.Repeat("\n", 5000)), parsers.Options{}, &discard{})
	if !errors.Is(err, context.Canceled) || refusalCode(err) != "" {
		t.Errorf("context: %v", err)
	}
	if _, err := New().Read(context.Background(), iotest.OneByteReader(strings.NewReader(content)), parsers.Options{}, &discard{}); err != nil {
		t.Errorf("one byte at a time: %v", err)
	}
}

type failing struct{ begin, signal, end error }

func (f failing) Begin(parsers.Header) error  { return f.begin }
func (f failing) Signal(parsers.Signal) error { return f.signal }
func (f failing) End(parsers.Trailer) error   { return f.end }
