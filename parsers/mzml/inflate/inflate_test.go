package inflate_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers/mzml/inflate"
)

func deflate(t testing.TB, raw []byte, level int) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := zlib.NewWriterLevel(&b, level)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(raw); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// contents are bytes of many kinds.
func contents() map[string][]byte {
	rng := rand.New(rand.NewPCG(5, 6))
	noise := make([]byte, 70_000)
	for i := range noise {
		noise[i] = byte(rng.Uint32())
	}
	skewed := make([]byte, 200_000) // long codes
	for i := range skewed {
		skewed[i] = byte(rng.ExpFloat64() * 6)
	}
	var rising []byte
	for i := range 20_000 {
		rising = binary.LittleEndian.AppendUint64(rising, uint64(i*i)*0x1234567)
	}
	return map[string][]byte{
		"nothing": nil, "one byte": {7}, "noise": noise, "skewed": skewed, "rising": rising,
		"zeros":  make([]byte, 300_000),
		"words":  bytes.Repeat([]byte("profile centroid "), 4000),
		"threes": bytes.Repeat([]byte("abc"), 9999),
		"mixed":  slices.Concat(noise[:5000], make([]byte, 40_000), skewed[:9000], noise[:5000]),
	}
}

func TestGivesBack(t *testing.T) {
	var d inflate.Decoder
	for name, raw := range contents() {
		for _, level := range []int{zlib.NoCompression, zlib.BestSpeed, zlib.DefaultCompression, zlib.BestCompression, zlib.HuffmanOnly} {
			t.Run(fmt.Sprint(name, " ", level), func(t *testing.T) {
				packed := deflate(t, raw, level)
				for _, dst := range [][]byte{nil, make([]byte, 10), make([]byte, 0, 1<<20)} {
					for _, more := range []int{0, 1, 100} {
						out, used, err := d.Zlib(dst, append(slices.Clone(packed), make([]byte, more)...), len(raw))
						if err != nil || used != len(packed) || !bytes.Equal(out, raw) {
							t.Fatalf("%d of %d bytes out of %d of %d, %v", len(out), len(raw), used, len(packed), err)
						}
					}
				}
				if len(raw) == 0 {
					return
				}
				if _, _, err := d.Zlib(nil, packed, len(raw)-1); !errors.Is(err, inflate.ErrTooLong) {
					t.Errorf("one byte less allowed: %v", err)
				}
				for _, n := range []int{len(packed) - 1, len(packed) - 4, len(packed) / 2, 2, 1} {
					if _, _, err := d.Zlib(nil, packed[:n:n], len(raw)); err == nil {
						t.Errorf("cut to %d of %d bytes: no error", n, len(packed))
					}
				}
				packed[len(packed)-1] ^= 1
				if _, _, err := d.Zlib(nil, packed, len(raw)); !errors.Is(err, inflate.ErrChecksum) {
					t.Errorf("wrong checksum: %v", err)
				}
			})
		}
	}
}

func TestAnyBytesGiveBack(t *testing.T) {
	var d inflate.Decoder
	rapid.Check(t, func(r *rapid.T) {
		raw := rapid.SliceOfN(rapid.ByteMax(byte(rapid.IntRange(1, 255).Draw(r, "most"))), 0, 3000).Draw(r, "raw")
		level := rapid.IntRange(-2, 9).Draw(r, "level")
		if out, _, err := d.Zlib(nil, deflate(t, raw, level), len(raw)); err != nil || !bytes.Equal(out, raw) {
			r.Fatalf("%x, %v", out, err)
		}
	})
}

// agree compares with the standard library: both fail, or both give the same.
func agree(t *testing.T, packed []byte) {
	t.Helper()
	const most = 1 << 20
	var d inflate.Decoder
	kept := slices.Clone(packed)
	got, used, err := d.Zlib(nil, packed[:len(packed):len(packed)], most)
	if !bytes.Equal(kept, packed) {
		t.Fatal("the input is changed")
	}
	src := bytes.NewReader(packed)
	r, wantErr := zlib.NewReader(src)
	var want []byte
	if wantErr == nil {
		want, wantErr = io.ReadAll(io.LimitReader(r, most+1))
		if len(want) > most {
			wantErr = inflate.ErrTooLong
		}
	}
	if (err == nil) != (wantErr == nil) || err == nil && (!bytes.Equal(got, want) || used != len(packed)-src.Len()) {
		t.Fatalf("%d bytes out of %d, %v; the standard library: %d bytes, %v", len(got), used, err, len(want), wantErr)
	}
}

func TestAgreesOnDamage(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	times := 300
	if testing.Short() {
		times = 30
	}
	for name, raw := range contents() {
		t.Run(name, func(t *testing.T) {
			raw = raw[:min(len(raw), 20_000)]
			for _, level := range []int{zlib.DefaultCompression, zlib.HuffmanOnly} {
				packed := deflate(t, raw, level)
				for range times {
					b := slices.Clone(packed)
					for range 1 + rng.IntN(3) {
						b[rng.IntN(len(b))] ^= 1 << rng.IntN(8)
					}
					agree(t, b)
				}
				for n := range min(len(packed), times) {
					agree(t, packed[:n])
				}
			}
		})
	}
}

func FuzzZlib(f *testing.F) {
	for _, raw := range contents() {
		for _, level := range []int{zlib.NoCompression, zlib.DefaultCompression, zlib.HuffmanOnly} {
			f.Add(deflate(f, raw[:min(len(raw), 2000)], level))
		}
	}
	f.Fuzz(func(t *testing.T, packed []byte) { agree(t, packed) })
}

func BenchmarkZlib(b *testing.B) {
	for name, raw := range contents() {
		packed := deflate(b, raw, zlib.DefaultCompression)
		b.Run(name, func(b *testing.B) {
			var d inflate.Decoder
			var out []byte
			b.SetBytes(int64(len(packed)))
			for b.Loop() {
				var err error
				if out, _, err = d.Zlib(out, packed, len(raw)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
