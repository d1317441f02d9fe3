package mzml

import (
	"encoding/hex"
	"errors"
	"math"
	"testing"
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
