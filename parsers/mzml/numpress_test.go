package mzml

import (
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The vectors are those published with MS-Numpress (its unit tests), the bytes completed
// with the reference implementation 1.0.
func TestNumpressVectors(t *testing.T) {
	tests := map[string]struct {
		decode func([]float64, []byte, int) ([]float64, error)
		bytes  string
		want   []float64
	}{
		"linear 1":       {numpressLinear, "40f86a000000000080969800", []float64{100}},
		"linear 2":       {numpressLinear, "40f86a000000000080969800002d3101", []float64{100, 200}},
		"linear 4":       {numpressLinear, "40f86a000000000080969800002d31017580", []float64{100, 200, 300.00005, 400.0001}},
		"linear steady":  {numpressLinear, "40f86a000000000080969800201d9a0088", []float64{100, 101, 102, 103}},
		"linear falling": {numpressLinear, "40f86a000000000080969800002d3101759006ad9d", []float64{100, 200, 300.00005, 0.0001}},
		"linear none":    {numpressLinear, "40f86a0000000000", nil},
		"slof 4":         {numpressSlof, "40c388000000000047b429cfefde24ea", []float64{99.99792782029016, 199.99901348254676, 299.9969103264457, 400.01546794838396}},
		"slof 0 and 1":   {numpressSlof, "40a770000000000000001f08e7a1", []float64{0, 0.9997056605411638, 1000155.1208879905}},
		"pic":            {numpressPic, "64668c5c21509158c2", []float64{100, 200, 300, 400, 712}},
		"pic zeros":      {numpressPic, "887183000010effffff7", []float64{0, 0, 1, 0, 65536, 2147483646}},
		"pic rounding":   {numpressPic, "8717273636", []float64{0, 1, 2, 3, 99}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, err := hex.DecodeString(tt.bytes)
			if err != nil {
				t.Fatal(err)
			}
			got, err := tt.decode(nil, b, len(tt.want))
			if err != nil || len(got) != len(tt.want) {
				t.Fatalf("%v, %v, want %v", got, err, tt.want)
			}
			for i := range got {
				if !(math.Abs(got[i]-tt.want[i]) <= 1e-9*math.Abs(tt.want[i])) {
					t.Errorf("value %d: %v, want %v", i, got[i], tt.want[i])
				}
			}
			if len(tt.want) > 0 {
				if _, err := tt.decode(nil, b, len(tt.want)-1); !errors.Is(err, errNumpressLength) {
					t.Errorf("one value too many gives %v", err)
				}
			}
		})
	}
}

func TestNumpressDamaged(t *testing.T) {
	tests := map[string]struct {
		decode func([]float64, []byte, int) ([]float64, error)
		bytes  string
	}{
		"linear of 11 bytes":  {numpressLinear, "40f86a0000000000809698"},
		"linear of 14 bytes":  {numpressLinear, "40f86a000000000080969800002d"},
		"linear scale 0":      {numpressLinear, "000000000000000080969800"},
		"linear no half":      {numpressLinear, "40f86a000000000080969800002d310160"},
		"slof of odd length":  {numpressSlof, "40c388000000000047"},
		"slof scale cut":      {numpressSlof, "40c388"},
		"slof scale infinite": {numpressSlof, "7ff000000000000047b4"},
		"pic cut":             {numpressPic, "64668c5c215091f8"[:14] + "05"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, err := hex.DecodeString(tt.bytes)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := tt.decode(nil, b, 100); !errors.Is(err, errNumpressCut) {
				t.Errorf("%v, %v, want a damaged stream", got, err)
			}
		})
	}
}

// Encoders of the three codecs, after the same description as the decoders.

func appendFixedPoint(fp float64) []byte {
	return binary.BigEndian.AppendUint64(nil, math.Float64bits(fp))
}

// halfWriter appends half bytes, the high one of a byte first.
type halfWriter struct {
	b   []byte
	odd bool
}

func (w *halfWriter) put(half uint32) {
	if w.odd {
		w.b[len(w.b)-1] |= byte(half & 0xF)
	} else {
		w.b = append(w.b, byte(half<<4))
	}
	w.odd = !w.odd
}

// int32 writes how many leading half bytes are all zeros (0 to 8) or, with 8 added, all
// ones (1 to 7), and then the others, the lowest first.
func (w *halfWriter) int32(v int32) {
	skip, head := 0, uint32(0)
	for skip < 8 && uint32(v)>>(28-4*skip)&0xF == 0 {
		skip++
	}
	head = uint32(skip)
	if skip == 0 {
		for skip < 7 && uint32(v)>>(28-4*skip)&0xF == 0xF {
			skip++
		}
		if skip > 0 {
			head = uint32(8 + skip)
		}
	}
	w.put(head)
	for i := range 8 - skip {
		w.put(uint32(v) >> (4 * i))
	}
}

