package mzml

import (
	"bytes"
	"compress/gzip"
	"encoding/base64"
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"

	"underbond/parsers"
)

func same(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) })
}

// Forms of a document that say the same.
func TestForms(t *testing.T) {
	good := oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6))
	payload := base64.StdEncoding.EncodeToString(packF64(1, 2, 3))
	declared := func(encoding string) string { return strings.Replace(good, "UTF-8", encoding, 1) }
	var members bytes.Buffer
	for _, part := range []string{good[:250], good[250:]} {
		z := gzip.NewWriter(&members)
		z.Write([]byte(part))
		z.Close()
	}
	big := wide("\ufeff" + declared("UTF-16"))
	swapped := []byte(big)
	for i := 0; i+1 < len(swapped); i += 2 {
		swapped[i], swapped[i+1] = swapped[i+1], swapped[i]
	}
	prefixed := strings.NewReplacer("</", "</m:", "<?", "<?", "<", "<m:").Replace(good)
	prefixed = strings.Replace(strings.Replace(prefixed, "<m:?", "<?", 1), "xmlns=", "xmlns:m=", 1)
	for name, content := range map[string]string{
		"plain":               good,
		"wrapped":             "<indexedmzML" + xmlns + ">" + good[strings.Index(good, "<mzML"):] + "<indexList/></indexedmzML>",
		"no declaration":      good[strings.Index(good, "<mzML"):],
		"byte mark and CRLF":  "\xef\xbb\xbf" + strings.ReplaceAll(good, "\n", "\r\n"),
		"prefixes":            prefixed,
		"single quotes":       strings.ReplaceAll(good, `"`, `'`),
		"space in tags":       strings.ReplaceAll(strings.ReplaceAll(good, `="`, "\n = \t\""), "/>", "  />"),
		"comments":            strings.ReplaceAll(good, "><", "><!-- <spectrum> --><"),
		"base64 in pieces":    strings.Replace(good, payload, payload[:5]+"<!-- x -->"+payload[5:7]+"<![CDATA["+payload[7:]+"]]>", 1),
		"base64 with spaces":  strings.Replace(good, payload, "\n\t "+payload[:5]+" \r\n"+payload[5:]+" ", 1),
		"base64 by reference": strings.Replace(good, payload, "&#"+"65;"+payload[1:], 1),
		"foreign elements":    strings.Replace(good, "<binaryDataArrayList", `<x:e xmlns:x="u"><cvParam accession="MS:1000129"/>text</x:e><binaryDataArrayList`, 1),
		"latin-1":             strings.Replace(declared("ISO-8859-1"), `id="scan`, "spotID=\"\xe9\" id=\"scan", 1),
		"windows-1252":        strings.Replace(declared("windows-1252"), `id="scan`, "spotID=\"\x80\" id=\"scan", 1),
		"UTF-16 LE":           big,
		"UTF-16 BE":           string(swapped),
		"UTF-16 unmarked":     big[2:],
		"gzip members":        members.String(),
		"terms in a group": strings.Replace(strings.Replace(good, cv(f64, "")+cv(plain, ""), `<referenceableParamGroupRef ref="g"/>`, 1),
			"<run", `<referenceableParamGroupList count="1"><referenceableParamGroup id="g">`+cv(f64, "")+cv(plain, "")+`</referenceableParamGroup></referenceableParamGroupList><run`, 1),
	} {
		t.Run(name, func(t *testing.T) {
			if name != "plain" && content == good {
				t.Fatal("the form is the plain one")
			}
			got, problems := mustRead(t, content)
			if name == "wrapped" {
				wantCodes(t, problems, CodeChecksum)
			} else {
				wantCodes(t, problems)
			}
			if len(got.spectra) != 1 || !same(got.spectra[0].X, []float64{1, 2, 3}) || !same(got.spectra[0].Y, []float64{4, 5, 6}) {
				t.Fatalf("%+v", got.spectra)
			}
			if got.spectra[0].ID != "scan=1" || got.spectra[0].Polarity != "" || got.header.Title != "run 1" {
				t.Errorf("spectrum %+v, header %+v", got.spectra[0], got.header)
			}
			want := map[string]string{"latin-1": "é", "windows-1252": "€"}[name]
			if i := slices.IndexFunc(got.spectra[0].Fields, func(f parsers.Field) bool { return f.Name == "spotID" }); want != "" && (i < 0 || got.spectra[0].Fields[i].Text != want) {
				t.Errorf("fields %+v, want %s", got.spectra[0].Fields, want)
			}
		})
	}
}

