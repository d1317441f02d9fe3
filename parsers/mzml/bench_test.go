package mzml

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/zlib"
	fastbase64 "github.com/segmentio/asm/base64"

	"underbond/parsers"
	"underbond/parsers/mzml/inflate"
)

// tap counts what comes and keeps nothing.
type tap struct {
	signals, points int
	each            func()
}

func (d *tap) Begin(parsers.Header) error { return nil }
func (d *tap) Signal(s parsers.Signal) error {
	d.signals++
	switch s := s.(type) {
	case *parsers.Spectrum:
		d.points += len(s.X)
	case *parsers.Chromatogram:
		d.points += len(s.Time)
	}
	if d.each != nil {
		d.each()
	}
	return nil
}
func (d *tap) End(parsers.Trailer) error { return nil }

// BenchmarkRead reads a file with all arrays decoded and, in turns, does what cannot be
// left out: find the payloads, decode base64, inflate, with as many goroutines as there
// are processors (-cpu), once with the streaming inflater of a library and once with the
// one that is used here. It reports all and the ratios.
func BenchmarkRead(b *testing.B) {
	for name, points := range map[string]int{"1240 points": 1240, "40 points": 40} {
		b.Run(name, func(b *testing.B) {
			path := filepath.Join(b.TempDir(), "run.mzML")
			file, err := os.Create(path)
			if err != nil {
				b.Fatal(err)
			}
			size, err := io.Copy(file, newGenerated(benchmarkBytes(b), points))
			if err := errors.Join(err, file.Close()); err != nil {
				b.Fatal(err)
			}
			content, err := os.ReadFile(path)
			if err != nil {
				b.Fatal(err)
			}
			b.SetBytes(size)
			b.ReportAllocs()
			var reading, library, own time.Duration
			for b.Loop() {
				began := time.Now()
				readFile(b, path)
				reading += time.Since(began)
				b.StopTimer()
				began = time.Now()
				bareLoop(b, content, libraryInflater)
				library += time.Since(began)
				began = time.Now()
				bareLoop(b, content, ownInflater)
				own += time.Since(began)
				b.StartTimer()
			}
			all := float64(b.N) * float64(size) / 1e6
			b.ReportMetric(all/library.Seconds(), "library-bare-MB/s")
			b.ReportMetric(library.Seconds()/reading.Seconds(), "of-library-bare")
			b.ReportMetric(all/own.Seconds(), "own-bare-MB/s")
			b.ReportMetric(own.Seconds()/reading.Seconds(), "of-own-bare")
		})
	}
}

func readFile(b *testing.B, path string) {
	file, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer file.Close()
	var sink tap
	if _, err := (Reader{}).Read(context.Background(), file, parsers.Options{}, &sink); err != nil {
		b.Fatal(err)
	}
	if sink.points == 0 {
		b.Fatal("no points")
	}
}

// bareLoop finds, decodes and inflates all payloads.
func bareLoop(b *testing.B, content []byte, newInflater func() func([]byte) error) {
	n := runtime.GOMAXPROCS(0)
	var all sync.WaitGroup
	for i := range n {
		part := content[len(content)*i/n:]
		end := len(content)*(i+1)/n - len(content)*i/n
		all.Go(func() {
			if err := bare(part, end, newInflater()); err != nil {
				b.Error(err)
			}
		})
	}
	all.Wait()
}

// bare does the payloads that begin in part[:end].
func bare(part []byte, end int, inflater func([]byte) error) error {
	var packed []byte
	for at := 0; ; {
		from := bytes.Index(part[at:], []byte("<binary>"))
		if from < 0 || at+from >= end {
			return nil
		}
		from += at + len("<binary>")
		at = from + bytes.IndexByte(part[from:], '<')
		need := base64.StdEncoding.DecodedLen(at - from)
		if cap(packed) < need+inflate.Padding {
			packed = make([]byte, need+inflate.Padding)
		}
		n, err := fastbase64.StdEncoding.Decode(packed[:need], part[from:at])
		if err == nil {
			err = inflater(packed[:n])
		}
		if err != nil {
			return err
		}
	}
}

func libraryInflater() func([]byte) error {
	raw := make([]byte, 32<<10)
	var src bytes.Reader
	var inflater io.ReadCloser
	return func(packed []byte) (err error) {
		src.Reset(packed)
		if inflater == nil {
			inflater, err = zlib.NewReader(&src)
		} else {
			err = inflater.(zlib.Resetter).Reset(&src, nil)
		}
		for err == nil {
			_, err = inflater.Read(raw)
		}
		if err == io.EOF {
			return nil
		}
		return err
	}
}

func ownInflater() func([]byte) error {
	var raw []byte
	var d inflate.Decoder
	return func(packed []byte) (err error) {
		raw, _, err = d.Zlib(raw, packed, 1<<30)
		return err
	}
}

// BenchmarkMemory reads runs of the size asked for and of ten times that, and reports the
// most memory that the process held meanwhile, in MiB.
func BenchmarkMemory(b *testing.B) {
	spectra := newGenerated(benchmarkBytes(b), 1240)
	for name, times := range map[string]int64{"1 x": 1, "10 x": 10} {
		b.Run(name, func(b *testing.B) {
			size := benchmarkBytes(b) * times
			b.SetBytes(size)
			var peak uint64
			sample := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
			debug.FreeOSMemory() // what the generator left
			for b.Loop() {
				sink := &tap{}
				sink.each = func() {
					if sink.signals%256 == 0 {
						metrics.Read(sample)
						peak = max(peak, sample[0].Value.Uint64()-sample[1].Value.Uint64())
					}
				}
				if _, err := (Reader{}).Read(context.Background(), spectra.again(size), parsers.Options{}, sink); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(peak)/(1<<20), "peak-MiB")
		})
	}
}
