package mzml

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"underbond/parsers"
)

// mustRead reads a document that is not refused.
func mustRead(t *testing.T, content string) (*collected, []parsers.Problem) {
	t.Helper()
	got, problems, err := read([]byte(content), parsers.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return got, problems
}

func wantCodes(t *testing.T, problems []parsers.Problem, want ...string) {
	t.Helper()
	if got := codesOf(problems); !slices.Equal(got, want) {
		t.Errorf("warnings %v, want the codes %v", problems, want)
	}
	for _, p := range problems {
		if p.Grade == parsers.Refused || p.Grade == "" || p.Where.Line == 0 {
			t.Errorf("%v has the grade %q and the line %d", p, p.Grade, p.Where.Line)
		}
	}
}

func TestHeader(t *testing.T) {
	got, problems := mustRead(t, `<mzML`+xmlns+` version="1.1.0" id="doc">
<fileDescription><fileContent><cvParam accession="MS:1000579" name="MS1 spectrum"/></fileContent>
<sourceFileList count="1"><sourceFile id="sf" name="a.raw" location="file://x"/></sourceFileList></fileDescription>
<referenceableParamGroupList count="1"><referenceableParamGroup id="g"><cvParam accession="MS:1000529" name="instrument serial number" value="7"/></referenceableParamGroup></referenceableParamGroupList>
<sampleList count="2"><sample id="s1" name="one"/><sample id="s2" name="perry &amp; pear"/></sampleList>
<instrumentConfigurationList count="1"><instrumentConfiguration id="ic"><referenceableParamGroupRef ref="g"/></instrumentConfiguration></instrumentConfigurationList>
<run id="run 9" sampleRef="s2" startTimeStamp="2031-01-31T23:59:59.25+01:00"><userParam name="operator" value="none"/></run></mzML>`)
	wantCodes(t, problems)
	h := got.header
	if h.Title != "run 9" || h.Version != "1.1.0" || h.Sample != "perry & pear" || h.Format != "mzml" || h.NativeKey != "" || h.Record != 1 {
		t.Errorf("header %+v", h)
	}
	if want := (parsers.Start{Text: "2031-01-31T23:59:59.25+01:00", Local: "2031-01-31T23:59:59.25", Offset: "+01:00"}); h.Start != want {
		t.Errorf("start %+v, want %+v", h.Start, want)
	}
	for _, f := range []parsers.Field{
		{Name: "mzML id", Text: "doc"},
		{Name: "fileDescription, fileContent: MS1 spectrum", Text: ""},
		{Name: "fileDescription, sourceFile sf: name", Text: "a.raw"},
		{Name: "instrumentConfiguration ic: instrument serial number", Text: "7"},
		{Name: "run: operator", Text: "none"},
	} {
		if !slices.Contains(h.Fields, f) {
			t.Errorf("no field %+v in %+v", f, h.Fields)
		}
	}
}

func TestStart(t *testing.T) {
	tests := map[string]struct {
		text, local, offset string
		ok                  bool
	}{
		"no offset":         {"2031-05-06T07:08:09", "2031-05-06T07:08:09", "", true},
		"UTC":               {"2031-05-06T07:08:09Z", "2031-05-06T07:08:09", "Z", true},
		"behind":            {"2031-05-06T07:08:09.5-03:30", "2031-05-06T07:08:09.5", "-03:30", true},
		"end of the day":    {"2031-12-31T24:00:00Z", "2032-01-01T00:00:00", "Z", true},
		"white space":       {" 2031-05-06T07:08:09 ", "2031-05-06T07:08:09", "", true},
		"twelve digits":     {"2031-05-06T07:08:09.123456789123", "2031-05-06T07:08:09.123456789", "", true},
		"date only":         {"2031-05-06", "", "", false},
		"day first":         {"06.05.2031 07:08:09", "", "", false},
		"thirteenth month":  {"2031-13-06T07:08:09", "", "", false},
		"offset of a day":   {"2031-05-06T07:08:09+24:00", "", "", false},
		"offset unfinished": {"2031-05-06T07:08:09+01", "", "", false},
		"second 60":         {"2031-05-06T07:08:60", "", "", false},
		"letters after":     {"2031-05-06T07:08:09.12345678901x", "", "", false},
		"comma":             {"2031-05-06T07:08:09,5", "", "", false},
		"short hour":        {"2031-05-06T7:08:09.0", "", "", false},
		"after midnight":    {"2031-05-06T24:00:01", "", "", false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, ok := startOf([]byte(tt.text))
			if want := (parsers.Start{Text: tt.text, Local: tt.local, Offset: tt.offset}); ok != tt.ok || ok && got != want || got.Text != tt.text || !ok && got.Local != "" {
				t.Errorf("%+v %v, want %+v %v", got, ok, want, tt.ok)
			}
			if status := got.Resolve(time.UTC).Status; ok && tt.offset != "" && status != parsers.StartStated {
				t.Errorf("resolved as %q", status)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	good := oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6))
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	z.Write([]byte(good))
	z.Close()
	badSum := bytes.Clone(packed.Bytes())
	badSum[len(badSum)-6]++
	tests := map[string]struct {
		content string
		limits  parsers.Limits
		want    string
	}{
		"empty":                    {"", parsers.Limits{}, CodeEmpty},
		"white space":              {" \n", parsers.Limits{}, CodeTruncated},
		"another root":             {`<mzData version="1.05"/>`, parsers.Limits{}, CodeRoot},
		"another namespace":        {`<mzML xmlns="urn:x" version="1.1.0"><run id="r"/></mzML>`, parsers.Limits{}, CodeRoot},
		"draft":                    {`<mzML xmlns="http://psi.hupo.org/schema_revision/mzML_0.99.1" version="0.99.1"><run id="r"/></mzML>`, parsers.Limits{}, CodeVersion},
		"version 2":                {`<mzML` + xmlns + ` version="2.0"><run id="r"/></mzML>`, parsers.Limits{}, CodeVersion},
		"version 11":               {`<mzML` + xmlns + ` version="11.0"><run id="r"/></mzML>`, parsers.Limits{}, CodeVersion},
		"document type":            {"<!DOCTYPE mzML>" + good[strings.Index(good, "<mzML"):], parsers.Limits{}, CodeDoctype},
		"root does not close":      {strings.TrimSuffix(good, "</mzML>\n"), parsers.Limits{}, CodeTruncated},
		"wrapper does not close":   {"<indexedmzML" + xmlns + ">" + good[strings.Index(good, "<mzML"):], parsers.Limits{}, CodeTruncated},
		"junk after":               {good + "x", parsers.Limits{}, CodeSyntax},
		"element after":            {good + "<a/>", parsers.Limits{}, CodeSyntax},
		"zeros after":              {good + "\x00\x00", parsers.Limits{}, CodeSyntax},
		"no run":                   {`<mzML` + xmlns + ` version="1.1.0"/>`, parsers.Limits{}, CodeStructure},
		"two runs":                 {`<mzML` + xmlns + ` version="1.1.0"><run id="a"/><run id="b"/></mzML>`, parsers.Limits{}, CodeStructure},
		"empty wrapper":            {`<indexedmzML` + xmlns + `/>`, parsers.Limits{}, CodeStructure},
		"two lists":                {document(spectrumList() + spectrumList()), parsers.Limits{}, CodeStructure},
		"control in base64":        {strings.Replace(good, "<binary>A", "<binary>\x02", 1), parsers.Limits{}, CodeSyntax},
		"Latin byte in UTF-8":      {strings.Replace(good, "run 1", "run \xe9", 1), parsers.Limits{}, CodeEncoding},
		"byte mark contradicted":   {"\xef\xbb\xbf" + strings.Replace(good, "UTF-8", "ISO-8859-1", 1), parsers.Limits{}, CodeEncoding},
		"said to be UTF-16":        {strings.Replace(good, "UTF-8", "UTF-16", 1), parsers.Limits{}, CodeEncoding},
		"UTF-16 said to be UTF-8":  {wide("\ufeff" + good), parsers.Limits{}, CodeEncoding},
		"said to be ASCII":         {strings.Replace(strings.Replace(good, "UTF-8", "US-ASCII", 1), "run 1", "é", 1), parsers.Limits{}, CodeEncoding},
		"not in windows-1252":      {strings.Replace(strings.Replace(good, "UTF-8", "windows-1252", 1), "run 1", "\x81", 1), parsers.Limits{}, CodeEncoding},
		"unknown encoding":         {strings.Replace(good, "UTF-8", "EBCDIC-X", 1), parsers.Limits{}, CodeEncoding},
		"UTF-16 of odd length":     {wide("\ufeff"+strings.Replace(good, "UTF-8", "UTF-16", 1)) + "\n", parsers.Limits{}, CodeEncoding},
		"gzip checksum":            {string(badSum), parsers.Limits{}, CodeGzip},
		"gzip cut":                 {packed.String()[:packed.Len()-3], parsers.Limits{}, CodeGzip},
		"gzip and more":            {packed.String() + "more", parsers.Limits{}, CodeGzip},
		"too many bytes":           {good, parsers.Limits{TotalBytes: 500}, CodeLimitBytes},
		"too many bytes unpacked":  {packed.String(), parsers.Limits{TotalBytes: 500}, CodeLimitBytes},
		"too deep":                 {document(spectrumList(spectrumElement(0, 0, strings.Repeat("<scanList>", 70)+strings.Repeat("</scanList>", 70)))), parsers.Limits{}, CodeLimitDepth},
		"too many attributes":      {good, parsers.Limits{Attributes: 2}, CodeLimitCount},
		"too many signals":         {document(spectrumList(spectrumElement(0, 0, ""), spectrumElement(1, 0, ""))), parsers.Limits{Signals: 1}, CodeLimitCount},
		"too many points":          {good, parsers.Limits{Points: 2}, CodeLimitPoints},
		"too many in an array":     {oneSpectrum(rawArray(` arrayLength="99"`, "<binary/>", f64)), parsers.Limits{Points: 50}, CodeLimitPoints},
		"a long comment":           {"<!--" + strings.Repeat("x", 1<<20) + "-->" + good[strings.Index(good, "<mzML"):], parsers.Limits{TokenBytes: 1 << 10}, CodeLimitToken},
		"a long value":             {strings.Replace(good, "run 1", strings.Repeat("x", 1<<20), 1), parsers.Limits{TokenBytes: 1 << 10}, CodeLimitToken},
		"a payload out of measure": {oneSpectrum(rawArray("", "<binary>"+strings.Repeat("AAAA", 1<<18)+"</binary>", f64, plain, "MS:1000514")), parsers.Limits{TokenBytes: 1 << 10}, CodeLimitToken},
		"endless header":           {`<mzML` + xmlns + ` version="1.1.0"><sampleList>` + strings.Repeat(`<sample id="a" name="b"/>`, 1000) + `</sampleList><run id="r"/></mzML>`, parsers.Limits{TokenBytes: 1 << 10}, CodeLimitToken},
		"endless terms":            {document(spectrumList(spectrumElement(0, 0, strings.Repeat(cv("MS:1", "v"), 1000)))), parsers.Limits{TokenBytes: 1 << 10}, CodeLimitToken},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, _, err := read([]byte(tt.content), tt.limits)
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Code != tt.want || refusal.Grade != parsers.Refused {
				t.Fatalf("%v, want a refusal %s", err, tt.want)
			}
			if refusal.Where.Line == 0 && tt.content != "" && tt.want != CodeGzip && tt.want != CodeLimitBytes {
				t.Errorf("%v is not located", refusal)
			}
		})
	}
}

