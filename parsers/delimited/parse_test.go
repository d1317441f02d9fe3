package delimited

import (
	"os"
	"reflect"
	"testing"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

func TestParseProfileBad(t *testing.T) {
	parserstest.Bad(t, os.DirFS("testdata/bad"), func(file string, data []byte) error {
		_, err := ParseProfile(file, data)
		return err
	})
}

func TestSchema(t *testing.T) {
	schema, err := os.ReadFile("profile.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	parserstest.Schema(t, schema, reflect.TypeFor[Profile]())
}

func TestDateFormats(t *testing.T) {
	for format, c := range map[string]struct{ text, local, offset string }{
		"YYYY-MM-DD HH:mm:ss":   {"2026-02-03 09:15:10", "2026-02-03T09:15:10", ""},
		"YYYY-MM-DDTHH:mm:ssZ":  {"2026-02-03T09:15:10.25+01:00", "2026-02-03T09:15:10.25", "+01:00"},
		"DD/MM/YYYY HH:mm":      {"03/02/2026 09:15", "2026-02-03T09:15:00", ""},
		"D.M.YYYY HH:mm":        {"3.2.2026 09:15", "2026-02-03T09:15:00", ""},
		"MM/DD/YYYY hh:mm:ss A": {"02/03/2026 09:15:10 PM", "2026-02-03T21:15:10", ""},
		"DD-MMM-YYYY, HH:mm":    {"03-Feb-2026, 09:15", "2026-02-03T09:15:00", ""},
		"YYYY/MM/DD HH:mm":      {"2026-02-03 09:15", "", ""},
		"YYYY-MM-DD  HH:mm":     {"2026-02-30  09:15", "", ""},
	} {
		layout, err := dateLayout(format)
		if err != nil {
			t.Errorf("%s: %v", format, err)
			continue
		}
		if got := startOf(c.text, "", layout); got != (parsers.Start{Text: c.text, Local: c.local, Offset: c.offset}) {
			t.Errorf("%s: got %+v", format, got)
		}
	}
	for _, format := range []string{"", "YYYY-MM-DD", "yyyy-MM-DD HH:mm", "DD/DD/YYYY HH:mm", "YYYY-MM-DD hh:mm", "YYYY-MM-DD HH:mm A", "YYYY-MM-DD HH:mm 2"} {
		if layout, err := dateLayout(format); err == nil {
			t.Errorf("%q becomes %q", format, layout)
		}
	}
}

func TestNumbers(t *testing.T) {
	for name, c := range map[string]struct {
		decimal, group, text string
		want                 float64
		ok                   bool
	}{
		"point":                   {".", "", "1.5", 1.5, true},
		"leading point":           {".", "", ".5", 0.5, true},
		"sign and exponent":       {".", "", "-1.5E+3", -1500, true},
		"spaces around":           {".", "", " 1 ", 1, true},
		"negative zero":           {".", "", "-0.0", 0, true},
		"zero with exponent":      {".", "", "0e-999", 0, true},
		"comma":                   {",", "", "1,5", 1.5, true},
		"point where comma":       {",", "", "1.5", 0, false},
		"comma where point":       {".", "", "1,234", 0, false},
		"groups":                  {".", ",", "1,234,567.8", 1234567.8, true},
		"groups of comma":         {",", ".", "-1.234,5", -1234.5, true},
		"group too short":         {".", ",", "1,23", 0, false},
		"group too long":          {".", ",", "1234,567", 0, false},
		"group in the fraction":   {".", ",", "1.234,567", 0, false},
		"no-break space":          {",", "\u00a0", "12\u00a0345,6", 12345.6, true},
		"two commas":              {",", "", "1,2,3", 0, false},
		"underscore":              {".", "", "1_000", 0, false},
		"hexadecimal":             {".", "", "0x1p4", 0, false},
		"infinity":                {".", "", "+Inf", 0, false},
		"exponent without digits": {".", "", "1e", 0, false},
		"only a sign":             {".", "", "-", 0, false},
		"full-width digit":        {".", "", "１", 0, false},
		"smallest subnormal":      {".", "", "5e-324", 5e-324, true},
		"too small":               {".", "", "1e-400", 0, false},
		"too large":               {".", "", "1e309", 0, false},
	} {
		n := newNumberReader(&Profile{DecimalMark: c.decimal, GroupMark: c.group})
		v, mark, err := n.cell(c.text)
		if (err == nil) != c.ok || c.ok && (v != c.want || mark != "") {
			t.Errorf("%s: %q gives %v, %q, %v", name, c.text, v, mark, err)
		}
	}
}
