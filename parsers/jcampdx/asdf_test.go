package jcampdx

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers"
)

// tableForm is a form of the table (X++(Y..Y)).
type tableForm int

const (
	affn     tableForm = iota
	decimals           // AFFN with three decimals
	pac
	sqz
	dif
	sqzdup
	difdup
)

var encodings = map[string]tableForm{"AFFN": affn, "PAC": pac, "SQZ": sqz, "DIF": dif, "SQZ with DUP": sqzdup, "DIFDUP": difdup}

// missing stands for a missing ordinate in the encoder's input.
const missing = math.MinInt64

// pseudo writes n with its sign and leading digit as one pseudo-digit.
func pseudo(n int64, zero, plus, minus byte) string {
	digits := strconv.FormatInt(n, 10)
	first := zero
	switch {
	case n < 0:
		digits = digits[1:]
		first = minus + digits[0] - '1'
	case n > 0:
		first = plus + digits[0] - '1'
	}
	return string(first) + digits[1:]
}

// repeat writes a repeat count.
func repeat(n int) string {
	digits := strconv.Itoa(n)
	return string("STUVWXYZs"[digits[0]-'1']) + digits[1:]
}

// encode writes y with the abscissae 0, 1, 2 … in lines of about width characters,
// by the standard's rules for writers.
func encode(y []int64, form tableForm, width int) []byte {
	return encodeFrom(0, y, form, width)
}

// encodeFrom writes y with the abscissae first, first + 1 …
func encodeFrom(first int, y []int64, form tableForm, width int) []byte {
	var out bytes.Buffer
	differences := form == dif || form == difdup
	repeats := form == sqzdup || form == difdup
	carry := false // the last ordinate was written as a difference
	for i := 0; i < len(y); {
		start := out.Len()
		absolute := true // no ordinate that a difference could refer to
		if carry {
			out.WriteString(strconv.Itoa(first + i - 1))
			out.WriteString(pseudo(y[i-1], '@', 'A', 'a'))
			absolute = false
		} else {
			out.WriteString(strconv.Itoa(first + i))
		}
		for wrote := false; i < len(y) && (!wrote || out.Len()-start < width); wrote = true {
			n := 1
			if differences && !absolute && y[i] != missing {
				step := y[i] - y[i-1]
				out.WriteString(pseudo(step, '%', 'J', 'j'))
				for repeats && i+n < len(y) && y[i+n] != missing && y[i+n]-y[i+n-1] == step {
					n++
				}
				carry = true
			} else {
				carry = false
				absolute = y[i] == missing
				switch {
				case absolute:
					out.WriteByte('?')
				case form == decimals:
					fmt.Fprintf(&out, " %.3f", float64(y[i])/1000)
				case form == affn:
					fmt.Fprintf(&out, " %d", y[i])
				case form == pac:
					fmt.Fprintf(&out, "%+d", y[i])
				default:
					out.WriteString(pseudo(y[i], '@', 'A', 'a'))
				}
				for repeats && i+n < len(y) && y[i+n] == y[i] {
					n++
				}
			}
			if n > 1 {
				out.WriteString(repeat(n))
			}
			i += n
		}
		out.WriteString("\r\n")
	}
	if carry {
		fmt.Fprintf(&out, "%d%s\r\n", first+len(y)-1, pseudo(y[len(y)-1], '@', 'A', 'a'))
	}
	return out.Bytes()
}

// file puts a table with the abscissae 0, 1, 2 … into a whole file.
func file(table []byte, n int) []byte {
	return fmt.Appendf(nil, "##TITLE=t\n##JCAMP-DX=4.24\n##DATA TYPE=INFRARED SPECTRUM\n##XUNITS=1/CM\n##YUNITS=ABSORBANCE\n"+
		"##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=0\n##LASTX=%d\n##NPOINTS=%d\n##XYDATA=(X++(Y..Y))\n%s##END=\n", n-1, n, table)
}

func TestEncodedIsDecoded(t *testing.T) {
	for name, form := range encodings {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(r *rapid.T) {
				ordinate := rapid.OneOf(
					rapid.Int64Range(-3, 3), rapid.Int64Range(-2000, 2000),
					rapid.Int64Range(-1<<40, 1<<40), rapid.Just(int64(missing)), rapid.Just(int64(7)))
				y := rapid.SliceOfN(ordinate, 2, 200).Draw(r, "y")
				width := rapid.IntRange(1, 80).Draw(r, "width")
				content := file(encode(y, form, width), len(y))
				got, problems, err := readAll(t, content, parsers.Options{})
				if err != nil || len(problems) > 0 {
					r.Fatalf("%v %v\n%s", err, problems, content)
				}
				if decoded := got[0].spectra[0].Y; !slices.EqualFunc(decoded, y, same) {
					r.Fatalf("got %v\nwant %v\n%s", decoded, y, content)
				}
				for i, x := range got[0].spectra[0].X {
					if x != float64(i) {
						r.Fatalf("x[%d] = %g", i, x)
					}
				}
			})
		})
	}
}