// Errors of the source, the sink and the context are no refusals.
func TestOtherErrors(t *testing.T) {
	good := oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6))
	broken := errors.New("broken")
	var refusal *parsers.Refusal
	for name, src := range map[string]string{"at once": "", "in the middle": good[:300], "gzip": "\x1f\x8b\x08\x00\x00"} {
		t.Run("source "+name, func(t *testing.T) {
			in := iotest.DataErrReader(&failing{r: strings.NewReader(src), err: broken})
			_, err := Reader{}.Read(context.Background(), in, parsers.Options{}, &collected{})
			if !errors.Is(err, broken) || errors.As(err, &refusal) {
				t.Errorf("%v, want the error of the source", err)
			}
		})
	}
	t.Run("sink", func(t *testing.T) {
		_, err := Reader{}.Read(context.Background(), strings.NewReader(good), parsers.Options{}, &collected{fail: broken})
		if !errors.Is(err, broken) || errors.As(err, &refusal) {
			t.Errorf("%v, want the error of the sink", err)
		}
	})
	t.Run("context", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		_, err := Reader{}.Read(ctx, strings.NewReader(good), parsers.Options{}, &collected{})
		if !errors.Is(err, context.Canceled) || errors.As(err, &refusal) {
			t.Errorf("%v, want cancellation", err)
		}
	})
}

