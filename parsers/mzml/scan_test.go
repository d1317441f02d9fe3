package mzml

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"underbond/parsers"
)

// events lists what a scanner sees, in a form that both scanners can give.
func events(content []byte, wrap func(io.Reader) io.Reader) ([]string, error) {
	d, err := newDecoded(wrap(bytes.NewReader(content)), 1<<40)
	if err != nil {
		return nil, err
	}
	s := newScanner(context.Background(), d, parsers.Limits{}.WithDefaults())
	s.buf = make([]byte, 16) // so that every kind of token meets the end of the buffer
	var list eventList
	for {
		kind, err := s.next()
		if err != nil {
			return nil, err
		}
		switch kind {
		case tokenEOF:
			return list.all(), nil
		case tokenStart:
			e := "<" + string(s.local)
			for _, a := range s.attrs {
				name := a.name
				if i := bytes.IndexByte(name, ':'); i >= 0 {
					name = name[i+1:]
				}
				e += " " + string(name) + "=" + oneLine.Replace(string(a.value))
			}
			list.add(e)
		case tokenEnd:
			list.add("</" + string(s.local))
		case tokenText:
			list.text += string(s.text)
		}
	}
}

// oneLine evens out white space, which only one of the scanners normalises.
var oneLine = strings.NewReplacer("\r\n", " ", "\r", " ", "\n", " ", "\t", " ")

type eventList struct {
	list []string
	text string
}

func (l *eventList) add(e string) {
	l.flush()
	l.list = append(l.list, e)
}

func (l *eventList) flush() {
	if l.text != "" {
		l.list = append(l.list, "text "+oneLine.Replace(l.text))
		l.text = ""
	}
}

func (l *eventList) all() []string {
	l.flush()
	return l.list
}

// standardEvents lists what the standard library sees.
func standardEvents(content []byte) ([]string, error) {
	d := xml.NewDecoder(bytes.NewReader(content))
	var list eventList
	depth := 0
	for {
		token, err := d.Token()
		if err == io.EOF {
			return list.all(), nil
		}
		if err != nil {
			return nil, err
		}
		switch token := token.(type) {
		case xml.StartElement:
			depth++
			e := "<" + token.Name.Local
			for _, a := range token.Attr {
				e += " " + a.Name.Local + "=" + oneLine.Replace(a.Value)
			}
			list.add(e)
		case xml.EndElement:
			depth--
			list.add("</" + token.Name.Local)
		case xml.CharData:
			if depth > 0 {
				list.text += string(token)
			}
		}
	}
}

// stricter are the beginnings of refusals of documents that the standard library takes.
var stricter = []string{
	"attribute ", "unknown markup", "text after", "text before", "a second root", "the content ends before any element", "the content is empty",
	"XML declaration", "processing instruction", "namespace declaration", "no white space", "element ", "a document type",
	"the encoding", "the declaration", "the gzip", "bytes that are no gzip", "content in UTF-32", "half a character", "a byte that is no",
	"control character", "byte 0x", // in comments, where the library does not look (XML 1.0, production 2)
}

func agree(t *testing.T, content []byte) {
	t.Helper()
	mine, err := events(content, func(r io.Reader) io.Reader { return r })
	standard, standardErr := standardEvents(content)
	if err == nil {
		d, _ := newDecoded(bytes.NewReader(content), 1<<40)
		if d.form != formUTF8 || d.packed || !isASCII(content) {
			return // other encodings, and names by another edition of the standard
		}
		if standardErr != nil {
			t.Fatalf("%q is taken where the standard library says %v", content, standardErr)
		}
		if a, b := strings.Join(mine, "\n"), strings.Join(standard, "\n"); a != b {
			t.Fatalf("%q gives\n%s\nwant\n%s", content, a, b)
		}
		return
	}
	var refusal *parsers.Refusal
	if !errors.As(err, &refusal) {
		t.Fatalf("%q: %v is no refusal", content, err)
	}
	if standardErr != nil {
		return
	}
	for _, s := range stricter {
		if strings.HasPrefix(refusal.Message, s) {
			return
		}
	}
	t.Fatalf("%q is taken by the standard library, refused here: %v", content, refusal)
}

