package inspect

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"underbond/parsers"
	"underbond/parsers/delimited"
)

const jcamp = `##TITLE= Colour of OC-001 (invented)
##JCAMP-DX= 5.01
##DATA TYPE= UV/VIS SPECTRUM
##ORIGIN= invented
##OWNER= invented
##SAMPLE DESCRIPTION= OC-001
##LONGDATE= 2026/03/06 09:00:00
##XUNITS= NANOMETERS
##YUNITS= ABSORBANCE
##FIRSTX= 400
##LASTX= 430
##NPOINTS= 4
##XFACTOR= 1
##YFACTOR= 0.001
##FIRSTY= 0.5
##XYDATA= (X++(Y..Y))
400 500 400 ? 250
##END=
`

const profile = `kind: profile
name: readings
version: "1"
encoding: utf-8
delimiter: ";"
decimal_mark: ","
columns:
  - {name: Vial, meaning: vial, type: text}
  - {name: Measured, meaning: start, type: time}
  - {name: Density, meaning: density, unit: g/cm³, type: number}
shape: wide
key: [vial]
date_format: YYYY-MM-DD HH:mm:ss
qualifiers: {below: ["<"]}
end: newline
`

const readings = "Vial;Measured;Density\n1;2026-03-02 08:30:00;0,94852\n2;;< 0,7\n3;2026-03-29 02:30:00;\n"

func mzMLArray(accession, name, unit string, values []float64) string {
	var raw bytes.Buffer
	for _, v := range values {
		_ = binary.Write(&raw, binary.LittleEndian, v) // a buffer takes everything
	}
	text := base64.StdEncoding.EncodeToString(raw.Bytes())
	return fmt.Sprintf(`<binaryDataArray encodedLength="%d"><cvParam cvRef="MS" accession="MS:1000523" name="64-bit float"/><cvParam cvRef="MS" accession="MS:1000576" name="no compression"/><cvParam cvRef="MS" accession="%s" name="%s" %s/><binary>%s</binary></binaryDataArray>`,
		len(text), accession, name, unit, text)
}

