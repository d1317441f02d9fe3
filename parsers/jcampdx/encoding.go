package jcampdx

import (
	"bytes"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/htmlindex"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"underbond/parsers"
)

var (
	markUTF8    = []byte{0xEF, 0xBB, 0xBF}
	markUTF16LE = []byte{0xFF, 0xFE}
	markUTF16BE = []byte{0xFE, 0xFF}
)

// utf16Of says in which UTF-16 form content with this head is written: by its byte
// order mark, or by configuration when the head has the NUL bytes of UTF-16.
func utf16Of(head []byte, configured string) (enc encoding.Encoding, mark int) {
	switch {
	case bytes.HasPrefix(head, markUTF16LE):
		return unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM), 2
	case bytes.HasPrefix(head, markUTF16BE):
		return unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM), 2
	case bytes.IndexByte(head, 0) < 0 || configured == "":
		return nil, 0
	}
	chosen, err := htmlindex.Get(configured)
	if err != nil {
		return nil, 0
	}
	switch name, _ := htmlindex.Name(chosen); name {
	case "utf-16le", "utf-16be":
		return chosen, 0
	}
	return nil, 0
}

// openText gives the content that starts with head as a stream of UTF-8 or of a
// one-byte code page. skipped is the length of a byte order mark.
func openText(head []byte, rest io.Reader, configured string) (plain io.Reader, skipped int, transcoded bool, err error) {
	if configured != "" {
		if _, err := htmlindex.Get(configured); err != nil {
			return nil, 0, false, parsers.Refuse("jcampdx-encoding-unknown", parsers.Place{},
				"the configured code page %q is not known", configured)
		}
	}
	if enc, mark := utf16Of(head, configured); enc != nil {
		whole := io.MultiReader(bytes.NewReader(head[mark:]), rest)
		return transform.NewReader(whole, enc.NewDecoder()), mark, true, nil
	}
	if bytes.HasPrefix(head, markUTF8) {
		skipped = len(markUTF8)
	}
	return io.MultiReader(bytes.NewReader(head[skipped:]), rest), skipped, false, nil
}

// plainHead gives the first bytes of content without byte order mark, transcoded
// when they are UTF-16.
func plainHead(head []byte) ([]byte, error) {
	if enc, mark := utf16Of(head, ""); enc != nil {
		whole := head[mark:]
		return enc.NewDecoder().Bytes(whole[:len(whole)&^1])
	}
	return bytes.TrimPrefix(head, markUTF8), nil
}

// textDecoder turns header text into UTF-8. The first text that is not ASCII decides
// for the whole file: it is valid UTF-8, or the configured code page applies.
type textDecoder struct {
	encoding   string
	transcoded bool // the content was UTF-16
	decided    bool
	page       encoding.Encoding // nil: UTF-8
}

// decode gives b as UTF-8.
func (d *textDecoder) decode(b []byte, where parsers.Place) (string, error) {
	if isASCII(b) {
		return string(b), nil
	}
	if d.transcoded {
		if bytes.ContainsRune(b, utf8.RuneError) {
			return "", parsers.Refuse("jcampdx-encoding", where, "the text is not valid UTF-16")
		}
		return string(b), nil
	}
	if !d.decided {
		d.decided = true
		if !utf8.Valid(b) {
			if d.encoding == "" {
				return "", parsers.Refuse("jcampdx-encoding", where,
					"the text is not UTF-8 and no code page is configured")
			}
			page, err := htmlindex.Get(d.encoding)
			if err != nil {
				return "", parsers.Refuse("jcampdx-encoding-unknown", where,
					"the configured code page %q is not known", d.encoding)
			}
			if name, _ := htmlindex.Name(page); strings.HasPrefix(name, "utf-16") {
				return "", parsers.Refuse("jcampdx-encoding", where, "the text is neither UTF-8 nor %s", d.encoding)
			}
			d.page = page
		}
	}
	if d.page == nil {
		if !utf8.Valid(b) {
			return "", parsers.Refuse("jcampdx-encoding", where,
				"the text is not UTF-8 although earlier text is")
		}
		return string(b), nil
	}
	out, err := d.page.NewDecoder().Bytes(b)
	if err != nil || bytes.ContainsRune(out, utf8.RuneError) {
		return "", parsers.Refuse("jcampdx-encoding", where, "the text is not valid %s", d.encoding)
	}
	return string(out), nil
}

func isASCII(b []byte) bool {
	for _, c := range b {
		if c >= utf8.RuneSelf {
			return false
		}
	}
	return true
}