func same(got float64, want int64) bool {
	if want == missing {
		return math.IsNaN(got)
	}
	return got == float64(want)
}

// tableVI are the 53 ordinates of Table VI and tableVII the ten of Table VIIb in the
// paper of 1988.
var (
	tableVI = []int64{0, 0, 0, 0, 2, 4, 4, 4, 7, 5, 4, 4, 5, 5, 7, 10, 11, 11, 6, 5, 7, 6, 9, 9, 7, 10, 10, 9, 10, 11, 12, 15, 16, 16,
		14, 17, 38, 38, 35, 38, 42, 47, 54, 59, 66, 75, 78, 88, 96, 104, 110, 121, 128}
	tableVII = []int64{1, 2, 3, 3, 2, 1, 0, -1, -2, -3}
)

func TestWorkedValues(t *testing.T) {
	for name, c := range map[string]struct {
		table string
		want  []int64
	}{
		"VIIb, columns":           {"0 1 2 3 3 2 1 0 -1 -2 -3\n", tableVII},
		"VIIb, packed":            {"0+1+2+3+3+2+1+0-1-2-3\n", tableVII},
		"VIIb, squeezed":          {"0ABCCBA@abc\n", tableVII},
		"VIIb, difference":        {"0AJJ%jjjjjj\n9c\n", tableVII},
		"VIIb, duplicate":         {"0AJT%jX\n9c\n", tableVII},
		"VIIb, mixed":             {"0 1+2CC 2A@-1bc\n", tableVII},
		"VI, duplicate":           {"0@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\n52A28\n", tableVI},
		"run of values":           {"0 50V\n", []int64{50, 50, 50, 50}},
		"run, difference":         {"0E0%%%\n3E0\n", []int64{50, 50, 50, 50}},
		"run, both":               {"0E0%U\n3E0\n", []int64{50, 50, 50, 50}},
		"long run":                {"0@S2\n", make([]int64, 12)},
		"run of a step":           {"0A0JW\n5A5\n", []int64{10, 11, 12, 13, 14, 15}},
		"check, then run":         {"0A0JJJ\n3A3TJJ\n6A5UJ\n9A6\n", []int64{10, 11, 12, 13, 13, 14, 15, 15, 15, 16}},
		"no check after squeezed": {"0A0JA5\n3A5J\n4A6\n", []int64{10, 11, 15, 15, 16}},
		"missing":                 {"0A0K?B5J\n4B6?C0J\n7C1\n", []int64{10, 12, missing, 25, 26, missing, 30, 31}},
		"run of missing":          {"0A?UB\n", []int64{1, missing, missing, missing, 2}},
	} {
		t.Run(name, func(t *testing.T) {
			got, problems, err := readAll(t, file([]byte(c.table), len(c.want)), parsers.Options{})
			if err != nil || len(problems) > 0 {
				t.Fatalf("%v %v", err, problems)
			}
			if y := got[0].spectra[0].Y; !slices.EqualFunc(y, c.want, same) {
				t.Errorf("got  %v\nwant %v", y, c.want)
			}
		})
	}
}