// mzML writes n spectra, spectrum i with base peak 100+i at m/z 50+i, and a chromatogram without a time unit when timeUnit is "".
func mzML(n int, timeUnit string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<?xml version="1.0" encoding="utf-8"?><mzML xmlns="http://psi.hupo.org/ms/mzml" version="1.1.0"><run id="r" startTimeStamp="2026-03-09T07:10:00Z"><spectrumList count="%d">`, n)
	for i := range n {
		f := float64(i)
		fmt.Fprintf(&b, `<spectrum index="%d" id="scan=%d" defaultArrayLength="3"><cvParam cvRef="MS" accession="MS:1000579" name="MS1 spectrum"/><cvParam cvRef="MS" accession="MS:1000511" name="ms level" value="1"/><cvParam cvRef="MS" accession="MS:1000130" name="positive scan"/><cvParam cvRef="MS" accession="MS:1000127" name="centroid spectrum"/><scanList count="1"><scan><cvParam cvRef="MS" accession="MS:1000016" name="scan start time" value="%d" unitAccession="UO:0000031"/></scan></scanList><binaryDataArrayList count="2">%s%s</binaryDataArrayList></spectrum>`,
			i, i+1, i, mzMLArray("MS:1000514", "m/z array", `unitAccession="MS:1000040"`, []float64{40, 50 + f, 900}),
			mzMLArray("MS:1000515", "intensity array", "", []float64{1, 100 + f, 2}))
	}
	fmt.Fprintf(&b, `</spectrumList><chromatogramList count="1"><chromatogram index="0" id="TIC" defaultArrayLength="3"><cvParam cvRef="MS" accession="MS:1000235" name="total ion current chromatogram"/><binaryDataArrayList count="2">%s%s</binaryDataArrayList></chromatogram></chromatogramList></run></mzML>`,
		mzMLArray("MS:1000595", "time array", timeUnit, []float64{0, 0.5, 1}), mzMLArray("MS:1000515", "intensity array", "", []float64{1, 8, math.NaN()}))
	return b.String()
}

const minutes = `unitAccession="UO:0000031"`

func write(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func inspected(t *testing.T, path string, opt Options) *Report {
	t.Helper()
	r, err := File(context.Background(), path, opt)
	if err != nil {
		t.Fatal(err)
	}
	conforms(t, r)
	return r
}

func readingsProfile(t *testing.T) *delimited.Profile {
	t.Helper()
	p, err := delimited.ParseProfile("readings.yaml", []byte(profile))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestOutcomes(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	known := Options{Profiles: []*delimited.Profile{readingsProfile(t)}, Zone: berlin}
	cases := map[string]struct {
		content string
		opt     Options
		outcome string
		format  Text
		end     parsers.EndProof
		code    string
		says    string
	}{
		"jcamp-dx":               {content: jcamp, outcome: OutcomeRead, format: "jcamp-dx", end: "held"},
		"jcamp-dx, other FIRSTY": {content: strings.Replace(jcamp, "400 500", "400 700", 1), outcome: OutcomeWarned, format: "jcamp-dx", end: "held", code: "jcampdx-firsty"},
		"jcamp-dx, cut":          {content: strings.Replace(jcamp, "##END=\n", "", 1), outcome: OutcomeRefused, format: "jcamp-dx", end: "failed", code: "incomplete", says: "export it again"},
		"jcamp-dx, wrong":        {content: strings.Replace(jcamp, "400 500", "400 !", 1), outcome: OutcomeRefused, format: "jcamp-dx", end: "held"},
		"mzML":                   {content: mzML(1, minutes), outcome: OutcomeRead, format: "mzml", end: "held"},
		"mzML, no time unit":     {content: mzML(1, ""), outcome: OutcomeWarned, format: "mzml", end: "held", code: "mzml-time-unit"},
		"mzML, cut":              {content: mzML(1, minutes)[:900], outcome: OutcomeRefused, format: "mzml", end: "failed", code: "incomplete"},
		"delimited":              {content: readings, opt: known, outcome: OutcomeRead, format: "delimited", end: "none"},
		"delimited, no profile":  {content: readings, outcome: OutcomeRefused, end: "none", code: "no-profile", says: "--profile"},
		"delimited, cut":         {content: strings.TrimSuffix(readings, "\n"), opt: known, outcome: OutcomeRefused, format: "delimited", end: "failed", code: "incomplete"},
		"two profiles":           {content: readings, opt: Options{Profiles: []*delimited.Profile{readingsProfile(t), renamed(readingsProfile(t))}}, outcome: OutcomeRefused, end: "none", code: "ambiguous-profile", says: "only one of them"},
		"empty":                  {content: "", outcome: OutcomeRefused, end: "none", code: "empty"},
		"no text":                {content: "\x00\x01\x02\x03", outcome: OutcomeRefused, end: "none", code: "unknown-format"},
		"gzip":                   {content: gzipped(jcamp), outcome: OutcomeRead, format: "jcamp-dx", end: "held"},
		"gzip of mzML":           {content: gzipped(mzML(1, minutes)), outcome: OutcomeRead, format: "mzml", end: "held"},
		"gzip, cut":              {content: gzipped(jcamp)[:200], outcome: OutcomeRefused, end: "failed", code: "compressed-cut"},
		"gzip of cut data":       {content: gzipped(strings.Replace(jcamp, "##END=\n", "", 1)), outcome: OutcomeRefused, format: "jcamp-dx", end: "failed", code: "incomplete"},
		"zip":                    {content: zipped(t, "a.dx", jcamp, "b.mzML", mzML(1, minutes)), outcome: OutcomeRead, format: "mzml", end: "held"},
		"zip, one member cut":    {content: zipped(t, "a.dx", jcamp, "b.mzML", mzML(1, minutes)[:900]), outcome: OutcomeRefused, format: "mzml", end: "failed", code: "incomplete"},
		"zip with another file":  {content: zipped(t, "a.dx", jcamp, "notes", "see the notebook"), outcome: OutcomeRefused, format: "jcamp-dx", end: "none", code: "no-profile"},
		"zip, cut":               {content: "PK\x03\x04\x00\x00", outcome: OutcomeRefused, end: "failed", code: "compressed-cut"},
		"jcamp-dx, block lost":   {content: jcamp + strings.Replace(jcamp, "400 500", "400 !", 1), outcome: OutcomeWarned, format: "jcamp-dx", end: "held", code: "jcampdx-ordinate"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r := inspected(t, write(t, "export", c.content), c.opt)
			if r.Outcome != c.outcome || r.Format != c.format || r.EndProof != c.end {
				t.Fatalf("%s, %q, end %s: %v", r.Outcome, r.Format, r.EndProof, r.Problems)
			}
			if c.code != "" && (len(r.Problems) != 1 || r.Problems[0].Code != c.code || !strings.Contains(r.Problems[0].Message, c.says)) {
				t.Errorf("problems %v", r.Problems)
			}
			if refused := c.outcome == OutcomeRefused; refused != (len(r.Acquisitions) == 0) || refused && r.Problems[len(r.Problems)-1].Grade != parsers.Refused {
				t.Errorf("%d acquisitions of a file that is %s", len(r.Acquisitions), r.Outcome)
			}
		})
	}
}

func gzipped(content string) string {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write([]byte(content)) // a buffer takes everything
	_ = z.Close()
	return b.String()
}

// zipped makes an archive of names and contents in turn.
func zipped(t *testing.T, members ...string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(members); i += 2 {
		w, err := z.Create(members[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(members[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestMembersOfAnArchiveAreNumberedOn(t *testing.T) {
	r := inspected(t, write(t, "a.zip", zipped(t, "one.dx", jcamp+jcamp, "two.dx", strings.Replace(jcamp, "400 500", "400 700", 1))), Options{})
	if len(r.Acquisitions) != 3 || r.Acquisitions[2].Record != 3 {
		t.Fatalf("acquisitions %+v", r.Acquisitions)
	}
	if len(r.Problems) != 1 || r.Problems[0].Where.Record != 3 || r.Problems[0].Where.Element != "two.dx!##FIRSTY" {
		t.Errorf("problems %+v", r.Problems)
	}
}

func renamed(p *delimited.Profile) *delimited.Profile { p.Name += "-2"; return p }

func TestSpectrumAsTable(t *testing.T) {
	r := inspected(t, write(t, "a.dx", jcamp), Options{Points: true})
	a := r.Acquisitions[0]
	if a.Title != "Colour of OC-001 (invented)" || a.StartedAt != nil || a.StartStatus != StartNoZone || r.FormatVersion != "5.01" {
		t.Errorf("acquisition %+v", a)
	}
	if len(a.Tables) != 1 {
		t.Fatalf("tables %+v", a.Tables)
	}
	got, err := json.Marshal(a.Tables[0])
	if err != nil {
		t.Fatal(err)
	}
	const want = `{"index":0,"id":null,"label":"XYDATA","form":"(X++(Y..Y))","data_type":"UV/VIS SPECTRUM","x_unit":"nm","x_unit_text":"NANOMETERS","y_unit":"1","y_unit_text":"ABSORBANCE",` +
		`"points":4,"first":[400,0.5],"last":[430,0.25],"sum_y":1.15,"min_y":0.25,"max_y":0.5,"rows":null,"columns":[],"metadata":[],"lost":false,"xy":[[400,0.5],[410,0.4],[420,null],[430,0.25]]}`
	if string(got) != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestRun(t *testing.T) {
	for name, c := range map[string]struct {
		n    int
		opt  Options
		want []int
	}{
		"none":             {n: 0, want: []int{}},
		"one":              {n: 1, want: []int{0}},
		"two":              {n: 2, want: []int{0, 1}},
		"three":            {n: 3, want: []int{0, 1, 2}},
		"four":             {n: 4, want: []int{0, 2, 3}},
		"many":             {n: 9, want: []int{0, 4, 8}},
		"many, all":        {n: 5, opt: Options{All: true}, want: []int{0, 1, 2, 3, 4}},
		"many, points":     {n: 9, opt: Options{Points: true}, want: []int{0, 4, 8}},
		"many, all points": {n: 5, opt: Options{All: true, Points: true}, want: []int{0, 1, 2, 3, 4}},
	} {
		t.Run(name, func(t *testing.T) {
			a := inspected(t, write(t, "a.mzML", mzML(c.n, minutes)), c.opt).Acquisitions[0]
			if a.SpectrumN != c.n || len(a.Spectra) != len(c.want) {
				t.Fatalf("%d spectra, %d shown", a.SpectrumN, len(a.Spectra))
			}
			for i, want := range c.want {
				s := a.Spectra[i]
				if s.Index != want || s.BaseIntensity != Value(100+want) || s.BaseAt != Value(50+want) || s.Sum != Value(103+want) || s.First != 40 || s.Last != 900 ||
					s.ScanTime != Value(60*want) || s.MSLevel != 1 || s.Polarity != "positive" || s.Mode != "centroid" {
					t.Errorf("spectrum %d: %+v", want, s)
				}
				if c.opt.Points != (s.XY != nil) || s.XY != nil && !slices.Equal(s.XY.X, []float64{40, float64(50 + want), 900}) {
					t.Errorf("points of spectrum %d: %v", want, s.XY)
				}
			}
			g := a.Chromatogram[0]
			if a.ChromatoN != 1 || g.ID != "TIC" || g.First != 0 || g.Last != 60 || g.Sum != 9 || g.Max != 8 || g.MaxAt != 30 || g.Wavelength.Known() {
				t.Errorf("chromatogram %+v", g)
			}
			if a.StartedAt == nil || !a.StartedAt.Equal(time.Date(2026, 3, 9, 7, 10, 0, 0, time.UTC)) {
				t.Errorf("started %v", a.StartedAt)
			}
		})
	}
}

func TestTimeWithoutUnitIsMissing(t *testing.T) {
	g := inspected(t, write(t, "a.mzML", mzML(1, "")), Options{Points: true}).Acquisitions[0].Chromatogram[0]
	if g.First.Known() || g.Last.Known() || g.MaxAt.Known() || g.Max != 8 || g.XUnit != "" || len(g.XY.X) != 3 {
		t.Errorf("%+v", g)
	}
}

func TestTableOfRows(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	r := inspected(t, write(t, "a.csv", readings), Options{Profiles: []*delimited.Profile{readingsProfile(t)}, Zone: berlin, Points: true})
	if r.Profile != "readings" || len(r.Acquisitions) != 3 {
		t.Fatalf("profile %q, %d acquisitions", r.Profile, len(r.Acquisitions))
	}
	cells := map[int]string{0: `[["1","2026-03-02 08:30:00",0.94852]]`, 1: `[["2",null,"\u003c 0,7"]]`, 2: `[["3","2026-03-29 02:30:00",null]]`}
	status := []parsers.StartStatus{parsers.StartZoned, parsers.StartAbsent, parsers.StartImpossible}
	for i, a := range r.Acquisitions {
		table := a.Tables[0]
		got, err := json.Marshal(table.Cells)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != cells[i] || table.Label != "readings" || table.Form != "table" || *table.Rows != 1 || table.Points != nil || len(table.Columns) != 3 {
			t.Errorf("acquisition %d: %s, %+v", i+1, got, table)
		}
		if a.StartStatus != status[i] || (a.StartedAt != nil) != (i == 0) {
			t.Errorf("acquisition %d: %s, started %v", i+1, a.StartStatus, a.StartedAt)
		}
	}
}

func TestLinkIsFollowed(t *testing.T) {
	path := write(t, "a.dx", jcamp)
	link := filepath.Join(t.TempDir(), "link.dx")
	if err := os.Symlink(path, link); err != nil {
		t.Skipf("no links here: %v", err)
	}
	if r := inspected(t, link, Options{}); r.Outcome != OutcomeRead || r.File != link {
		t.Errorf("%s: %s", r.File, r.Outcome)
	}
}

func TestUnreadableFilesAreErrors(t *testing.T) {
	for name, path := range map[string]string{"absent": filepath.Join(t.TempDir(), "a"), "a folder": t.TempDir()} {
		t.Run(name, func(t *testing.T) {
			if r, err := File(context.Background(), path, Options{}); err == nil {
				t.Errorf("no error: %+v", r)
			}
		})
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := File(ctx, write(t, "a.dx", jcamp), Options{}); err == nil {
		t.Error("a cancelled call has no error")
	}
}

// TestSummariesKeepNoPoints reads a run of which the points alone would be far larger
// than what may stay in memory.
func TestSummariesKeepNoPoints(t *testing.T) {
	const n, points = 400, 5000
	c := &collector{}
	if err := c.Begin(parsers.Header{Record: 1}); err != nil {
		t.Fatal(err)
	}
	x, y := make([]float64, points), make([]float64, points)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for i := range n {
		if err := c.Signal(&parsers.Spectrum{Index: i, ID: "scan", X: x, Y: y}); err != nil {
			t.Fatal(err)
		}
	}
	runtime.ReadMemStats(&after)
	if grown := after.TotalAlloc - before.TotalAlloc; grown > n*points {
		t.Errorf("%d bytes for %d spectra whose points take %d", grown, n, 16*n*points)
	}
}

func TestExtent(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, c := range map[string]struct {
		y              []float64
		sum, low, high string
		at             int
	}{
		"none":          {nil, "0", "null", "null", -1},
		"one":           {[]float64{-2}, "-2", "-2", "-2", 0},
		"first of ties": {[]float64{1, 3, 3}, "7", "1", "3", 1},
		"missing":       {[]float64{nan, 4, nan}, "4", "4", "4", 1},
		"all missing":   {[]float64{nan, nan}, "null", "null", "null", -1},
		"infinite":      {[]float64{1, inf}, "null", "1", "null", 1},
	} {
		t.Run(name, func(t *testing.T) {
			e := extentOf(c.y)
			for _, v := range []struct {
				got  Value
				want string
			}{{e.sum, c.sum}, {e.low, c.low}, {e.high, c.high}} {
				if text, _ := v.got.MarshalJSON(); string(text) != v.want {
					t.Errorf("got %s, want %s", text, v.want)
				}
			}
			if e.highAt != c.at {
				t.Errorf("greatest at %d", e.highAt)
			}
		})
	}
}
