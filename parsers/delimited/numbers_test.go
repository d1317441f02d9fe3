package delimited

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestNumberTable compares number cells with a table that was worked out apart from the
// reader (testdata/numbers/literals.py): equal to the last bit, or refused.
func TestNumberTable(t *testing.T) {
	data, err := os.ReadFile("testdata/numbers/literals.tsv")
	if err != nil {
		t.Fatal(err)
	}
	pairs := [][2]string{{".", ""}, {".", ","}, {",", ""}, {",", "."}, {",", "\u00a0"}, {".", "'"}}
	lines := strings.Split(strings.TrimSpace(string(data)), "\n")[1:]
	if len(lines) < 200 {
		t.Fatalf("%d literals", len(lines))
	}
	values, refusals := 0, 0
	for _, line := range lines {
		cells := strings.Split(line, "\t")
		var literal string
		if err := json.Unmarshal([]byte(cells[0]), &literal); err != nil || len(cells) != len(pairs)+1 {
			t.Fatalf("line %q: %v", line, err)
		}
		for i, pair := range pairs {
			n := newNumberReader(&Profile{DecimalMark: pair[0], GroupMark: pair[1]})
			v, mark, err := n.cell(literal)
			want := cells[i+1]
			if strings.TrimSpace(literal) == "" {
				if err != nil || mark != MarkEmpty {
					t.Errorf("%q with marks %q: %v, %q, %v; want an empty cell", literal, pair, v, mark, err)
				}
				continue
			}
			if want == "refuse" {
				if refusals++; err == nil {
					t.Errorf("%q with marks %q is %v, %q; want a refusal", literal, pair, v, mark)
				}
				continue
			}
			values++
			exact, parseErr := strconv.ParseFloat(want, 64)
			if parseErr != nil {
				t.Fatal(parseErr)
			}
			if err != nil || mark != "" || math.Float64bits(v) != math.Float64bits(exact) {
				t.Errorf("%q with marks %q is %v (%x), %q, %v; want %s", literal, pair, v, v, mark, err, want)
			}
		}
	}
	t.Logf("%d literals with %d pairs of marks: %d values, %d refusals", len(lines), len(pairs), values, refusals)
}

func TestQualifiedNumbers(t *testing.T) {
	n := newNumberReader(&Profile{DecimalMark: ",", GroupMark: ".", Qualifiers: Qualifiers{
		Below: []string{"<", "<="}, Above: []string{">", "more than"}, BelowRange: []string{"<LLOQ"}, AboveRange: []string{">ULOQ"},
		NotFound: []string{"n.d."}, NotANumber: []string{"#"}, Empty: []string{"-"},
		AfterNumber: []Flag{{"#", "value"}, {"##", "not a number"}, {"J", "below"}, {"#", "value"}},
	}})
	for text, c := range map[string]struct {
		mark  string
		value float64
	}{
		"<0,05":        {MarkBelow, 0},
		"< 0,05":       {MarkBelow, 0},
		"<=1.000,5":    {MarkBelow, 0},
		">100":         {MarkAbove, 0},
		"more than 3":  {MarkAbove, 0},
		"<LLOQ":        {MarkBelow, 0},
		" >ULOQ ":      {MarkAbove, 0},
		"n.d.":         {MarkNotFound, 0},
		"#":            {MarkNotANumber, 0},
		"-":            {MarkEmpty, 0},
		"12,3#":        {"", 12.3},
		"12,3 #":       {"", 12.3},
		"-12,3\u00a0#": {"", -12.3},
		"12,3##":       {MarkNotANumber, 0},
		"1.234,5 J":    {MarkBelow, 0},
		"<0,05 #":      {MarkBelow, 0},
		"<0,05##":      {MarkNotANumber, 0},
	} {
		v, mark, err := n.cell(text)
		if err != nil || mark != c.mark || v != c.value {
			t.Errorf("%q is %v, %q, %v", text, v, mark, err)
		}
	}
	for _, text := range []string{"<", ">", "<n.d.", "< <1", "<0.05", "1##J", "# 1", "n.d", "N.D.", "<ULOQ", "--", "J", "##", "1 2#"} {
		if v, mark, err := n.cell(text); err == nil {
			t.Errorf("%q is %v, %q", text, v, mark)
		}
	}
}

// FuzzQuick: the quick way says of every text what the strict one says, or nothing.
func FuzzQuick(f *testing.F) {
	for _, text := range []string{"1", "-0", "1.5", ".5", "5.", "-", "", "999999999999999.", "0.000000000000001", "1,5"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, mark := range []string{".", ","} {
			v, ok := quick(text, mark)
			if !ok {
				continue
			}
			n := numberReader{decimal: mark}
			want, err := n.number(text)
			if err != nil || math.Float64bits(v) != math.Float64bits(want) {
				t.Fatalf("%q with %q: quick %v, strict %v, %v", text, mark, v, want, err)
			}
		}
	})
}