// TestEncoderWritesWorkedForms keeps the encoder of the tests honest.
func TestEncoderWritesWorkedForms(t *testing.T) {
	for name, c := range map[string]struct {
		y    []int64
		form tableForm
		want string
	}{
		"PAC":        {tableVII, pac, "0+1+2+3+3+2+1+0-1-2-3\r\n"},
		"SQZ":        {tableVII, sqz, "0ABCCBA@abc\r\n"},
		"DIF":        {tableVII, dif, "0AJJ%jjjjjj\r\n9c\r\n"},
		"DIFDUP":     {tableVII, difdup, "0AJT%jX\r\n9c\r\n"},
		"Table VI":   {tableVI, difdup, "0@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\r\n52A28\r\n"},
		"run of DUP": {[]int64{50, 50, 50, 50}, sqzdup, "0E0V\r\n"},
	} {
		t.Run(name, func(t *testing.T) {
			if got := string(encode(c.y, c.form, 80)); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// TestPagesAreDecoded: what any encoder writes into pages of NTUPLES with factors is
// what is read.
func TestPagesAreDecoded(t *testing.T) {
	for name, form := range encodings {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(r *rapid.T) {
				n := rapid.IntRange(2, 60).Draw(r, "n")
				ordinate := rapid.OneOf(rapid.Int64Range(-30, 30), rapid.Int64Range(-1<<30, 1<<30), rapid.Just(int64(missing)))
				pages := rapid.SliceOfN(rapid.SliceOfN(ordinate, n, n), 1, 5).Draw(r, "pages")
				width := rapid.IntRange(1, 80).Draw(r, "width")
				var b bytes.Buffer
				// The table's abscissae are 0, 1, 2 …, before the factor of 1/2.
				fmt.Fprintf(&b, "##TITLE=t\n##JCAMP-DX=5.01\n##DATA TYPE=NMR SPECTRUM\n##DATA CLASS=NTUPLES\n##NTUPLES=NMR SPECTRUM\n"+
					"##SYMBOL=X,Y,N\n##VAR_DIM=%d,%d,%d\n##UNITS=HZ,ARBITRARY UNITS,\n##FIRST=0,,1\n##LAST=%g,,%d\n##FACTOR=0.5,0.25,1\n",
					n, n, len(pages), float64(n-1)/2, len(pages))
				for i, y := range pages {
					fmt.Fprintf(&b, "##PAGE=N=%d\n##DATA TABLE=(X++(Y..Y)), XYDATA\n%s", i+1, encode(y, form, width))
				}
				b.WriteString("##END NTUPLES=NMR SPECTRUM\n##END=\n")
				got, problems, err := readAll(t, b.Bytes(), parsers.Options{})
				if err != nil || len(problems) > 0 || len(got[0].spectra) != len(pages) {
					r.Fatalf("%v %v\n%s", err, problems, b.Bytes())
				}
				for i, s := range got[0].spectra {
					for k, y := range s.Y {
						want := float64(pages[i][k]) / 4
						if pages[i][k] == missing {
							want = math.NaN()
						}
						if s.X[k] != float64(k)/2 || y != want && !(math.IsNaN(y) && math.IsNaN(want)) {
							r.Fatalf("page %d, point %d: %g %g, want %g\n%s", i, k, s.X[k], y, want, b.Bytes())
						}
					}
				}
			})
		})
	}
}

// TestPairsAreDecoded writes pairs with every separator and shape of number.
func TestPairsAreDecoded(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		value := rapid.OneOf(
			rapid.Map(rapid.Int64Range(-1<<52, 1<<52), func(n int64) float64 { return float64(n) }),
			rapid.Float64Range(-1e6, 1e6), rapid.Float64Range(-1e-300, 1e-300), rapid.Float64Range(-1e300, 1e300))
		x := rapid.SliceOfN(value, 1, 100).Draw(r, "x")
		y := rapid.SliceOfN(rapid.OneOf(value, rapid.Just(math.NaN())), len(x), len(x)).Draw(r, "y")
		shape := rapid.SampledFrom([]byte("gef"))
		var b bytes.Buffer
		write := func(v float64) {
			if math.IsNaN(v) {
				b.WriteByte('?')
				return
			}
			text := strconv.FormatFloat(v, shape.Draw(r, "shape"), -1, 64)
			if rapid.Bool().Draw(r, "upper") {
				text = strings.ToUpper(text)
			}
			b.WriteString(text)
		}
		for i := range x {
			write(x[i])
			b.WriteString(rapid.SampledFrom([]string{",", ", ", " ", "\t", " , "}).Draw(r, "inside"))
			write(y[i])
			b.WriteString(rapid.SampledFrom([]string{"\n", " ", ";", "; ", " ;\n", "\r\n", "\n\n"}).Draw(r, "between"))
		}
		b.WriteByte('\n')
		got, problems, err := readAll(t, []byte(spectrumFile(fmt.Sprintf("##NPOINTS=%d\n", len(x)), "##XYPOINTS=(XY..XY)\n"+b.String())), parsers.Options{})
		if err != nil || len(problems) > 0 {
			r.Fatalf("%v %v\n%s", err, problems, b.Bytes())
		}
		s := got[0].spectra[0]
		equal := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
		if !slices.EqualFunc(s.X, x, equal) || !slices.EqualFunc(s.Y, y, equal) {
			r.Fatalf("got %v %v\nwant %v %v\n%s", s.X, s.Y, x, y, b.Bytes())
		}
	})
}