// What becomes of one spectrum with three declared points and the arrays given.
func TestArrays(t *testing.T) {
	missing := []float64{math.NaN(), math.NaN(), math.NaN()}
	x := []float64{1, 2, 3}
	good := intensityArray(4, 5, 6)
	pressed := binary.BigEndian.AppendUint64(nil, math.Float64bits(1000))
	for _, v := range []uint32{1000, 2000} {
		pressed = binary.LittleEndian.AppendUint32(pressed, v)
	}
	pressed = append(pressed, 0x80)
	zw, _ := zstd.NewWriter(nil)
	standard := zw.EncodeAll(packF64(1, 2, 3), nil)
	standardPressed := zw.EncodeAll(pressed, nil)
	ints := func(v ...int64) (b []byte) {
		for _, i := range v {
			b = binary.LittleEndian.AppendUint64(b, uint64(i))
		}
		return b
	}
	squeezed := squeeze(packF64(1, 2, 3))
	tests := map[string]struct {
		arrays []string
		x, y   []float64
		codes  []string
	}{
		"zlib":                     {[]string{arrayElement(squeezed, f64, deflate, "MS:1000514"), good}, x, []float64{4, 5, 6}, nil},
		"the other order":          {[]string{good, mzArray(1, 2, 3)}, x, []float64{4, 5, 6}, nil},
		"numpress":                 {[]string{arrayElement(pressed, f32, "MS:1002312", "MS:1000514"), good}, x, []float64{4, 5, 6}, nil},
		"numpress zlib":            {[]string{arrayElement(squeeze(pressed), "MS:1002746", "MS:1000514"), good}, x, []float64{4, 5, 6}, nil},
		"numpress, zlib apart":     {[]string{arrayElement(squeeze(pressed), f64, deflate, "MS:1002312", "MS:1000514"), good}, x, []float64{4, 5, 6}, nil},
		"zstd":                     {[]string{arrayElement(standard, f64, "MS:1003780", "MS:1000514"), good}, x, []float64{4, 5, 6}, nil},
		"numpress zstd":            {[]string{arrayElement(standardPressed, "MS:1003783", "MS:1000514"), good}, x, []float64{4, 5, 6}, nil},
		"integers":                 {[]string{arrayElement(ints(1, 2, 3), i64, plain, "MS:1000514"), arrayElement([]byte{4, 0, 0, 0, 5, 0, 0, 0, 255, 255, 255, 255}, i32, plain, "MS:1000515")}, x, []float64{4, 5, -1}, nil},
		"large integers":           {[]string{mzArray(1, 2, 3), arrayElement(ints(1, 2, 1<<53+1), i64, plain, "MS:1000515")}, x, []float64{1, 2, 1 << 53}, []string{CodePrecision}},
		"wavelength":               {[]string{arrayElement(packF64(1, 2, 3), f64, plain, "MS:1000617"), good}, x, []float64{4, 5, 6}, nil},
		"further array":            {[]string{mzArray(1, 2, 3), good, arrayElement(packF64(7, 8, 9), f64, plain, "MS:1000517")}, x, []float64{4, 5, 6}, nil},
		"further, shorter":         {[]string{mzArray(1, 2, 3), good, arrayElement(packF64(7), f64, plain, "MS:1000517")}, x, []float64{4, 5, 6}, []string{CodeArrayLength}},
		"further, damaged":         {[]string{mzArray(1, 2, 3), good, arrayElement([]byte{1, 2, 3}, f64, plain, "MS:1000517")}, x, []float64{4, 5, 6}, []string{CodeArrayDamaged}},
		"further, not supported":   {[]string{mzArray(1, 2, 3), good, arrayElement([]byte{1, 2, 3}, f64, "MS:1003826", "MS:1000517")}, x, []float64{4, 5, 6}, []string{CodeArrayCoding}},
		"m/z beside wavelength":    {[]string{arrayElement(packF64(9, 9, 9), f64, plain, "MS:1000617"), mzArray(1, 2, 3), good}, x, []float64{4, 5, 6}, nil},
		"non-standard ordinate":    {[]string{mzArray(1, 2, 3), arrayElement(packF64(4, 5, 6), f64, plain, cv("MS:1000786", "absorbance"))}, x, []float64{4, 5, 6}, nil},
		"not finite":               {[]string{mzArray(1, 2, 3), intensityArray(4, math.Inf(1), math.NaN())}, x, []float64{4, math.Inf(1), math.NaN()}, []string{CodeNotFinite}},
		"falling axis":             {[]string{mzArray(2, 1, 3), good}, []float64{2, 1, 3}, []float64{4, 5, 6}, []string{CodeAxisOrder}},
		"all shorter":              {[]string{mzArray(1, 2), intensityArray(4, 5)}, []float64{1, 2}, []float64{4, 5}, []string{CodeArrayLength}},
		"ordinates shorter":        {[]string{mzArray(1, 2, 3), intensityArray(4, 5)}, nil, nil, []string{CodeArrayLength}},
		"ordinates longer":         {[]string{mzArray(1, 2, 3), intensityArray(4, 5, 6, 7)}, x, missing, []string{CodeArrayLength}},
		"inflates to more":         {[]string{mzArray(1, 2, 3), arrayElement(squeeze(make([]byte, 1<<20)), f32, deflate, "MS:1000515")}, x, missing, []string{CodeArrayLength}},
		"its own length":           {[]string{mzArray(1, 2, 3), rawArray(` arrayLength="2"`, "<binary>AAAAAAAAAAA=</binary>", f32, plain, "MS:1000515")}, nil, nil, []string{CodeArrayLength}},
		"damaged base64":           {[]string{mzArray(1, 2, 3), rawArray("", "<binary>AAAA*AAA</binary>", f32, plain, "MS:1000515")}, x, missing, []string{CodeArrayDamaged}},
		"cut base64":               {[]string{mzArray(1, 2, 3), rawArray("", "<binary>AAAAA</binary>", f32, plain, "MS:1000515")}, x, missing, []string{CodeArrayDamaged}},
		"damaged axis":             {[]string{rawArray("", "<binary>AAAA*AAA</binary>", f32, plain, "MS:1000514"), good}, nil, nil, []string{CodeArrayDamaged}},
		"cut zlib":                 {[]string{arrayElement(squeezed[:len(squeezed)-5], f64, deflate, "MS:1000514"), good}, nil, nil, []string{CodeArrayDamaged}},
		"zlib checksum":            {[]string{arrayElement(append(squeezed[:len(squeezed)-1:len(squeezed)-1], 0x77), f64, deflate, "MS:1000514"), good}, nil, nil, []string{CodeArrayDamaged}},
		"not zlib":                 {[]string{arrayElement(packF64(1, 2, 3), f64, deflate, "MS:1000514"), good}, nil, nil, []string{CodeArrayDamaged}},
		"zlib and more":            {[]string{arrayElement(append(bytes.Clone(squeezed), 1), f64, deflate, "MS:1000514"), good}, x, []float64{4, 5, 6}, []string{CodeArrayLength}},
		"half a value":             {[]string{mzArray(1, 2, 3), arrayElement([]byte{1, 2, 3}, f32, plain, "MS:1000515")}, x, missing, []string{CodeArrayDamaged}},
		"unknown compression":      {[]string{mzArray(1, 2, 3), arrayElement(packF32(4, 5, 6), f32, "MS:1009999", "MS:1000515")}, x, missing, []string{CodeArrayCoding}},
		"unsupported compression":  {[]string{mzArray(1, 2, 3), arrayElement(packF32(4, 5, 6), f32, "MS:1003826", "MS:1000515")}, x, missing, []string{CodeArrayCoding}},
		"contradictory":            {[]string{mzArray(1, 2, 3), arrayElement(packF32(4, 5, 6), f32, plain, deflate, "MS:1000515")}, x, missing, []string{CodeArrayCoding}},
		"two types":                {[]string{mzArray(1, 2, 3), arrayElement(packF32(4, 5, 6), f32, f64, plain, "MS:1000515")}, x, missing, []string{CodeArrayCoding}},
		"no type":                  {[]string{mzArray(1, 2, 3), arrayElement(packF32(4, 5, 6), plain, "MS:1000515")}, x, missing, []string{CodeArrayCoding}},
		"half floats":              {[]string{mzArray(1, 2, 3), arrayElement([]byte{0, 0x44, 0, 0x45, 0, 0xC6}, "MS:1000520", plain, "MS:1000515")}, x, []float64{4, 5, -6}, nil},
		"terms of a user":          {[]string{mzArray(1, 2, 3), arrayElement(packF32(4, 5, 6), f32, `<userParam accession="MS:1000576" name="no compression"/>`, "MS:1000515")}, x, missing, []string{CodeArrayCoding}},
		"no kind":                  {[]string{mzArray(1, 2, 3), arrayElement(packF32(4, 5, 6), f32, plain)}, x, missing, []string{CodeArrayMissing}},
		"no axis":                  {[]string{good}, nil, nil, []string{CodeArrayMissing}},
		"time is no spectrum axis": {[]string{timeArray("UO:0000010", 1, 2, 3), good}, nil, nil, []string{CodeArrayMissing}},
		"two axes":                 {[]string{mzArray(1, 2, 3), mzArray(1, 2, 3), good}, nil, nil, []string{CodeArrayMissing}},
		"two ordinates":            {[]string{mzArray(1, 2, 3), good, good}, x, missing, []string{CodeArrayMissing}},
		"two binaries":             {[]string{mzArray(1, 2, 3), rawArray("", "<binary>AAAA</binary><binary>AAAA</binary>", f32, plain, "MS:1000515")}, x, missing, []string{CodeArrayDamaged}},
		"no binary":                {[]string{mzArray(1, 2, 3), rawArray("", "", f32, plain, "MS:1000515")}, x, missing, []string{CodeArrayDamaged}},
		"no arrays":                {nil, nil, nil, []string{CodeArrayMissing}},
		"empty under zlib":         {[]string{rawArray("", "<binary/>", f64, deflate, "MS:1000514"), rawArray("", "<binary> </binary>", f32, deflate, "MS:1000515")}, nil, nil, []string{CodeArrayLength}},
		"another encoded length":   {[]string{mzArray(1, 2, 3), strings.Replace(good, `encodedLength="16"`, `encodedLength="17"`, 1)}, x, []float64{4, 5, 6}, []string{CodeEncodedLength}},
		"length with line breaks":  {[]string{mzArray(1, 2, 3), strings.Replace(strings.Replace(good, `encodedLength="16"`, `encodedLength="19"`, 1), "<binary>", "<binary>\r\n \r\n", 1)}, x, []float64{4, 5, 6}, nil},
		"text among elements":      {[]string{mzArray(1, 2, 3), "AAAA", good}, x, []float64{4, 5, 6}, []string{CodeElement}},
		"an unknown element":       {[]string{mzArray(1, 2, 3), good, "<binaryDataArrai/>"}, x, []float64{4, 5, 6}, []string{CodeElement}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, problems := mustRead(t, oneSpectrum(tt.arrays...))
			wantCodes(t, problems, tt.codes...)
			if len(got.spectra) != 1 || !same(got.spectra[0].X, tt.x) || !same(got.spectra[0].Y, tt.y) {
				t.Errorf("%v %v, want %v %v", got.spectra[0].X, got.spectra[0].Y, tt.x, tt.y)
			}
			incomplete := len(got.spectra[0].X) == 0 || math.IsNaN(got.spectra[0].Y[0]) || strings.HasPrefix(name, "further, ") && name != "further, shorter"
			if said := slices.ContainsFunc(problems, func(p parsers.Problem) bool { return p.Grade == parsers.Lost }); said != incomplete || got.spectra[0].Lost != incomplete {
				t.Errorf("lost is %v, problems of that grade: %v, want %v", got.spectra[0].Lost, said, incomplete)
			}
			for _, p := range problems {
				if p.Code != CodeElement && p.Where.Element != `spectrum 0 "scan=1"` {
					t.Errorf("%v does not name the spectrum", p)
				}
			}
		})
	}
}

