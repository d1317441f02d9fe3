package propose

import (
	"bytes"
	"errors"
	"fmt"
	"unicode/utf8"

	"underbond/parsers"
	"underbond/parsers/delimited"
)

// decode gives a file as text. The encoding is what was asked for, or what a byte
// order mark or valid UTF-8 says; nothing else is taken.
func decode(f File, asked string) (text, encoding, why string, err error) {
	marked := delimited.MarkedEncoding(f.Data)
	switch {
	case len(f.Data) == 0:
		return "", "", "", &FileError{File: f.Name, Text: "the file is empty"}
	case asked != "":
		encoding, why = asked, "as given on the command line"
	case marked != "":
		encoding, why = marked, "the byte order mark says so"
	case utf8.Valid(f.Data) && bytes.IndexByte(f.Data, 0) < 0:
		encoding, why = "utf-8", "the bytes are valid UTF-8 with characters beyond ASCII"
		if isASCII(f.Data) {
			why = "all characters are ASCII; a later file with bytes that are not UTF-8 will be refused, not misread"
		}
	default:
		return "", "", "", &FileError{File: f.Name, Text: "the encoding is not to be seen from the bytes: there is no byte order mark, and they are not UTF-8",
			Hint: "give it with --encoding; " + hint(f.Data)}
	}
	text, err = delimited.Text(f.Data, encoding)
	var refusal *parsers.Refusal
	if errors.As(err, &refusal) {
		return "", "", "", &FileError{File: f.Name, Line: refusal.Where.Line, Text: refusal.Message, Hint: "give another --encoding"}
	}
	return text, encoding, why, err
}

func isASCII(data []byte) bool {
	return !bytes.ContainsFunc(data, func(r rune) bool { return r >= utf8.RuneSelf })
}

// hint says what speaks for one encoding or another; it decides nothing.
func hint(data []byte) string {
	even, odd := 0, 0
	for i, c := range data[:min(len(data), 4096)] {
		if c == 0 && i%2 == 0 {
			even++
		} else if c == 0 {
			odd++
		}
	}
	switch {
	case odd > 8 && odd > 8*even:
		return "every second byte is 0, as in utf-16le without a byte order mark"
	case even > 8 && even > 8*odd:
		return "every second byte is 0, as in utf-16be without a byte order mark"
	}
	for i, c := range data {
		if c < utf8.RuneSelf {
			continue
		}
		from := max(0, i-10)
		from += bytes.LastIndexAny(data[from:i], "\r\n") + 1
		until := min(len(data), i+10)
		if k := bytes.IndexAny(data[i:until], "\r\n"); k >= 0 {
			until = i + k
		}
		texts := ""
		for _, encoding := range []string{"windows-1252", "iso-8859-15", "ibm850", "macintosh", "windows-1251"} {
			if text, err := delimited.Text(data[from:until], encoding); err == nil {
				texts += fmt.Sprintf("; in %s it reads %q", encoding, text)
			}
		}
		return fmt.Sprintf("byte 0x%02X in line %d is the first that is not ASCII%s", c, 1+bytes.Count(data[:i], []byte{'\n'}), texts)
	}
	return "there are NUL bytes; the file may not be text"
}