func encodeLinear(x []float64, fp float64) []byte {
	b := appendFixedPoint(fp)
	var last [2]int64
	w := halfWriter{b: b}
	for i, v := range x {
		n := int64(v*fp + 0.5)
		if i < 2 {
			w.b = binary.LittleEndian.AppendUint32(w.b, uint32(n))
		} else {
			w.int32(int32(n - (2*last[1] - last[0])))
		}
		last[0], last[1] = last[1], n
	}
	return w.b
}

func encodePic(x []float64) []byte {
	var w halfWriter
	for _, v := range x {
		w.int32(int32(v + 0.5))
	}
	return w.b
}

func encodeSlof(x []float64, fp float64) []byte {
	b := appendFixedPoint(fp)
	for _, v := range x {
		b = binary.LittleEndian.AppendUint16(b, uint16(math.Log(v+1)*fp+0.5))
	}
	return b
}

// The test's encoders give the published bytes.
func TestNumpressEncoders(t *testing.T) {
	for name, tt := range map[string]struct {
		got  []byte
		want string
	}{
		"linear":         {encodeLinear([]float64{100, 200, 300.00005, 400.0001}, 1e5), "40f86a000000000080969800002d31017580"},
		"linear falling": {encodeLinear([]float64{100, 200, 300.00005, 0.0001}, 1e5), "40f86a000000000080969800002d3101759006ad9d"},
		"linear steady":  {encodeLinear([]float64{100, 101, 102, 103}, 1e5), "40f86a000000000080969800201d9a0088"},
		"slof":           {encodeSlof([]float64{100, 200, 300.00005, 400.0001}, 1e4), "40c388000000000047b429cfefde24ea"},
		"slof small":     {encodeSlof([]float64{0, 1, 1e6}, 3000), "40a770000000000000001f08e7a1"},
		"pic":            {encodePic([]float64{100, 200, 300, 400, 712}), "64668c5c21509158c2"},
		"pic zeros":      {encodePic([]float64{0, 0, 1, 0, 65536, 2147483646}), "887183000010effffff7"},
		"pic rounding":   {encodePic([]float64{0.4, 0.5, 1.5, 2.5, 99.49}), "8717273636"},
	} {
		if got := hex.EncodeToString(tt.got); got != tt.want {
			t.Errorf("%s: %s, want %s", name, got, tt.want)
		}
	}
}

// Published sizes of seven values from 100 to 700.0001 at four accuracies.
func TestNumpressSizes(t *testing.T) {
	x := []float64{100, 200, 300.00005, 400.00010, 450.00010, 455.00010, 700.00010}
	for accuracy, want := range map[float64]int{0.1: 22, 1e-3: 25, 1e-5: 29, 1e-6: 30} {
		if got := len(encodeLinear(x, 0.5/accuracy)); got != want {
			t.Errorf("%g: %d bytes, want %d", accuracy, got, want)
		}
	}
}

// What is encoded is decoded to the last step of the scale, bare and compressed.
func TestNumpressGivesBack(t *testing.T) {
	outer := map[string]struct {
		press func([]byte) []byte
		term  term
	}{
		"bare": {func(b []byte) []byte { return b }, 0},
		"zlib": {squeeze, termNumpressLinearZlib - termNumpressLinear},
		"zstd": {pressZstd, termNumpressLinearZstd - termNumpressLinear},
	}
	for name, o := range outer {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				fp := float64(rapid.IntRange(1, 50000).Draw(t, "scale"))
				steps := rapid.SliceOfN(rapid.Int32Range(0, 1<<29), 0, 40).Draw(t, "steps")
				var x []float64
				for _, n := range steps {
					x = append(x, float64(n)/fp)
				}
				if got := decodeAll(t, o.press(encodeLinear(x, fp)), len(x), termNumpressLinear+o.term).values; !slices.Equal(got, x) {
					t.Fatalf("linear: %v, want %v", got, x)
				}
				for i := range x {
					x[i] = float64(steps[i])
				}
				if got := decodeAll(t, o.press(encodePic(x)), len(x), termNumpressPic+o.term).values; !slices.Equal(got, x) {
					t.Fatalf("pic: %v, want %v", got, x)
				}
				fp = math.Min(fp, 3000)
				for i := range x {
					x[i] = math.Exp(float64(uint16(steps[i]))/fp) - 1
				}
				got := decodeAll(t, o.press(encodeSlof(x, fp)), len(x), termNumpressSlof+o.term).values
				if !slices.EqualFunc(got, x, func(a, b float64) bool { return a == b || math.Abs(a-b) <= 1e-9*b }) {
					t.Fatalf("slof: %v, want %v", got, x)
				}
			})
		})
	}
}
