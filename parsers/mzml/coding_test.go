package mzml

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"testing"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"

	"underbond/parsers"
)

// Encoders of all codings, for tests.

var zstdWriter = sync.OnceValue(func() *zstd.Encoder {
	w, err := zstd.NewWriter(nil)
	if err != nil {
		panic(err)
	}
	return w
})

func pressZstd(b []byte) []byte { return zstdWriter().EncodeAll(b, nil) }

func packAs(width int, integer bool, values []float64) (b []byte) {
	for _, v := range values {
		switch {
		case width == 8 && integer:
			b = binary.LittleEndian.AppendUint64(b, uint64(int64(v)))
		case width == 4 && integer:
			b = binary.LittleEndian.AppendUint32(b, uint32(int32(v)))
		case width == 8:
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		default:
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)))
		}
	}
	return b
}

func shuffle(b []byte, width int) []byte {
	out := make([]byte, 0, len(b))
	for i := range width {
		for j := i; j < len(b); j += width {
			out = append(out, b[j])
		}
	}
	return out
}

// dictionaryOf encodes values with the smallest indices, or with indices of a size; the
// header states the distinct values, or all of them.
func dictionaryOf(b []byte, width, index int, statesAll bool) []byte {
	var distinct [][]byte
	n := len(b) / width
	for i := range n {
		distinct = append(distinct, b[i*width:(i+1)*width])
	}
	slices.SortFunc(distinct, bytes.Compare)
	distinct = slices.CompactFunc(distinct, bytes.Equal)
	if index == 0 {
		index = map[bool]int{true: 1, false: 2}[len(distinct) <= 256]
	}
	stated := len(distinct)
	if statesAll {
		stated = n
	}
	out := binary.LittleEndian.AppendUint64(nil, uint64(16+len(distinct)*width))
	out = binary.LittleEndian.AppendUint64(out, uint64(stated))
	out = append(out, shuffle(bytes.Join(distinct, nil), width)...)
	var indices []byte
	for i := range n {
		at, _ := slices.BinarySearchFunc(distinct, b[i*width:(i+1)*width], bytes.Compare)
		indices = append(indices, binary.LittleEndian.AppendUint64(nil, uint64(at))[:index]...)
	}
	return append(out, shuffle(indices, index)...)
}

// predicted is the prediction that predict undoes.
func predicted(coding term, x []float64) []float64 {
	y := slices.Clone(x)
	for i := 2; i < len(x); i++ {
		y[i] = x[0] + x[i] - x[i-1]
		if coding == termTruncateLinear {
			y[i] = x[1] + x[i] - 2*x[i-1] + x[i-2]
		}
	}
	return y
}

// decodeAll decodes a payload as an array would be.
func decodeAll(t interface{ Fatal(...any) }, payload []byte, declared int, terms ...term) *array {
	a := &array{declared: declared, lengthKnown: true, binaries: 1, packed: payload}
	for _, term := range terms {
		if !a.coding.term(term) {
			t.Fatal("no coding term", term)
		}
	}
	var d arrayDecoder
	defer d.close()
	if err := d.decode(a, parsers.DefaultLimits.InflateRatio); err != nil {
		t.Fatal(err)
	}
	return a
}

// Each lossless coding of each number type gives back what was encoded.
func TestCodingsGiveBack(t *testing.T) {
	types := map[term]struct {
		width   int
		integer bool
	}{termFloat64: {8, false}, termFloat32: {4, false}, termInt64: {8, true}, termInt32: {4, true}}
	codings := map[term]func([]byte, int) []byte{
		termPlain:        func(b []byte, _ int) []byte { return b },
		termZlib:         func(b []byte, _ int) []byte { return squeeze(b) },
		termTruncate:     func(b []byte, _ int) []byte { return squeeze(b) },
		termZstd:         func(b []byte, _ int) []byte { return pressZstd(b) },
		termZstdShuffled: func(b []byte, w int) []byte { return pressZstd(shuffle(b, w)) },
	}
	for _, index := range []int{0, 2, 4, 8} {
		for _, all := range []bool{false, true} {
			codings[termZstdDictionary+term(1000*index)+term(map[bool]int{true: 100}[all])] = func(b []byte, w int) []byte {
				return pressZstd(dictionaryOf(b, w, index, all))
			}
		}
	}
	for kind, of := range types {
		for coding, encode := range codings {
			t.Run(fmt.Sprint(kind, " ", coding), func(t *testing.T) {
				rapid.Check(t, func(t *rapid.T) {
					values := rapid.SliceOfN(rapid.Map(rapid.IntRange(-1<<23, 1<<23), func(n int) float64 { return float64(n) }), 0, 700).Draw(t, "values")
					if rapid.Bool().Draw(t, "few") {
						for i := range values {
							values[i] = math.Mod(values[i], 3)
						}
					}
					as := coding
					if coding > termZstdDictionary && coding < 2*termZstdDictionary && coding != termZstd && coding != termZstdShuffled {
						as = termZstdDictionary
					}
					a := decodeAll(t, encode(packAs(of.width, of.integer, values), of.width), len(values), kind, as)
					if !slices.EqualFunc(a.values, values, func(x, y float64) bool { return x == y }) {
						t.Fatalf("%v, want %v", a.values, values)
					}
				})
			})
		}
	}
}

