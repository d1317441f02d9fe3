package mzml

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// generated is a run of invented spectra as a stream of any length: rising 64-bit m/z and
// 32-bit intensities, zlib compressed, as converters write them by default, to 0.7 of their size. A few hundred
// different spectra come again and again under new numbers.
type generated struct {
	spectra [][2]string // what stands before and after the number
	size    int64       // the list ends after so many bytes
	given   int64
	n       int
	out     []byte
	ended   bool
}

// newGenerated makes a run of about size bytes whose spectra have so many points.
func newGenerated(size int64, points int) *generated {
	rng := rand.New(rand.NewPCG(1, 2))
	g := &generated{size: size}
	mz, intensity := make([]float64, points), make([]float64, points)
	for range min(512, size/int64(12*points)+1) {
		at := 100.0
		for j := range mz {
			at += 0.5 + rng.Float64()
			mz[j] = math.Round(at*1e4) / 1e4
			intensity[j] = math.Round(1000 * math.Exp(4*rng.Float64()))
		}
		text := spectrumElement(0, points,
			cv("MS:1000511", "1")+cv("MS:1000579", "")+cv("MS:1000130", "")+cv("MS:1000128", "")+
				cv("MS:1000285", "123456.7")+`<scanList count="1">`+cv("MS:1000795", "")+
				"<scan>"+cvUnit("MS:1000016", "12.5", "UO:0000031")+"</scan></scanList>",
			arrayElement(squeeze(packF64(mz...)), f64, deflate, cvUnit("MS:1000514", "", "MS:1000040")),
			arrayElement(squeeze(packF32(intensity...)), f32, deflate, cvUnit("MS:1000515", "", "MS:1000131")))
		before, after, _ := bytes.Cut([]byte(text), []byte(`index="0" id="scan=1"`))
		g.spectra = append(g.spectra, [2]string{string(before), string(after) + "\n"})
	}
	g.out = []byte(`<?xml version="1.0" encoding="UTF-8"?>` + "\n<mzML" + xmlns + ` version="1.1.0"><run id="synthetic">` + "\n<spectrumList>\n")
	return g
}

// again gives the same content from its start, of another size.
func (g *generated) again(size int64) *generated {
	other := newGenerated(size, 1)
	other.spectra = g.spectra
	return other
}

func (g *generated) Read(p []byte) (int, error) {
	if len(g.out) == 0 {
		switch {
		case g.ended:
			return 0, io.EOF
		case g.given >= g.size:
			g.out, g.ended = append(g.out[:0], "</spectrumList>\n</run></mzML>\n"...), true
		default:
			s := g.spectra[g.n%len(g.spectra)]
			g.out = fmt.Appendf(g.out[:0], `%sindex="%d" id="scan=%d"%s`, s[0], g.n, g.n+1, s[1])
			g.n++
		}
	}
	n := copy(p, g.out)
	g.out = g.out[n:]
	g.given += int64(n)
	return n, nil
}

// benchmarkBytes is the size of large inputs: UNDERBOND_BENCH_MB megabytes, or 32.
func benchmarkBytes(b *testing.B) int64 {
	text := os.Getenv("UNDERBOND_BENCH_MB")
	if text == "" {
		text = "32"
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n <= 0 {
		b.Fatalf("UNDERBOND_BENCH_MB is %q, want a number of megabytes", text)
	}
	return n * 1e6
}
