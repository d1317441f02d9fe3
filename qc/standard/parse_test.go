package standard

import (
	"os"
	"reflect"
	"testing"

	"underbond/parsers/parserstest"
)

func TestParseBad(t *testing.T) {
	parserstest.Bad(t, os.DirFS("testdata/bad"), func(file string, data []byte) error {
		_, err := Parse(file, data)
		return err
	})
}

func TestParseGood(t *testing.T) {
	data, err := os.ReadFile("testdata/good.csv")
	if err != nil {
		t.Fatal(err)
	}
	got, err := Parse("good.csv", data)
	if err != nil {
		t.Fatal(err)
	}
	number := func(x float64) *float64 { return &x }
	want := &List{Name: "standards-2026", Version: "1", Standards: []Standard{
		{ID: "S-1", Lot: "L1", Maker: "Alder Reference (invented)", Certificate: "C-77", Opened: "2026-01-02", Expires: "2027-01-01", Values: []Value{
			{Analyte: "methanol", Value: 1000, Unit: "mg/L", Uncertainty: number(5), K: number(2), Purity: number(0.999), Row: 3},
			{Analyte: "acetal", Value: 10.5, Unit: "mg/L", Row: 4},
		}},
		{ID: "S-2", Lot: "L2", Parent: "S-1", PreparedBy: "Ida Morrow (invented)", PreparedOn: "2026-02-01", Values: []Value{
			{Analyte: "methanol", Value: 100, Unit: "mg/L", Row: 5},
		}},
	}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
}

func FuzzParse(f *testing.F) {
	parserstest.Seeds(f, os.DirFS("testdata"))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := Parse("f", data)
		if (l == nil) != (err != nil) {
			t.Fatalf("%v, %v", l, err)
		}
	})
}