type failing struct {
	r   *strings.Reader
	err error
}

func (f *failing) Read(p []byte) (int, error) {
	if f.r.Len() == 0 {
		return 0, f.err
	}
	return f.r.Read(p)
}

// However a document is cut, it is not read as whole and has no end proof.
func TestTruncation(t *testing.T) {
	inner := oneSpectrum(arrayElement(squeeze(packF64(1, 2, 3)), f64, deflate, "MS:1000514"), intensityArray(4, 5, 6))
	wrapped := "<indexedmzML" + xmlns + ">" + inner[strings.Index(inner, "<mzML"):] + "<fileChecksum>0</fileChecksum></indexedmzML>"
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	z.Write([]byte(inner))
	z.Close()
	for name, content := range map[string]string{
		"plain": strings.TrimSpace(inner), "wrapped": wrapped, "gzip": packed.String(),
		"UTF-16": wide("\ufeff" + strings.TrimSpace(strings.Replace(inner, "UTF-8", "UTF-16", 1))),
	} {
		t.Run(name, func(t *testing.T) {
			for n := range len(content) {
				cut := []byte(content[:n])
				var refusal *parsers.Refusal
				if _, _, err := read(cut, parsers.Limits{}); !errors.As(err, &refusal) {
					t.Fatalf("cut after %d bytes: %v, want a refusal", n, err)
				}
				if proof, why, err := (Reader{}).EndProof(bytes.NewReader(cut), int64(n)); err != nil || proof != parsers.EndProofFailed || why == "" {
					t.Fatalf("cut after %d bytes: end proof %s %q %v", n, proof, why, err)
				}
			}
			if _, _, err := read([]byte(content), parsers.Limits{}); err != nil {
				t.Error(err)
			}
			if proof, why, err := (Reader{}).EndProof(strings.NewReader(content), int64(len(content))); err != nil || proof != parsers.EndProofHeld {
				t.Errorf("end proof %s %q %v", proof, why, err)
			}
		})
	}
}

