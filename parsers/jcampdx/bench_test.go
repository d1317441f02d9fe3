package jcampdx

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"testing"
	"time"

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

// generated makes a spectrum of smooth bands with noise of about ±noise units of the last
// digit, in the given form, until it has size bytes.
func generated(size int, form tableForm, noise int64) (content []byte, points int) {
	const piece = 1 << 16
	var table []byte
	var y []int64
	state := uint64(1)
	for len(table) < size {
		from := len(y)
		for i := from; i < from+piece; i++ {
			state = state*6364136223846793005 + 1442695040888963407
			wobble := int64(state>>40)%(2*noise+1) - noise
			v := int64(20000*math.Exp(-math.Pow(float64(i%9000-4500)/600, 2))) + wobble
			if i%400 > 380 {
				v = 15 // a stretch at the detector's floor
			}
			y = append(y, v)
		}
		// A difference is never the last of a piece's last line, so that pieces join.
		table = append(table, encodeFrom(from, y[from:], form, 78)...)
	}
	var out bytes.Buffer
	fmt.Fprintf(&out, "##TITLE=generated\r\n##JCAMP-DX=4.24\r\n##DATA TYPE=INFRARED SPECTRUM\r\n##XUNITS=1/CM\r\n##YUNITS=ABSORBANCE\r\n"+
		"##XFACTOR=1\r\n##YFACTOR=0.0001\r\n##FIRSTX=0\r\n##LASTX=%d\r\n##NPOINTS=%d\r\n##XYDATA=(X++(Y..Y))\r\n", len(y)-1, len(y))
	out.Write(table)
	out.WriteString("##END=\r\n")
	return out.Bytes(), len(y)
}

// BenchmarkRead reads 50 MB of each form and reports, beside the speed, bytes a point and
// how the time compares with that of a bare loop over the same bytes.
func BenchmarkRead(b *testing.B) {
	for _, c := range []struct {
		name  string
		form  tableForm
		noise int64
	}{
		{"DIFDUP,smooth", difdup, 3}, {"DIFDUP,noisy", difdup, 200},
		{"SQZ", sqz, 200}, {"PAC", pac, 200}, {"AFFN", affn, 200}, {"AFFN with decimals", decimals, 200},
	} {
		b.Run(c.name, func(b *testing.B) {
			content, points := generated(50_000_000, c.form, c.noise)
			start := time.Now()
			sum := scan(content)
			bare := time.Since(start)
			if sum == 0 {
				b.Fatal("nothing was scanned")
			}
			b.SetBytes(int64(len(content)))
			for b.Loop() {
				d := &discard{}
				if _, err := New().Read(context.Background(), bytes.NewReader(content), parsers.Options{}, d); err != nil {
					b.Fatal(err)
				}
				if d.points != points {
					b.Fatalf("%d points, want %d", d.points, points)
				}
			}
			each := b.Elapsed().Seconds() / float64(b.N)
			b.ReportMetric(float64(len(content))/float64(points), "bytes/point")
			b.ReportMetric(each*1e9/float64(points), "ns/point")
			b.ReportMetric(bare.Seconds()/each, "of-bare-scan")
		})
	}
}

// scan looks at every byte once and does the least with it.
func scan(content []byte) (sum int) {
	for _, c := range content {
		sum += int(class[c])
	}
	return sum
}