func TestSpectrumTerms(t *testing.T) {
	scan := func(terms ...string) string {
		return `<scanList count="1">` + "<scan>" + strings.Join(terms, "") + "</scan></scanList>"
	}
	at := func(value, unit string) string { return cvUnit("MS:1000016", value, unit) }
	nan := math.NaN()
	tests := map[string]struct {
		inner    string
		level    int
		polarity string
		mode     string
		kind     string
		time     float64
		codes    []string
	}{
		"nothing":        {"", 0, "", "", "", nan, nil},
		"mass":           {cv("MS:1000294", "") + cv("MS:1000580", "") + cv("MS:1000511", "2") + cv("MS:1000129", "") + cv("MS:1000128", "") + scan(at("2", "UO:0000010")), 2, "negative", "profile", "MSn spectrum", 2, nil},
		"ultraviolet":    {cv("MS:1000806", "") + cv("MS:1000804", "") + scan(at("1.5", "UO:0000031")), 0, "", "", "absorption spectrum", 90, nil},
		"milliseconds":   {scan(at("1500", "UO:0000028")), 0, "", "", "", 1.5, nil},
		"hours":          {scan(at("0.5", "UO:0000032")), 0, "", "", "", 1800, nil},
		"old minutes":    {scan(at("2", "MS:1000038")), 0, "", "", "", 120, nil},
		"no unit":        {scan(cv("MS:1000016", "2")), 0, "", "", "", nan, []string{CodeTimeUnit}},
		"another unit":   {scan(at("2", "UO:0000018")), 0, "", "", "", nan, []string{CodeTimeUnit}},
		"no number":      {scan(at("two", "UO:0000010")), 0, "", "", "", nan, []string{CodeValue}},
		"infinite":       {scan(at("INF", "UO:0000010")), 0, "", "", "", nan, []string{CodeValue}},
		"two scans":      {`<scanList count="2"><scan>` + at("1", "UO:0000010") + "</scan><scan>" + at("9", "UO:0000010") + "</scan></scanList>", 0, "", "", "", 1, nil},
		"scan polarity":  {scan(cv("MS:1000130", "")), 0, "positive", "", "", nan, nil},
		"both polarites": {cv("MS:1000130", "") + scan(cv("MS:1000129", "")), 0, "", "", "", nan, []string{CodeValue}},
		"both modes":     {cv("MS:1000127", "") + cv("MS:1000128", ""), 0, "", "", "", nan, []string{CodeValue}},
		"level 0":        {cv("MS:1000511", "0"), 0, "", "", "", nan, []string{CodeValue}},
		"unknown group":  {`<referenceableParamGroupRef ref="g"/>`, 0, "", "", "", nan, []string{CodeReference}},
		"precursor time": {"<precursorList><precursor><cvParam accession=\"MS:1000016\" value=\"3\" unitAccession=\"UO:0000010\"/></precursor></precursorList>", 0, "", "", "", nan, nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, problems := mustRead(t, document(spectrumList(spectrumElement(0, 0, tt.inner))))
			wantCodes(t, problems, tt.codes...)
			s := got.spectra[0]
			if s.MSLevel != tt.level || s.Polarity != tt.polarity || s.Representation != tt.mode || s.Kind != tt.kind || !same([]float64{s.ScanTime}, []float64{tt.time}) {
				t.Errorf("%+v, want %+v", s, tt)
			}
		})
	}
}

