package jcampdx

import (
	"math"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
)

// pagesFile has a real and an imaginary page.
const pagesFile = `##TITLE=pages
##JCAMP-DX=5.00
##DATA TYPE=NMR SPECTRUM
##DATA CLASS=NTUPLES
##NTUPLES=NMR SPECTRUM
##VAR_NAME=FREQUENCY, SPECTRUM/REAL, SPECTRUM/IMAG, PAGE NUMBER
##SYMBOL=  X,         R,             I,             N
##VAR_FORM=AFFN,      ASDF,          ASDF,          AFFN
##VAR_DIM= 4,         4,             4,             2
##UNITS=   HZ,        ARBITRARY UNITS, ARBITRARY UNITS,
##FIRST=   8,         1,             10,            1
##LAST=    2,         4,             40,            2
##MIN=     2,         1,             10,            1
##MAX=     8,         4,             40,            2
##FACTOR=  2,         1,             10,            1
##PAGE=N=1
##DATA TABLE=(X++(R..R)), XYDATA
4 1 2
2 3 4
##PAGE=N=2
##DATA TABLE=(X++(I..I)), XYDATA
4AJ
3BJJ
1D
##END NTUPLES=NMR SPECTRUM
##END=
`

func TestPages(t *testing.T) {
	got, problems, err := readAll(t, []byte(pagesFile), parsers.Options{})
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	if len(got) != 1 || len(got[0].spectra) != 2 {
		t.Fatalf("got %d acquisitions", len(got))
	}
	for i, want := range []struct {
		id string
		y  []float64
	}{{"N=1", []float64{1, 2, 3, 4}}, {"N=2", []float64{10, 20, 30, 40}}} {
		s := got[0].spectra[i]
		if s.Index != i || s.ID != want.id || !slices.Equal(s.Y, want.y) || !slices.Equal(s.X, []float64{8, 6, 4, 2}) {
			t.Errorf("page %d: %d %q %v %v", i, s.Index, s.ID, s.X, s.Y)
		}
		if s.XAxis.Unit != "Hz" || s.YAxis.UnitText != "ARBITRARY UNITS" {
			t.Errorf("page %d: axes %+v %+v", i, s.XAxis, s.YAxis)
		}
	}
}

// TestPageLabelsHoldForTheirPage shows that FIRST and LAST of a page override the
// lists for that page only.
func TestPageLabelsHoldForTheirPage(t *testing.T) {
	content := strings.Replace(pagesFile, "##PAGE=N=1\n", "##PAGE=N=1\n##FIRST=16,1,10,1\n##LAST=4,4,40,2\n", 1)
	content = strings.Replace(content, "4 1 2\n2 3 4\n", "8 1 2\n4 3 4\n", 1)
	got, problems, err := readAll(t, []byte(content), parsers.Options{})
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	if x := got[0].spectra[0].X; !slices.Equal(x, []float64{16, 12, 8, 4}) {
		t.Errorf("first page: %v", x)
	}
	if x := got[0].spectra[1].X; !slices.Equal(x, []float64{8, 6, 4, 2}) {
		t.Errorf("second page: %v", x)
	}
}

func TestUnknownPageVariable(t *testing.T) {
	content := strings.Replace(pagesFile, "(X++(R..R))", "(X++(Q..Q))", 1)
	got, problems, err := readAll(t, []byte(content), parsers.Options{})
	if err != nil || len(got[0].spectra) != 2 || !got[0].spectra[0].Lost || got[0].spectra[1].Lost || !slices.Equal(got[0].spectra[1].Y, []float64{10, 20, 30, 40}) {
		t.Fatalf("the other page is not read: %v", err)
	}
	if len(problems) != 1 || problems[0].Grade != parsers.Lost || problems[0].Code != "jcampdx-variables" {
		t.Errorf("got %v", problems)
	}
}

