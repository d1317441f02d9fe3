package jcampdx

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"testing"

	"underbond/parsers"
)

// discard is a sink that keeps nothing.
type discard struct{ points int }

func (d *discard) Begin(parsers.Header) error { return nil }
func (d *discard) Signal(s parsers.Signal) error {
	if s, ok := s.(*parsers.Spectrum); ok {
		d.points += len(s.Y)
	}
	return nil
}
func (d *discard) End(parsers.Trailer) error { return nil }

// generated makes a spectrum of n points with smooth bands and some noise, in the
// given form.
func generated(n int, form tableForm) []byte {
	y := make([]int64, n)
	state := uint64(1)
	for i := range y {
		state = state*6364136223846793005 + 1442695040888963407
		noise := int64(state>>55) - 256
		y[i] = int64(20000*math.Exp(-math.Pow(float64(i%9000-4500)/600, 2))) + noise
		if i%400 > 380 {
			y[i] = 15
		}
	}
	var out bytes.Buffer
	fmt.Fprintf(&out, "##TITLE=generated\r\n##JCAMP-DX=4.24\r\n##DATA TYPE=INFRARED SPECTRUM\r\n##XUNITS=1/CM\r\n##YUNITS=ABSORBANCE\r\n"+
		"##XFACTOR=1\r\n##YFACTOR=0.0001\r\n##FIRSTX=0\r\n##LASTX=%d\r\n##NPOINTS=%d\r\n##XYDATA=(X++(Y..Y))\r\n", n-1, n)
	out.Write(encode(y, form, 80))
	out.WriteString("##END=\r\n")
	return out.Bytes()
}

func BenchmarkRead(b *testing.B) {
	for name, form := range map[string]tableForm{"DIFDUP": difdup, "SQZ": sqz, "PAC": pac, "AFFN": affn} {
		b.Run(name, func(b *testing.B) {
			content := generated(2_000_000, form)
			b.SetBytes(int64(len(content)))
			for b.Loop() {
				d := &discard{}
				if _, err := New().Read(context.Background(), bytes.NewReader(content), parsers.Options{}, d); err != nil {
					b.Fatal(err)
				}
				if d.points != 2_000_000 {
					b.Fatalf("%d points", d.points)
				}
			}
		})
	}
}
