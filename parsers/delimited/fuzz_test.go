package delimited

import (
	"bytes"
	"errors"
	"os"
	"testing"
	"testing/iotest"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

func FuzzParseProfile(f *testing.F) {
	parserstest.Seeds(f, os.DirFS("testdata"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ParseProfile("f", data)
		if (p == nil) != (err != nil) {
			t.Fatalf("%v, %v", p, err)
		}
		if p != nil {
			// A profile that is accepted makes a reader that reads.
			New(p).Sniff([]byte("a,b\n1,2\n"))
		}
	})
}

// FuzzRead: any bytes are read or refused, alike in one piece and byte by byte; what
// is read has a failed end proof never, and every row has a cell for each column.
func FuzzRead(f *testing.F) {
	readers := []parsers.Reader{New(profile(f, "peaks.yaml")), New(profile(f, "metals.yaml"))}
	for _, e := range examples(f) {
		readers = append(readers, New(e.profile))
		f.Add(e.data)
	}
	f.Add([]byte(text(f, "peaks.csv")))
	f.Add(utf16le(metals))
	limits := parsers.Options{Limits: parsers.Limits{TotalBytes: 1 << 20, TokenBytes: 4096}}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, r := range readers {
			r.Sniff(data)
			got, again := &collector{}, &collector{}
			_, err := r.Read(t.Context(), bytes.NewReader(data), limits, got)
			_, errAgain := r.Read(t.Context(), iotest.OneByteReader(bytes.NewReader(data)), limits, again)
			if (err == nil) != (errAgain == nil) || err != nil && err.Error() != errAgain.Error() || len(got.all) != len(again.all) {
				t.Fatalf("%v in one piece, %v byte by byte", err, errAgain)
			}
			var refusal *parsers.Refusal
			if err != nil {
				if !errors.As(err, &refusal) {
					t.Fatal(err)
				}
				continue
			}
			if proof, why, err := r.EndProof(bytes.NewReader(data), int64(len(data))); err != nil || proof == parsers.EndProofFailed {
				t.Fatalf("read, and the end proof is %q (%s), %v", proof, why, err)
			}
			for i, a := range got.all {
				if a.trailer.Digest != again.all[i].trailer.Digest {
					t.Fatal("digests differ")
				}
				for _, row := range a.table.Rows {
					if len(row.Cells) != len(a.table.Columns) {
						t.Fatalf("line %d has %d cells", row.Line, len(row.Cells))
					}
				}
			}
		}
	})
}