func TestChromatograms(t *testing.T) {
	window := func(mz string) string { return "<isolationWindow>" + cv("MS:1000827", mz) + "</isolationWindow>" }
	nan := math.NaN()
	tests := map[string]struct {
		element                        string
		kind                           string
		time                           []float64
		timeUnit, valueName, valueUnit string
		precursor, product, wavelength float64
		codes                          []string
	}{
		"reaction": {chromatogramElement(0, 2, cv("MS:1001473", "")+"<precursor>"+window("169.01")+"</precursor><product>"+window("125.02")+"</product>", timeArray("UO:0000031", 1, 2), intensityArray(3, 4)),
			"selected reaction monitoring", []float64{60, 120}, "s", "intensity", "1", 169.01, 125.02, nan, nil},
		"selected ion": {chromatogramElement(0, 2, cv("MS:1000810", "")+cv("MS:1001472", "")+"<precursor><selectedIonList><selectedIon>"+cv("MS:1000744", "169")+"</selectedIon></selectedIonList></precursor>", timeArray("UO:0000010", 1, 2), intensityArray(3, 4)),
			"selected ion monitoring", []float64{1, 2}, "s", "intensity", "1", 169, nan, nan, nil},
		"absorption": {chromatogramElement(0, 2, cv("MS:1000812", "")+cvUnit("MS:1000618", "280", "UO:0000018")+cvUnit("MS:1000619", "280.0", "UO:0000018"),
			timeArray("UO:0000028", 500, 1000), arrayElement(packF32(3, 4), f32, plain, cvUnit("MS:1000515", "", "UO:0000269"))),
			"absorption", []float64{0.5, 1}, "s", "absorbance", "1", nan, nan, 280, nil},
		"a range of wavelengths": {chromatogramElement(0, 2, cv("MS:1000812", "")+cvUnit("MS:1000619", "200", "UO:0000018")+cvUnit("MS:1000618", "400", "UO:0000018"),
			timeArray("UO:0000010", 1, 2), intensityArray(3, 4)), "absorption", []float64{1, 2}, "s", "intensity", "1", nan, nan, nan, nil},
		"pressure": {chromatogramElement(0, 2, cv("MS:1003019", ""), timeArray("UO:0000032", 1, 2), arrayElement(packF32(3, 4), f32, plain, cvUnit("MS:1000821", "", "UO:0000110"))),
			"pressure", []float64{3600, 7200}, "s", "pressure", "Pa", nan, nan, nan, nil},
		"no unit": {chromatogramElement(0, 2, cv("MS:1000235", ""), arrayElement(packF64(1, 2), f64, plain, "MS:1000595"), intensityArray(3, 4)),
			"total ion current", []float64{1, 2}, "", "intensity", "1", nan, nan, nan, []string{CodeTimeUnit}},
		"m/z is no axis": {chromatogramElement(0, 2, "", mzArray(1, 2), intensityArray(3, 4)), "", nil, "", "intensity", "1", nan, nan, nan, []string{CodeArrayMissing}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, problems := mustRead(t, document(chromatogramList(tt.element)))
			wantCodes(t, problems, tt.codes...)
			c := got.traces[0]
			if c.Kind != tt.kind || !same(c.Time, tt.time) || c.TimeAxis.Unit != tt.timeUnit || c.ValueAxis.Name != tt.valueName || c.ValueAxis.Unit != tt.valueUnit {
				t.Errorf("%+v", c)
			}
			if !same([]float64{c.Precursor, c.Product, c.Wavelength}, []float64{tt.precursor, tt.product, tt.wavelength}) {
				t.Errorf("precursor %v, product %v, wavelength %v", c.Precursor, c.Product, c.Wavelength)
			}
		})
	}
}