// Predictions give back values that they can keep exactly.
func TestPredictionsGiveBack(t *testing.T) {
	for _, coding := range []term{termTruncateDelta, termTruncateLinear} {
		for kind, width := range map[term]int{termFloat64: 8, termFloat32: 4} {
			rapid.Check(t, func(t *rapid.T) {
				values := rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 1<<20), func(n int) float64 { return float64(n) / 4 }), 0, 50).Draw(t, "values")
				a := decodeAll(t, squeeze(packAs(width, false, predicted(coding, values))), len(values), kind, coding)
				if !slices.Equal(a.values, values) {
					t.Fatalf("%v, want %v", a.values, values)
				}
			})
		}
	}
}

func TestText(t *testing.T) {
	for name, tt := range map[string]struct {
		payload  string
		declared int
		want     []string
		code     string
	}{
		"strings":   {"a\x00\x00bc\x00", 3, []string{"a", "", "bc"}, ""},
		"no end":    {"a\x00bc", 2, nil, CodeArrayDamaged},
		"not ASCII": {"a\xe9\x00", 1, nil, CodeArrayDamaged},
		"too many":  {"a\x00b\x00", 1, nil, CodeArrayLength},
		"fewer":     {"a\x00", 2, []string{"a"}, CodeArrayLength},
	} {
		for coding, payload := range map[string][]byte{plain: []byte(tt.payload), deflate: squeeze([]byte(tt.payload)), "MS:1003780": pressZstd([]byte(tt.payload))} {
			t.Run(name+" "+coding, func(t *testing.T) {
				extra := arrayElement(payload, "MS:1001479", coding, cvUnit("MS:1000786", "note", "UO:0000018"))
				extra = string(bytes.Replace([]byte(extra), []byte("<binaryDataArray"), fmt.Appendf(nil, `<binaryDataArray arrayLength="%d"`, tt.declared), 1))
				got, problems := mustRead(t, oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6), extra))
				if tt.code == "" {
					wantCodes(t, problems)
				} else {
					wantCodes(t, problems, tt.code)
				}
				s := got.spectra[0]
				if tt.want == nil {
					if len(s.Extra) != 0 || !s.Lost {
						t.Errorf("%+v", s)
					}
					return
				}
				if len(s.Extra) != 1 || s.Extra[0].Name != "note" || s.Extra[0].Unit != "nm" || !slices.Equal(s.Extra[0].Text, tt.want) || s.Lost || !same(s.Y, []float64{4, 5, 6}) {
					t.Errorf("%+v", s)
				}
			})
		}
	}
}

// Arrays beside the axes come with their names, units and own lengths.
func TestExtra(t *testing.T) {
	charge := arrayElement([]byte{1, 0, 0, 0, 2, 0, 0, 0, 3, 0, 0, 0}, i32, plain, "MS:1000516")
	mobility := arrayElement(packF64(0.7, 0.8, 0.9), f64, plain, cvUnit("MS:1003006", "", "MS:1002814"))
	light := arrayElement(packF64(280, 281, 282), f64, plain, cvUnit("MS:1000617", "", "UO:0000018"))
	got, problems := mustRead(t, oneSpectrum(charge, mzArray(1, 2, 3), mobility, intensityArray(4, 5, 6), light))
	wantCodes(t, problems)
	want := []parsers.Array{
		{Quantity: parsers.Quantity{Name: "charge"}, Values: []float64{1, 2, 3}},
		{Quantity: parsers.Quantity{Name: "mean inverse reduced ion mobility", UnitText: "unit"}, Values: []float64{0.7, 0.8, 0.9}},
		{Quantity: parsers.Quantity{Name: "wavelength", Unit: "nm", UnitText: "unit"}, Values: []float64{280, 281, 282}},
	}
	if fmt.Sprintf("%+v", got.spectra[0].Extra) != fmt.Sprintf("%+v", want) {
		t.Errorf("%+v, want %+v", got.spectra[0].Extra, want)
	}
	pressure := arrayElement(packF64(1e5, 2e5), f64, plain, cvUnit("MS:1000821", "", "UO:0000110"))
	got, problems = mustRead(t, document(chromatogramList(chromatogramElement(0, 2, "", timeArray("UO:0000010", 1, 2), intensityArray(3, 4), pressure))))
	wantCodes(t, problems)
	if c := got.traces[0]; len(c.Extra) != 1 || c.Extra[0].Name != "pressure" || c.Extra[0].Unit != "Pa" || !same(c.Extra[0].Values, []float64{1e5, 2e5}) || !same(c.Value, []float64{3, 4}) {
		t.Errorf("%+v", c)
	}
}

