package delimited

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"underbond/parsers"
)

// elementTable makes an element table of about size bytes as testdata/elements.yaml
// describes it, with three replicates a vial. All numbers are invented.
func elementTable(size int) []byte {
	random := rand.New(rand.NewPCG(1, 2))
	out := make([]byte, 0, size+1024)
	out = append(out, "Batch: bench\r\nSample,Vial,Acquired,Replicate"...)
	columns := 12
	for i := range columns {
		out = fmt.Appendf(out, ",M%d [cps]", i+1)
	}
	out = append(out, '\r', '\n')
	for row := 0; len(out) < size; row++ {
		vial := row / 3
		out = fmt.Appendf(out, "AS-%06d,%d,2026-03-%02d %02d:%02d:%02d,%d", vial, vial, 1+vial/86400, vial/3600%24, vial/60%60, vial%60, 1+row%3)
		for range columns {
			out = append(out, ',')
			switch n := random.IntN(100); {
			case n == 0:
				out = append(out, "<0.05"...)
			case n == 1:
				out = append(out, "n.d."...)
			default:
				out = strconv.AppendFloat(out, random.ExpFloat64()*1e4, 'f', 3, 64)
			}
		}
		out = append(out, '\r', '\n')
	}
	return out
}

const elementProfile = `kind: profile
name: bench-elements
version: "1"
invented: true
encoding: utf-8
delimiter: ","
decimal_mark: "."
preamble: {separator: ":", lines: [{name: Batch, meaning: run, required: true}]}
shape: long
key: [run, vial]
date_format: YYYY-MM-DD HH:mm:ss
qualifiers: {below: ["<"], not_found: [n.d.]}
end: newline
columns:
  - {name: Sample, meaning: sample, type: text}
  - {name: Vial, meaning: vial, type: text}
  - {name: Acquired, meaning: start, type: time}
  - {name: Replicate, meaning: replicate, type: text}
`

func elementReader(t testing.TB) parsers.Reader {
	t.Helper()
	text := elementProfile
	for i := range 12 {
		text += fmt.Sprintf("  - {name: \"M%d [cps]\", meaning: counts M%d, unit: cps, type: number}\n", i+1, i+1)
	}
	p, err := ParseProfile("bench.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return New(p)
}

// BenchmarkElementTable reads 100 MB, or what UNDERBOND_BENCH_MB says.
func BenchmarkElementTable(b *testing.B) {
	size := 100
	if text := os.Getenv("UNDERBOND_BENCH_MB"); text != "" {
		var err error
		if size, err = strconv.Atoi(text); err != nil {
			b.Fatal(err)
		}
	}
	data, reader := elementTable(size<<20), elementReader(b)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := reader.Read(b.Context(), bytes.NewReader(data), parsers.Options{}, discard{}); err != nil {
			b.Fatal(err)
		}
	}
}
