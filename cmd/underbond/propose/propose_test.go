package propose

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"underbond/parsers"
	"underbond/parsers/delimited"
)

// All exports here are invented.
const (
	gas = `Instrument export (invented)
Sequence: R31
Exported: 2026-03-02 18:00

Inj,Vial,Sample,Injected,Compound,RT [min],"Area, pA·s",Height
1,12,AS-001,2026-03-02 09:15:00,Methanol,2.31,1045.5,88
1,12,AS-001,2026-03-02 09:15:00,Acetal,3.10,n.d.,<3
2,13,AS-002,2026-03-02 09:34:10,Methanol,2.30,120.25,9
End, 3 peaks
`
	metals = "Vial;Sample;Acquired;Rep;63 Cu [µg/L];103 Rh (IS) [cps]\n" +
		"1;AS-001;24.12.2026 09:00;1;1.402,5;1204551\n1;AS-001;24.12.2026 09:00;2;1.398,25;1198020\n2;AS-002;24.12.2026 09:04;1;0,84;1150772\n2;AS-002;24.12.2026 09:04;2;< 0,05;1150001\n"
)

func mustMake(t *testing.T, opt Options, files ...string) *Proposal {
	t.Helper()
	var list []File
	for _, text := range files {
		list = append(list, File{"export.csv", []byte(text)})
	}
	p, err := Make(list, opt)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func asked(p *Proposal) []string {
	var keys []string
	for _, q := range p.Questions {
		keys = append(keys, q.Key)
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}

// TestShapesOfExports proposes profiles for exports of many shapes: what is asked, and
// what the YAML says. Without questions the profile must read the export; with some it
// must be refused at each.
func TestShapesOfExports(t *testing.T) {
	for name, c := range map[string]struct {
		text  string
		asked []string
		says  []string
	}{
		"peak table": {gas, nil, []string{
			"encoding: utf-8\n", "delimiter: \",\"\n", "decimal_mark: \".\"\n", "separator: \":\"", "{name: Sequence, meaning: run, required: true}", "{name: Exported, volatile: true}",
			"{name: Inj, meaning: injection, type: text}", "{name: Injected, meaning: start, type: time}", "{name: Compound, meaning: analyte, type: text}",
			"{name: \"RT [min]\", meaning: retention, unit: min, type: number}", "{name: \"Area, pA·s\", meaning: area, unit: \"pA·s\", type: number}", "{name: Height, meaning: height, type: number}",
			"shape: long\n", "key: [run, injection]\n", "date_format: \"YYYY-MM-DD HH:mm:ss\"\n", "below: [\"<\"]", "not_found: [n.d.]", "footer: \"End, {rows} peaks\"\n",
		}},
		"element table with replicates": {metals, nil, []string{
			"delimiter: \";\"\n", "decimal_mark: \",\"\n", "group_mark: \".\"\n", "{name: Rep, meaning: replicate, type: text}", "meaning: Cu, unit: \"µg/L\", type: number}", "meaning: counts Rh, unit: cps",
			"shape: long\n", "key: [start, vial]\n", "date_format: \"DD.MM.YYYY HH:mm\"\n", "end: newline\n",
		}},
		"day or month first":        {"Measured,Vial,Density [g/cm³]\n03/02/2026 09:15,1,0.94852\n", []string{"date_format"}, []string{`"DD/MM/YYYY HH:mm", "MM/DD/YYYY HH:mm"`, "date_format: QUESTION"}},
		"month first":               {"Measured,Vial,Density [g/cm³]\n03/22/2026 09:15,1,0.94852\n", nil, []string{`date_format: "MM/DD/YYYY HH:mm"`}},
		"day first":                 {"Measured,Vial,Density [g/cm³]\n22/03/2026 09:15,1,0.94852\n", nil, []string{`date_format: "DD/MM/YYYY HH:mm"`}},
		"dates that disagree":       {"Measured,Vial,Density [g/cm³]\n22/03/2026 09:15,1,0.94852\n03/22/2026 09:15,2,0.9485\n", []string{"date_format"}, nil},
		"twelve hours":              {"Measured,Vial,Density [g/cm³]\n2026/03/02 09:15:00 PM,1,0.94852\n", nil, []string{`"YYYY/MM/DD hh:mm:ss A"`}},
		"names of months":           {"Measured,Vial,Density [g/cm³]\n2-Mar-2026 09:15,1,0.94852\n", nil, []string{`"D-MMM-YYYY HH:mm"`}},
		"offset in the date":        {"Measured,Vial,Density [g/cm³]\n2026-03-02T09:15:00+01:00,1,0.94852\n", nil, []string{`"YYYY-MM-DDTHH:mm:ssZ"`}},
		"offset in a column":        {"Measured,UTC,Vial,Density [g/cm³]\n2026-03-02 09:15:00,+01:00,1,0.94852\n", nil, []string{"meaning: utc offset"}},
		"date and time apart":       {"Date,Time,Vial,Density [g/cm³]\n2026-03-02,09:15:00,1,0.94852\n", nil, []string{"{name: Date, meaning: start, type: time}", "{name: Time, meaning: start, type: time}"}},
		"a date without a time":     {"Date,Vial,Density [g/cm³]\n2026-03-02,1,0.94852\n", []string{"columns[0]", "key"}, []string{"meaning: QUESTION"}},
		"a date of another name":    {"Bottled,Vial,Density [g/cm³]\n2026-03-02 09:15,1,0.94852\n", []string{"columns[0]", "key"}, []string{"is this the start"}},
		"two starts":                {"Acquired,Injected,Vial,Area\n2026-03-02 09:15,2026-03-02 09:16,1,5.5\n", []string{"columns[0]", "columns[1]", "key"}, nil},
		"thousands or decimals":     {"Start;Vial;Area\n2026-03-02 09:15;1;1,234\n", []string{"decimal_mark"}, []string{`"1,234" can have a decimal mark`, "decimal_mark: QUESTION"}},
		"no mark at all":            {"Start;Vial;Area\n2026-03-02 09:15;1;1234\n", []string{"decimal_mark"}, nil},
		"marks that disagree":       {"Start;Vial;Area\n2026-03-02 09:15;1;1,25\n2026-03-02 09:16;2;1.25\n", []string{"decimal_mark"}, []string{`"1.25" against "1,25"`}},
		"group mark":                {"Start;Vial;Area\n2026-03-02 09:15;1;1,234,567\n2026-03-02 09:16;2;1.5\n", nil, []string{`group_mark: ","`}},
		"spaces":                    {"Start;Vial;Area\n2026-03-02 09:15;1;12 234,5\n", nil, []string{`group_mark: " "`, `decimal_mark: ","`}},
		"numbers side by side":      {"Start;Vial;Area;Cells\n2026-03-02 09:15;1;2,5;1 2\n", nil, []string{"{name: Cells, type: text}"}},
		"apostrophes":               {"Start;Vial;Area\n2026-03-02 09:15;1;1'234.5\n", nil, []string{`group_mark: "'"`}},
		"no unit":                   {"Start,Vial,Density\n2026-03-02 09:15,1,0.94852\n", []string{"columns[2]"}, []string{"unit: QUESTION"}},
		"brackets without a unit":   {"Start,Vial,Area (corrected)\n2026-03-02 09:15,1,0.5\n", nil, []string{`"corrected" in brackets is no unit`}},
		"a word that says little":   {"Start,Vial,Area\n2026-03-02 09:15,1,0.5\n2026-03-02 09:16,2,n.a.\n", []string{"qualifiers"}, []string{`what does "n.a." say (line 3)`, "empty: [QUESTION]"}},
		"a sign behind numbers":     {"Start,Vial,Area\n2026-03-02 09:15,1,0.5 #\n", []string{"qualifiers"}, []string{"says: QUESTION"}},
		"words that say much":       {"Start,Vial,Area\n2026-03-02 09:15,1,0.5\n2026-03-02 09:16,2,>ULOQ\n2026-03-02 09:17,3,<LLOQ\n2026-03-02 09:18,4,NaN\n2026-03-02 09:19,5,-\n", nil, []string{`above_range: [">ULOQ"]`, `below_range: ["<LLOQ"]`, "not_a_number: [NaN]", `empty: ["-"]`}},
		"no key":                    {"Vial,Density [g/cm³]\n1,0.94852\n", []string{"key"}, []string{"key: [QUESTION]"}},
		"key that does not fit":     {"Start,Vial,Density [g/cm³]\n2026-03-02 09:15,1,0.94852\n2026-03-02 09:15,1,0.94853\n", []string{"key"}, nil},
		"no header row":             {"1|AS-001|0.5\n2|AS-002|0.25\n", []string{"key"}, []string{"header: none", "number: 3, type: number"}},
		"no header row, a preamble": {"Run: R1\nKind: x\n1|AS-001|0.5\n2|AS-002|0.25\n", []string{"key"}, []string{"line_count: 2"}},
		"only words":                {"Vial,Sample\na,b\nc,d\n", []string{"decimal_mark", "header", "key"}, nil},
		"an empty column":           {"Start,Vial,Area,Weight\n2026-03-02 09:15,1,0.5,\n", []string{"columns[3]"}, []string{"type: QUESTION"}},
		"one meaning twice":         {"Start,Vial,Area,Peak area\n2026-03-02 09:15,1,0.5,0.6\n", []string{"columns[3]"}, nil},
		"two isotopes":              {"Start,Vial,Cu 63 [cps],Cu 65 [cps]\n2026-03-02 09:15,1,0.5,0.6\n", nil, []string{"meaning: counts Cu,", `meaning: "counts Cu (Cu 65)"`}},
		"delta values":              {"Start,Vial,δ13C [‰],d18O (‰)\n2026-03-02 09:15,1,-26.5,0.6\n", nil, []string{"meaning: d13C", "meaning: d18O"}},
		"comments":                  {"# made up\nStart,Vial,Area\n2026-03-02 09:15,1,0.5\n# more\n", nil, []string{`comment: "#"`}},
		"comments with values":      {"# Run: 7\nStart,Vial,Area\n2026-03-02 09:15,1,0.5\n", []string{"comment"}, []string{"comment: QUESTION"}},
		"no line end":               {"Start,Vial,Area\n2026-03-02 09:15,1,0.5", []string{"end"}, []string{"end: QUESTION"}},
		"a footer with other count": {"Start,Vial,Area\n2026-03-02 09:15,1,0.5\nTotal 17\n", []string{"footer"}, []string{"footer: QUESTION"}},
		"a footer without count":    {"Start,Vial,Area\n2026-03-02 09:15,1,0.5\n*** end ***\n", nil, []string{`footer: "*** end ***"`}},
		"quotes inside cells":       {"Start;Vial;Area;Column\n2026-03-02 09:15;1;0.5;5\" steel\n", nil, []string{"quoting: none"}},
		"tabulators":                {"Start\tVial\tArea\n2026-03-02 09:15\t1\t0.5\n", nil, []string{`delimiter: "\t"`}},
		"two delimiters":            {"a;b,c;d\nx;1.5,1.5;y\nz;2.5,2.5;z\n", []string{"decimal_mark", "delimiter", "header", "key"}, []string{"delimiter: QUESTION"}},
		"separators that tie":       {"Run: 1=2\nStart,Vial,Area\n2026-03-02 09:15,1,0.5\n", []string{"preamble.separator"}, []string{"separator: QUESTION"}},
		"the start in the preamble": {"Date: 2 March 2026\nTime: 07:45\nSequence: 9\nVial,Area\n1,0.5\n", nil, []string{"{name: Date, meaning: start, required: true}", `"D MMMM YYYY HH:mm"`, "key: [run, vial]"}},
		"a name that needs quotes":  {"Start,Vial,Area,\"x: {y}, #1\"\n2026-03-02 09:15,1,0.5,yes\n", nil, []string{`{name: "x: {y}, #1", type: text}`}},
		"names like truth values":   {"Start,Vial,Area,No,Y\n2026-03-02 09:15,1,0.5,1,z\n", nil, []string{`{name: "No", meaning: reading`, `{name: "Y"`}},
	} {
		t.Run(name, func(t *testing.T) {
			p := mustMake(t, Options{}, c.text)
			yaml := string(p.YAML())
			if got := asked(p); !slices.Equal(got, c.asked) {
				t.Errorf("asks about %q, want %q:\n%s", got, c.asked, yaml)
			}
			for _, want := range c.says {
				if !strings.Contains(yaml, want) {
					t.Errorf("%q is not in\n%s", want, yaml)
				}
			}
			if n := strings.Count(yaml, "# QUESTION:"); n != len(p.Questions) {
				t.Errorf("%d questions in the document, %d asked:\n%s", n, len(p.Questions), yaml)
			}
			profile, err := delimited.ParseProfile("p.yaml", p.YAML())
			if len(p.Questions) > 0 {
				if err == nil {
					t.Errorf("accepted with open questions:\n%s", yaml)
				}
				return
			}
			if err != nil {
				t.Fatalf("%v\n%s", err, yaml)
			}
			if _, err := delimited.New(profile).Read(t.Context(), strings.NewReader(c.text), parsers.Options{}, &tables{}); err != nil {
				t.Errorf("%v\n%s", err, yaml)
			}
		})
	}
}

// TestQuestionsAreRefusedInPlace: each open question is a fault at its own place.
func TestQuestionsAreRefusedInPlace(t *testing.T) {
	p := mustMake(t, Options{}, "Run: 1=2\nMeasured;Vial;Density;Area\n03/02/2026 09:15;1;1,234;5 #\n03/02/2026 09:15;1;n.a.;6\nTotal 17")
	lines := strings.Split(string(p.YAML()), "\n")
	_, err := delimited.ParseProfile("p.yaml", p.YAML())
	if err == nil {
		t.Fatal("accepted")
	}
	for i, l := range lines {
		if strings.Contains(l, "QUESTION") && !strings.HasPrefix(strings.TrimSpace(l), "#") {
			if place := "p.yaml:" + strconv.Itoa(i+1) + ":"; !strings.Contains(err.Error(), place) {
				t.Errorf("no fault at %s %q:\n%v", place, l, err)
			}
		}
	}
}

func TestRefusedFiles(t *testing.T) {
	for name, c := range map[string]struct {
		files []string
		opt   Options
		line  int
		words string
	}{
		"empty":              {[]string{""}, Options{}, 0, "empty"},
		"one column":         {[]string{"a\nb\nc\n"}, Options{}, 0, "no table"},
		"unknown encoding":   {[]string{"Vial,Cu [\xb5g/L]\n1,0.5\n"}, Options{}, 0, `in windows-1252 it reads "Vial,Cu [µg/L]"`},
		"wrong encoding":     {[]string{"Vial,Cu [\xb5g/L]\n1,0.5\n"}, Options{Encoding: "utf-8"}, 1, "not utf-8"},
		"UTF-16, no mark":    {[]string{"V\x00i\x00a\x00l\x00,\x00C\x00u\x00\n\x00" + strings.Repeat("1\x00", 9)}, Options{}, 0, "utf-16le"},
		"ragged":             {[]string{"Vial,Area,Height\n1,0.5,2\n2,0.5\n3,0.5,1\n"}, Options{}, 3, "2 cells, the table 3"},
		"column twice":       {[]string{"Vial,Area,Area\n1,0.5,2\n"}, Options{}, 1, "again"},
		"column unnamed":     {[]string{"Vial,Area,,Height\n1,0.5,2,3\n"}, Options{}, 1, "no name"},
		"unclosed quote":     {[]string{"Vial,\"Area\n1,0.5\n"}, Options{}, 0, ""},
		"lone returns":       {[]string{"Vial,Area\r1,0.5\r"}, Options{}, 1, "carriage return"},
		"mixed line ends":    {[]string{"Vial,Area\n1,0.5\r\n"}, Options{}, 2, "line"},
		"files of two kinds": {[]string{gas, metals}, Options{}, 0, "one kind"},
	} {
		t.Run(name, func(t *testing.T) {
			var list []File
			for _, text := range c.files {
				list = append(list, File{"export.csv", []byte(text)})
			}
			p, err := Make(list, c.opt)
			if name == "unclosed quote" && err == nil {
				// Read as text without quotes, which is said.
				if p.Profile.Quoting != "none" || !strings.Contains(string(p.YAML()), "quotes stand inside cells") {
					t.Errorf("%s", p.YAML())
				}
				return
			}
			var fault *FileError
			if !errors.As(err, &fault) || fault.Line != c.line || !strings.Contains(err.Error(), c.words) {
				t.Errorf("got %v", err)
			}
		})
	}
}

func TestSeveralFiles(t *testing.T) {
	one := "Measured,Vial,Density [g/cm³]\n03/02/2026 09:15,1,0.94852\n"
	two := "Measured,Vial,Density [g/cm³]\n13/02/2026 09:15,1,0.94852\n"
	if p := mustMake(t, Options{Name: "log"}, one, two); len(p.Questions) > 0 || p.Profile.DateFormat != "DD/MM/YYYY HH:mm" || p.Files != 2 || p.Rows != 2 || p.Profile.Name != "log" {
		t.Errorf("%s", p.YAML())
	}
	if p := mustMake(t, Options{}, one, one); !slices.Equal(asked(p), []string{"date_format", "key"}) {
		t.Errorf("the same acquisition in two files: %s", p.YAML())
	}
}

func TestNames(t *testing.T) {
	for file, want := range map[string]string{
		"GC run 7.csv": "gc-run-7", "/a/b/PM-1.export.txt": "pm-1.export", ".csv": "export", "…": "export", strings.Repeat("x", 90) + ".csv": strings.Repeat("x", 64),
	} {
		if got := nameOf(file); got != want {
			t.Errorf("%q gives %q, want %q", file, got, want)
		}
	}
}

// tables is a sink that keeps everything.
type tables struct {
	headers []parsers.Header
	columns []parsers.Column
	rows    [][]parsers.Cell
}

func (s *tables) Begin(h parsers.Header) error { s.headers = append(s.headers, h); return nil }

func (s *tables) Signal(signal parsers.Signal) error {
	t := signal.(*parsers.Table)
	s.columns = t.Columns
	for _, row := range t.Rows {
		cells := slices.Clone(row.Cells)
		for i, c := range cells {
			if c.Value != nil {
				v := *c.Value
				cells[i].Value = &v
			}
		}
		s.rows = append(s.rows, cells)
	}
	return nil
}

func (s *tables) End(parsers.Trailer) error { return nil }

// FuzzMake: any file gives a proposal or a FileError, and a proposal without questions
// is a profile.
func FuzzMake(f *testing.F) {
	f.Add([]byte(gas))
	f.Add([]byte(metals))
	f.Add([]byte("a;b,c;d\nx;1.5,1.5;y\n"))
	for _, name := range []string{"peaks.csv", "density.tsv", "isotopes.txt"} {
		data, err := os.ReadFile(filepath.Join("..", "..", "..", "parsers", "delimited", "testdata", "examples", name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 4096 {
			return
		}
		for _, encoding := range []string{"", "windows-1252"} {
			p, err := Make([]File{{"f", data}}, Options{Encoding: encoding})
			var fault *FileError
			if err != nil {
				if !errors.As(err, &fault) {
					t.Fatal(err)
				}
				continue
			}
			_, err = delimited.ParseProfile("f", p.YAML())
			if (err == nil) != (len(p.Questions) == 0) {
				t.Fatalf("%d questions, and %v\n%s", len(p.Questions), err, p.YAML())
			}
		}
	})
}

func utf16le(text string) []byte {
	var b bytes.Buffer
	b.Write([]byte{0xFF, 0xFE})
	for _, u := range utf16.Encode([]rune(text)) {
		b.Write([]byte{byte(u), byte(u >> 8)})
	}
	return b.Bytes()
}

func TestUTF16(t *testing.T) {
	p, err := Make([]File{{"export.csv", utf16le(metals)}}, Options{})
	if err != nil || p.Profile.Encoding != "utf-16le" || len(p.Questions) > 0 {
		t.Errorf("%v\n%s", err, p.YAML())
	}
}