func TestMassSpectrumSeries(t *testing.T) {
	content := `##TITLE=series
##JCAMP-DX=5.00
##DATA TYPE=MASS SPECTRUM
##DATA CLASS=NTUPLES
##.IONIZATION MODE=EI+
##NTUPLES=MASS SPECTRUM
##VAR_NAME=MASS, INTENSITY, RETENTION TIME
##SYMBOL=X,Y,T
##UNITS=M/Z,RELATIVE ABUNDANCE,MINUTES
##PAGE=T=1.5
##NPOINTS=2
##DATA TABLE=(XY..XY), PEAKS
50,1 51,2
##PAGE=T=2
##NPOINTS=1
##DATA TABLE=(XY..XY), PEAKS
52,3
##END NTUPLES=MASS SPECTRUM
##END=
`
	got, problems, err := readAll(t, []byte(content), parsers.Options{})
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	for i, want := range []float64{90, 120} {
		s := got[0].spectra[i]
		if s.ScanTime != want || s.Polarity != "positive" || s.Representation != "centroid" {
			t.Errorf("scan %d: %g s, %q, %q", i, s.ScanTime, s.Polarity, s.Representation)
		}
	}
	single := "##TITLE=one\n##DATA TYPE=MASS SPECTRUM\n##XUNITS=M/Z\n##PEAK TABLE=(XY..XY)\n50,1\n##END=\n"
	got, _, err = readAll(t, []byte(single), parsers.Options{})
	if err != nil || !math.IsNaN(got[0].spectra[0].ScanTime) {
		t.Errorf("a spectrum without a time: %v", err)
	}
}

func TestInterferogram(t *testing.T) {
	content := "##TITLE=i\n##DATA TYPE=INFRARED INTERFEROGRAM\n##RUNITS=MICROMETERS\n##AUNITS=ARBITRARY UNITS\n##FIRSTR=0\n##LASTR=6\n" +
		"##RFACTOR=2\n##AFACTOR=10\n##NPOINTS=4\n##FIRSTA=10\n##RADATA=(R++(A..A))\n0 1 2 3 4\n##END=\n"
	got, problems, err := readAll(t, []byte(content), parsers.Options{})
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	s := got[0].spectra[0]
	if !slices.Equal(s.X, []float64{0, 2, 4, 6}) || !slices.Equal(s.Y, []float64{10, 20, 30, 40}) || s.XAxis.Unit != "um" {
		t.Errorf("%v %v %+v", s.X, s.Y, s.XAxis)
	}
}

func TestGroups(t *testing.T) {
	for name, c := range map[string]struct {
		label string
		data  string
		want  [][]string
	}{
		"widths":          {"##PEAK TABLE=(XYW..XYW)", "1 2 3\n4,5,6; 7, 8, 9\n", [][]string{{"1", "2", "3"}, {"4", "5", "6"}, {"7", "8", "9"}}},
		"brackets":        {"##PEAK ASSIGNMENTS=(XYA)", "(1, 2, <C-1>)\n(3,,<C 2, 3>)\n", [][]string{{"1", "2", "<C-1>"}, {"3", "", "<C 2, 3>"}}},
		"over lines":      {"##PEAK ASSIGNMENTS=(XYWA)", "(1, 2,\n 3, <a\nb>)\n", [][]string{{"1", "2", "3", "<a\nb>"}}},
		"no brackets":     {"##PEAK ASSIGNMENT=(XYWA)", "1, -2,3, <a;\nb>\n4,5,6,<c>\n", [][]string{{"1", "-2", "3", "<a;\nb>"}, {"4", "5", "6", "<c>"}}},
		"multiplicity":    {"##PEAK ASSIGNMENTS=(XYMA)", "( 27.00, 1.0,, < 7>)\n", [][]string{{"27.00", "1.0", "", "< 7>"}}},
		"several on line": {"##PEAK ASSIGNMENTS=(XA)", "(1,<a>) (2,<b>)\n", [][]string{{"1", "<a>"}, {"2", "<b>"}}},
	} {
		t.Run(name, func(t *testing.T) {
			content := "##TITLE=g\n##DATA TYPE=NMR PEAK ASSIGNMENTS\n##XUNITS=PPM\n" + c.label + "\n" + c.data + "##END=\n"
			got, problems, err := readAll(t, []byte(content), parsers.Options{})
			if err != nil || len(problems) > 0 {
				t.Fatal(err, problems)
			}
			table := got[0].tables[0]
			if len(table.Rows) != len(c.want) {
				t.Fatalf("got %d rows", len(table.Rows))
			}
			for i, row := range table.Rows {
				for j, cell := range row.Cells {
					if cell.Text != c.want[i][j] {
						t.Errorf("row %d, cell %d: %q, want %q", i, j, cell.Text, c.want[i][j])
					}
					if numeric := table.Columns[j].Name != "A" && table.Columns[j].Name != "M" && cell.Text != ""; numeric != (cell.Value != nil) {
						t.Errorf("row %d, cell %d: %q has a value: %t", i, j, cell.Text, cell.Value != nil)
					}
				}
			}
			if table.Columns[0].Unit != "[ppm]" {
				t.Errorf("columns: %+v", table.Columns)
			}
		})
	}
}
