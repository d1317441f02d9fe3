package register

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
	want := &Register{Name: "county-survey-2026", Version: "1", Samples: []Sample{
		{ID: "AS-001", Lot: "L7", Category: "cider spirit", ReceivedAt: "2026-03-01T09:30:00+01:00", Producer: "Nether Orchard (invented)", OpenedAt: "2026-03-02",
			Claim: Claim{AgeYears: number(12), Origin: []Component{{"Westmark", number(60)}, {"Lower Ostel", number(40)}}, Status: "declared"}, Row: 3},
		{ID: "AS-002", Category: "perry spirit", ReferenceMaterial: true, Claim: Claim{Origin: []Component{{"Westmark", nil}, {"Ostel", nil}}}, Row: 4},
		{ID: "AS-003", Category: "perry spirit", Claim: Claim{AgeYears: number(0), Origin: []Component{{"Westmark", number(100)}}, Status: "documented"}, Row: 5},
	}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
}

func FuzzParse(f *testing.F) {
	parserstest.Seeds(f, os.DirFS("testdata"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := Parse("f", data)
		if (r == nil) != (err != nil) {
			t.Fatalf("%v, %v", r, err)
		}
	})
}
