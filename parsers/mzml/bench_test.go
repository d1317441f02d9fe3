package mzml

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"underbond/parsers"
)

// syntheticRun writes spectra with rising 64-bit m/z and 32-bit intensities, zlib
// compressed, as converters do by default. The data is invented.
func syntheticRun(spectra, points int) []byte {
	rng := rand.New(rand.NewPCG(1, 2))
	var b bytes.Buffer
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n<mzML" + xmlns + ` version="1.1.0"><run id="synthetic">` + "\n")
	fmt.Fprintf(&b, `<spectrumList count="%d">`, spectra)
	mz, intensity := make([]float64, points), make([]float64, points)
	for i := range spectra {
		at := 100.0
		for j := range mz {
			at += 0.5 + rng.Float64()
			mz[j] = math.Round(at*1e6) / 1e6
			intensity[j] = math.Round(1000 * math.Exp(4*rng.Float64()))
		}
		b.WriteString("\n" + spectrumElement(i, points,
			cv("MS:1000511", "1")+cv("MS:1000579", "")+cv("MS:1000130", "")+cv("MS:1000128", "")+
				cv("MS:1000285", "123456.7")+`<scanList count="1">`+cv("MS:1000795", "")+
				"<scan>"+cvUnit("MS:1000016", fmt.Sprint(float64(i)/60), "UO:0000031")+"</scan></scanList>",
			arrayElement(squeeze(packF64(mz...)), f64, deflate, cvUnit("MS:1000514", "", "MS:1000040")),
			arrayElement(squeeze(packF32(intensity...)), f32, deflate, cvUnit("MS:1000515", "", "MS:1000131"))))
	}
	b.WriteString("\n</spectrumList>\n</run></mzML>\n")
	return b.Bytes()
}

// discard counts points and keeps nothing.
type discard struct{ signals, points int }

func (d *discard) Begin(parsers.Header) error { return nil }
func (d *discard) Signal(s parsers.Signal) error {
	d.signals++
	switch s := s.(type) {
	case *parsers.Spectrum:
		d.points += len(s.X)
	case *parsers.Chromatogram:
		d.points += len(s.Time)
	}
	return nil
}
func (d *discard) End(parsers.Trailer) error { return nil }

func BenchmarkRead(b *testing.B) {
	for name, content := range map[string][]byte{
		"zlib 1240 points": syntheticRun(2000, 1240),
		"zlib 40 points":   syntheticRun(10000, 40),
	} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(content)))
			b.ReportAllocs()
			for b.Loop() {
				var sink discard
				if _, err := (Reader{}).Read(context.Background(), bytes.NewReader(content), parsers.Options{}, &sink); err != nil {
					b.Fatal(err)
				}
				if sink.points == 0 {
					b.Fatal("no points")
				}
			}
		})
	}
}