func TestDeclaredCounts(t *testing.T) {
	spectra := spectrumElement(0, 0, "") + spectrumElement(7, 0, "")
	got, problems := mustRead(t, document(`<spectrumList count="9">`+spectra+`</spectrumList><chromatogramList/>`))
	wantCodes(t, problems, CodeIndexAttribute, CodeCount)
	if len(got.spectra) != 2 || got.spectra[1].Index != 1 {
		t.Errorf("%+v", got.spectra)
	}
}

func TestRemarksAreBounded(t *testing.T) {
	var spectra []string
	for range 50 {
		spectra = append(spectra, spectrumElement(9999, 0, ""))
	}
	_, problems := mustRead(t, document(spectrumList(spectra...)))
	last := problems[len(problems)-1]
	if len(problems) != remarksOfAKind+1 || !strings.HasPrefix(last.Message, "30 more") {
		t.Errorf("%d problems, the last %v", len(problems), last)
	}
}

// Whatever is written is read back, in every coding without loss.
func TestEncodeDecode(t *testing.T) {
	zw, _ := zstd.NewWriter(nil)
	codings := map[string]func([]byte) []byte{
		plain: func(b []byte) []byte { return b }, deflate: squeeze,
		"MS:1003780": func(b []byte) []byte { return zw.EncodeAll(b, nil) },
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 200).Draw(t, "points")
		x := rapid.SliceOfN(rapid.Float64(), n, n).Draw(t, "x")
		y := rapid.SliceOfN(rapid.Float32(), n, n).Draw(t, "y")
		wide := make([]float64, n)
		for i, v := range y {
			wide[i] = float64(v)
		}
		cx := rapid.SampledFrom([]string{plain, deflate, "MS:1003780"}).Draw(t, "x coding")
		cy := rapid.SampledFrom([]string{plain, deflate, "MS:1003780"}).Draw(t, "y coding")
		got, _, err := read([]byte(document(spectrumList(spectrumElement(0, n, "",
			arrayElement(codings[cx](packF64(x...)), f64, cx, "MS:1000514"),
			arrayElement(codings[cy](packF32(wide...)), f32, cy, "MS:1000515"))))), parsers.Limits{})
		if err != nil || !same(got.spectra[0].X, x) || !same(got.spectra[0].Y, wide) {
			t.Fatalf("%v: %+v, want %v %v", err, got.spectra, x, wide)
		}
	})
}