var scannerCases = map[string]string{
	"empty element":        `<a/>`,
	"nested":               `<a><b x="1" y='2'>t&amp;u</b><c /></a>`,
	"prefix":               `<p:a xmlns:p="u"><p:b/></p:a>`,
	"undeclared prefix":    `<p:a/>`,
	"references":           `<a b="&lt;&#65;&#x42;&quot;">&gt;&apos;</a>`,
	"unknown reference":    `<a>&nbsp;</a>`,
	"reference to nothing": `<a>&#0;</a>`,
	"bare ampersand":       `<a>a & b</a>`,
	"CDATA":                `<a>x<![CDATA[<b>&]]>y</a>`,
	"comment":              `<!-- c --><a><!-- <b> --></a><!-- d -->`,
	"dashes in a comment":  `<a><!-- x -- y --></a>`,
	"instruction":          `<?xml version="1.0"?><?pi x?><a/>`,
	"late declaration":     ` <?xml version="1.0"?><a/>`,
	"crossed":              `<a><b></a></b>`,
	"open":                 `<a><b></b>`,
	"open tag":             `<a b="1`,
	"two roots":            `<a/><b/>`,
	"text after":           `<a/>x`,
	"text only":            `hello`,
	"attribute twice":      `<a b="1" b="2"/>`,
	"unquoted":             `<a b=1/>`,
	"no value":             `<a b/>`,
	"less in value":        `<a b="<"/>`,
	"greater in value":     `<a b=">"/>`,
	"line ends":            "<a b='1\r\n2'>x\r\ny</a\n>",
	"section end in text":  `<a>]]></a>`,
	"control":              "<a>\x01</a>",
	"not UTF-8":            "<a>\xff</a>",
	"unknown markup":       `<!00><a/>`,
	"short comment":        `<!-->`,
	"doctype":              `<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>`,
	"space before name":    `< a/>`,
	"slash inside":         `<a / b="1"/>`,
}

func TestScannerAgreesWithStandardLibrary(t *testing.T) {
	for name, content := range scannerCases {
		t.Run(name, func(t *testing.T) { agree(t, []byte(content)) })
	}
}

func TestScannerReadsByteByByte(t *testing.T) {
	for name, content := range scannerCases {
		t.Run(name, func(t *testing.T) {
			whole, err := events([]byte(content), func(r io.Reader) io.Reader { return r })
			slow, slowErr := events([]byte(content), iotest.OneByteReader)
			if strings.Join(whole, "\n") != strings.Join(slow, "\n") || (err == nil) != (slowErr == nil) {
				t.Errorf("%v %v byte by byte, %v %v at once", slow, slowErr, whole, err)
			}
		})
	}
}

func FuzzScanner(f *testing.F) {
	for _, content := range scannerCases {
		f.Add([]byte(content))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		if len(content) < 4096 {
			agree(t, content)
		}
	})
}

func TestPlaces(t *testing.T) {
	tests := map[string]struct {
		content string
		want    parsers.Place
	}{
		"UTF-8":       {"<a>\n<b/>\n é&x;</a>", parsers.Place{Line: 3, Column: 3, Offset: 12, Element: "a"}},
		"byte mark":   {"\xef\xbb\xbf<a>&x;</a>", parsers.Place{Line: 1, Column: 4, Offset: 6, Element: "a"}},
		"single byte": {"<?xml version='1.0' encoding='ISO-8859-1'?>\n<a>\xe9\xe9&x;</a>", parsers.Place{Line: 2, Column: 6, Offset: 49, Element: "a"}},
		"UTF-16":      {wide("\ufeff<a>é\U0001f600\n&x;</a>"), parsers.Place{Line: 2, Column: 1, Offset: 2 + 2*7, Element: "a"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := events([]byte(tt.content), func(r io.Reader) io.Reader { return r })
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Code != CodeSyntax || refusal.Where != tt.want {
				t.Errorf("%v, want %v", err, tt.want)
			}
		})
	}
}