func TestEndProofAfterTheRoot(t *testing.T) {
	body := `<m:mzML xmlns:m="http://psi.hupo.org/ms/mzml" version="1.1.0"><m:run id="r"/>`
	tests := map[string]struct {
		content string
		want    parsers.EndProof
	}{
		"space in the tag":     {body + "</m:mzML \n>\n", parsers.EndProofHeld},
		"comments":             {body + "</m:mzML><!-- a --> \n<?b c?><!-- d -->", parsers.EndProofHeld},
		"a long comment":       {body + "</m:mzML><!--" + strings.Repeat("x", 3*tailLength) + "-->", parsers.EndProofHeld},
		"another prefix":       {body + "</mzML>", parsers.EndProofFailed},
		"text":                 {body + "</m:mzML>x", parsers.EndProofFailed},
		"only in a comment":    {body + "<!-- </m:mzML> -->", parsers.EndProofFailed},
		"inner document alone": {strings.Replace("<indexedmzML"+xmlns+">"+body+"</m:mzML>", "xmlns:m=\"\"", "", 1), parsers.EndProofFailed},
		"another root":         {"<a></a>", parsers.EndProofFailed},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got, why, err := (Reader{}).EndProof(strings.NewReader(tt.content), int64(len(tt.content))); got != tt.want || err != nil {
				t.Errorf("%s %q %v, want %s", got, why, err, tt.want)
			}
		})
	}
}