func TestChecksum(t *testing.T) {
	inner := oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6))
	wrapped := func(declaration, run string) string {
		body := declaration + "<indexedmzML" + xmlns + ">" + strings.Replace(inner[strings.Index(inner, "<mzML"):], "run 1", run, 1)
		return body + "<fileChecksum>"
	}
	forms := map[string]string{
		"UTF-8":        "\xef\xbb\xbf" + wrapped("", "é"),
		"ISO-8859-1":   wrapped(`<?xml version="1.0" encoding="ISO-8859-1"?>`, "\xe9"),
		"windows-1252": wrapped(`<?xml version="1.0" encoding="windows-1252"?>`, "\x80\xe9"),
	}
	for name, before := range forms {
		t.Run(name, func(t *testing.T) {
			sum := sha1Hex([]byte(before))
			_, problems := mustRead(t, before+strings.ToUpper(sum)+"</fileChecksum></indexedmzML>")
			wantCodes(t, problems)
			_, problems = mustRead(t, before+"0"+sum[1:]+"</fileChecksum></indexedmzML>")
			if sum[0] != '0' {
				wantCodes(t, problems, CodeChecksum)
			}
		})
	}
	t.Run("UTF-16", func(t *testing.T) {
		before := wide("\ufeff" + wrapped("", "é"))
		_, problems := mustRead(t, before+wide(sha1Hex([]byte(before))+"</fileChecksum></indexedmzML>"))
		wantCodes(t, problems)
	})
}