func TestDictionaryDamaged(t *testing.T) {
	head := func(begin, n uint64, rest ...byte) []byte {
		return append(binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(nil, begin), n), rest...)
	}
	value := packF32(7)
	for name, body := range map[string][]byte{
		"cut header":        head(20, 1)[:15],
		"begins in header":  head(8, 1, value...),
		"begins too late":   head(99, 1, value...),
		"overflows":         head(math.MaxUint64, 1, value...),
		"part of a value":   head(18, 1, append(slices.Clone(value), 0)...),
		"count":             head(20, 5, append(slices.Clone(value), 0, 0)...),
		"index out of list": head(20, 1, append(slices.Clone(value), 0, 1)...),
	} {
		a := &array{declared: 2, lengthKnown: true, binaries: 1, packed: pressZstd(body), coding: coding{width: 4, types: 1, zstd: true, dictionary: true}}
		var d arrayDecoder
		if err := d.decode(a, 2000); err == nil {
			t.Errorf("%s: decoded to %v", name, a.values)
		}
	}
}

// Half floats, after the table of IEEE 754.
func TestHalfFloat(t *testing.T) {
	for h, want := range map[uint16]float64{
		0: 0, 0x3C00: 1, 0xC000: -2, 0x7BFF: 65504, 0x0400: 0x1p-14, 0x0001: 0x1p-24, 0x3555: 0.333251953125, 0x7C00: math.Inf(1), 0xFC00: math.Inf(-1),
	} {
		if got := halfFloat(h); got != want {
			t.Errorf("%#x: %v, want %v", h, got, want)
		}
	}
	if !math.IsNaN(halfFloat(0x7E00)) {
		t.Error("0x7E00 is a number")
	}
}

// Small payloads that grow very large take little memory, whatever they declare.
func TestHostileArrays(t *testing.T) {
	const declared = 16 << 20
	zeros := make([]byte, 4*declared)
	halves := bytes.Repeat([]byte{0x88}, declared/2) // Numpress zeros
	dictionary := append(append(binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(nil, 20), 1), packF32(1)...), zeros[:declared]...)
	zlib, standard := squeeze(zeros), pressZstd(zeros)
	tests := map[string]string{
		"zlib":               arrayElement(zlib, f32, deflate, "MS:1000514"),
		"zstd":               arrayElement(standard, f32, "MS:1003780", "MS:1000514"),
		"shuffled":           arrayElement(standard, f32, "MS:1003781", "MS:1000514"),
		"dictionary":         arrayElement(pressZstd(dictionary), f32, "MS:1003782", "MS:1000514"),
		"Numpress and zlib":  arrayElement(squeeze(halves), "MS:1002747", "MS:1000514"),
		"Numpress and zstd":  arrayElement(pressZstd(halves), "MS:1003784", "MS:1000514"),
		"text":               arrayElement(standard, "MS:1001479", "MS:1003780", "MS:1000786"),
		"delta prediction":   arrayElement(zlib, f32, "MS:1003089", "MS:1000514"),
		"deflate, intensity": arrayElement(zlib, f32, deflate, "MS:1000515"),
	}
	for name, element := range tests {
		t.Run(name, func(t *testing.T) {
			content := document(spectrumList(spectrumElement(0, declared, "", element)))
			peak := peakOf(func() {
				got, problems, err := read([]byte(content), parsers.Limits{})
				if err != nil || !got.spectra[0].Lost || len(problems) == 0 {
					t.Errorf("%v %v", problems, err)
				}
			})
			if most := uint64(128 << 20); peak > most {
				t.Errorf("%d bytes of content took %d bytes of memory, want at most %d", len(content), peak, most)
			}
			t.Logf("%d bytes of content, %d bytes allocated in all", len(content), peak)
		})
	}
}

// peakOf gives the bytes that f allocates in all, which no peak can exceed.
func peakOf(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}