func TestSniff(t *testing.T) {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	io.Copy(z, newGenerated(200_000, 1000))
	z.Close()
	tests := map[string]struct {
		head   string
		lo, hi int
	}{
		"plain":          {document(""), 100, 100},
		"cut":            {document("")[:150], 100, 100},
		"gzip cut":       {packed.String()[:packed.Len()/2], 100, 100},
		"UTF-16":         {wide("\ufeff<mzML" + xmlns + ">"), 100, 100},
		"draft":          {`<mzML xmlns="urn:x" version="0.99.1">`, 50, 99},
		"another":        {`<a/>`, 0, 0},
		"text":           {"##TITLE=a", 0, 0},
		"named in text":  {"x,<mzML>\n", 0, 0},
		"empty":          {"", 0, 0},
		"root in pieces": {"<mzM", 0, 0},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			g := Reader{}.Sniff([]byte(tt.head))
			if g.Format != "mzml" || g.Confidence < tt.lo || g.Confidence > tt.hi || g.Reason == "" {
				t.Errorf("%+v, want a confidence from %d to %d", g, tt.lo, tt.hi)
			}
		})
	}
}

func TestSameCallsEachTime(t *testing.T) {
	content := document(spectrumList(spectrumElement(0, 3, "", mzArray(1, 2, 3), intensityArray(4, 5)),
		spectrumElement(1, 2, "", mzArray(1, 2), intensityArray(math.Inf(1), 2))))
	_, first, err := read([]byte(content), parsers.Limits{})
	_, second, err2 := read([]byte(content), parsers.Limits{})
	if err != nil || err2 != nil || !slices.Equal(first, second) || len(first) == 0 {
		t.Errorf("%v %v, then %v %v", first, err, second, err2)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6))))
	f.Add([]byte(oneSpectrum(arrayElement(squeeze(packF64(1, 2, 3)), f64, deflate, "MS:1000514"), arrayElement(packF64(1, 2, 3), "MS:1002312", "MS:1000515"))))
	f.Add([]byte(document(chromatogramList(chromatogramElement(0, 2, cv("MS:1000235", ""), timeArray("UO:0000031", 1, 2), intensityArray(3, 4))))))
	f.Add([]byte(wide("\ufeff" + document(""))))
	f.Add([]byte(oneSpectrum(arrayElement(pressZstd(shuffle(packF64(1, 2, 3), 8)), f64, "MS:1003781", "MS:1000514"), arrayElement(pressZstd(dictionaryOf(packF32(4, 5, 4), 4, 0, false)), f32, "MS:1003782", "MS:1000515"),
		arrayElement([]byte("a\x00b\x00"), "MS:1001479", plain, "MS:1000786"))))
	f.Add([]byte(indexed(oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6)), func(_ string, _ int, offset int) string { return strconv.Itoa(offset) })))
	for _, s := range scannerCases {
		f.Add([]byte(s))
	}
	lim := parsers.Limits{TotalBytes: 1 << 20, Points: 1 << 12, TokenBytes: 1 << 16}
	f.Fuzz(func(t *testing.T, content []byte) {
		all, problems, err := read(content, lim)
		proof, _, proofErr := Reader{}.EndProof(bytes.NewReader(content), int64(len(content)))
		if proofErr != nil {
			t.Fatalf("end proof: %v", proofErr)
		}
		Reader{}.Sniff(content)
		var refusal *parsers.Refusal
		if err != nil {
			if !errors.As(err, &refusal) || refusal.Code == "" || refusal.Message == "" {
				t.Fatalf("%v is no refusal", err)
			}
			return
		}
		if proof != parsers.EndProofHeld && !bytes.Contains(content, []byte("<?")) {
			t.Errorf("read without a proof of its end: %q", content)
		}
		for _, p := range problems {
			if p.Grade == parsers.Refused {
				t.Errorf("%v beside no error", p)
			}
		}
		x, err := OpenIndex(t.Context(), bytes.NewReader(content), int64(len(content)), parsers.Options{Limits: lim})
		switch {
		case errors.Is(err, ErrNoRandomAccess):
			return
		case err != nil:
			t.Fatalf("read from the start and not by index: %v", err)
		case len(x.Spectra()) != len(all.spectra) && x.Rebuilt() != "" || len(x.Chromatograms()) != len(all.traces) && x.Rebuilt() != "":
			t.Fatalf("%d and %d entries for %d spectra and %d chromatograms", len(x.Spectra()), len(x.Chromatograms()), len(all.spectra), len(all.traces))
		}
		for i := range x.Spectra() {
			if _, _, err := x.Spectrum(t.Context(), i); err != nil {
				t.Fatal(err)
			}
		}
	})
}
