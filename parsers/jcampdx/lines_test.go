package jcampdx

import (
	"context"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"underbond/parsers"
)

// TestChunksDoNotShow reads content longer than the buffer, with one line longer than
// the buffer and line ends of every kind, in portions of one byte and of any size.
func TestChunksDoNotShow(t *testing.T) {
	var table strings.Builder
	table.WriteString("##NPOINTS=200000\r\n##XFACTOR=1\r##YFACTOR=1\n##FIRSTX=0\n##LASTX=199999\n##XYDATA=(X++(Y..Y))\r\n0")
	table.WriteString(strings.Repeat(" 17", 160000))
	for i := 160000; i < 200000; i += 2 {
		table.WriteString([]string{"\r\n", "\n", "\r"}[i/2%3])
		table.WriteString(strings.Repeat(" ", i%5) + "160000 1 2")
	}
	content := strings.Replace(spectrumFile(table.String(), "\r\n"), "##XYDATA", "$$ x\r##XYDATA", 1)
	whole, _, err := readAll(t, []byte(content), parsers.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(whole[0].spectra[0].Y); n != 200000 {
		t.Fatalf("%d points", n)
	}
	for name, portion := range map[string]func(io.Reader) io.Reader{
		"one byte": iotest.OneByteReader, "half": iotest.HalfReader, "end with data": iotest.DataErrReader,
	} {
		t.Run(name, func(t *testing.T) {
			c := &collector{t: t}
			if _, err := New().Read(context.Background(), portion(strings.NewReader(content)), parsers.Options{}, c); err != nil {
				t.Fatal(err)
			}
			got := c.got[0]
			if !slices.Equal(got.spectra[0].Y, whole[0].spectra[0].Y) || got.trailer.Digest != whole[0].trailer.Digest {
				t.Error("the portions in which the content comes change the result")
			}
			if !slices.Equal(got.trailer.Problems, whole[0].trailer.Problems) {
				t.Errorf("problems: %v, want %v", got.trailer.Problems, whole[0].trailer.Problems)
			}
		})
	}
}
