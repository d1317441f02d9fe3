package delimited

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"underbond/parsers"
)

// codePages are the single-byte encodings, by IANA name in lower case.
var codePages = map[string]encoding.Encoding{
	"windows-1250": charmap.Windows1250,
	"windows-1251": charmap.Windows1251,
	"windows-1252": charmap.Windows1252,
	"iso-8859-1":   charmap.ISO8859_1,
	"iso-8859-2":   charmap.ISO8859_2,
	"iso-8859-15":  charmap.ISO8859_15,
	"ibm850":       charmap.CodePage850,
	"ibm437":       charmap.CodePage437,
	"macintosh":    charmap.Macintosh,
}

// Encodings lists the encodings that a profile can name.
func Encodings() []string {
	names := []string{encodingUTF8, encodingUTF16, encodingUTF16LE, encodingUTF16BE}
	var pages []string
	for name := range codePages {
		pages = append(pages, name)
	}
	slices.Sort(pages)
	return append(names, pages...)
}

// marks are the byte order marks and what they say.
var marks = []struct {
	bytes    []byte
	encoding string
}{
	{[]byte{0xEF, 0xBB, 0xBF}, encodingUTF8},
	{[]byte{0xFF, 0xFE}, encodingUTF16LE},
	{[]byte{0xFE, 0xFF}, encodingUTF16BE},
}

// byteOrderMark gives what the mark at the beginning of head says and its length.
func byteOrderMark(head []byte) (says string, length int) {
	for _, m := range marks {
		if bytes.HasPrefix(head, m.bytes) {
			return m.encoding, len(m.bytes)
		}
	}
	return "", 0
}

// settle decides the encoding of content that begins with head, of a profile that
// states one. It gives the length of the byte order mark to skip.
func settle(stated string, head []byte) (enc string, skip int, refusal *parsers.Refusal) {
	says, length := byteOrderMark(head)
	switch {
	case stated == encodingUTF16 && (says == encodingUTF16LE || says == encodingUTF16BE):
		return says, length, nil
	case stated == encodingUTF16 && says == "":
		return "", 0, parsers.Refuse("delimited-encoding", parsers.Place{},
			"the profile states utf-16 with a byte order mark, and the content begins with none")
	case says == "":
		return stated, 0, nil
	case says != stated:
		return "", 0, parsers.Refuse("delimited-encoding", parsers.Place{},
			"the profile states %s, and the content begins with the byte order mark of %s", stated, says)
	}
	return stated, length, nil
}

// decoded gives src as UTF-8. Bytes that the encoding does not know become U+FFFD,
// which the reader refuses; UTF-8 itself passes through unchecked.
func decoded(src io.Reader, enc string) io.Reader {
	switch enc {
	case encodingUTF8:
		return src
	case encodingUTF16LE:
		return transform.NewReader(src, unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewDecoder())
	case encodingUTF16BE:
		return transform.NewReader(src, unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewDecoder())
	}
	return transform.NewReader(src, codePages[enc].NewDecoder())
}

// unitBytes is the size of the encoding's smallest character.
func unitBytes(enc string) int {
	if enc == encodingUTF16LE || enc == encodingUTF16BE {
		return 2
	}
	return 1
}

// open settles the encoding of src and gives its text as UTF-8.
func open(src io.Reader, stated string) (text io.Reader, enc string, err error) {
	head := make([]byte, 3)
	n, err := io.ReadFull(src, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, "", err
	}
	head = head[:n]
	enc, skip, refusal := settle(stated, head)
	if refusal != nil {
		return nil, "", refusal
	}
	return decoded(io.MultiReader(bytes.NewReader(head[skip:]), src), enc), enc, nil
}

// MarkedEncoding gives the encoding that the byte order mark at the beginning of some
// content states; "" without a mark.
func MarkedEncoding(data []byte) string {
	says, _ := byteOrderMark(data)
	return says
}

// Text decodes some content by one of Encodings as reading by a profile does: a byte
// order mark that says otherwise and bytes that the encoding does not know are refused
// (*parsers.Refusal).
func Text(data []byte, encoding string) (string, error) {
	src, enc, err := open(bytes.NewReader(data), encoding)
	if err != nil {
		return "", err
	}
	text, err := io.ReadAll(src)
	if err != nil {
		return "", fmt.Errorf("decode %s: %w", encoding, err)
	}
	bad := bytes.IndexRune(text, utf8.RuneError)
	if enc == encodingUTF8 && utf8.Valid(text) {
		bad = -1 // the character itself, as written
	}
	if bad >= 0 {
		return "", parsers.Refuse("delimited-encoding", parsers.Place{Line: 1 + bytes.Count(text[:bad], []byte{'\n'})}, "a character that is not %s", encoding)
	}
	return string(text), nil
}
