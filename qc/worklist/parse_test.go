package worklist

import (
	"bytes"
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
	w, err := Parse("good.csv", data)
	if err != nil {
		t.Fatal(err)
	}
	want := &Worklist{
		Name: "GC-2026-031", Version: "2", Method: "congeners-gc", Instrument: "GC-1",
		Author: "Ida Morrow (invented)", Reason: "vial 7 was position 6",
		Lines: []Line{
			{Position: 1, Run: "R31", Vial: "1", Role: RoleCalBlank, Dilution: 1, Row: 3},
			{Position: 2, Run: "R31", Vial: "2", Role: RoleStandard, Standards: []string{"S-1", "S-2"}, Dilution: 1, Row: 4},
			{Position: 3, Run: "R31", PrepBatch: "P7", Vial: "3", Role: RoleMethodBlank, Dilution: 1, Row: 5},
			{Position: 4, Run: "R31", PrepBatch: "P7", PrepID: "a", Vial: "4", Sample: "AS-001", Role: RoleSample, Dilution: 1, Row: 7},
			{Position: 5, Run: "R31", PrepBatch: "P7", PrepID: "a", File: "run31.csv", Vial: "5", Sample: "AS-002", Role: RoleSample, Dilution: 10, Row: 6},
			{Position: 6, Run: "R31", PrepBatch: "P7", PrepID: "b", Vial: "6", Sample: "AS-001", Role: RoleDuplicate, Dilution: 1, Parent: 4, Row: 10},
			{Position: 7, Run: "R31", PrepBatch: "P7", PrepID: "c", Vial: "7", Sample: "AS-001", Role: RoleSpike, Dilution: 1, Parent: 4, Row: 11,
				Nominals: []Nominal{{"methanol", 100, "mg/L"}, {"acetal", 5, "mg/L"}}},
			{Position: 8, Run: "R31", Vial: "8", Role: RoleCheck, Standards: []string{"S-9"}, Dilution: 1, Row: 12,
				Nominals: []Nominal{{"1,1-diethoxyethane", 5, "mg/L"}}},
		},
	}
	if !reflect.DeepEqual(w, want) {
		t.Errorf("got %+v\nwant %+v", w, want)
	}
	for name, variant := range map[string][]byte{
		"CRLF":            bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n")),
		"byte order mark": append([]byte("\ufeff"), data...),
	} {
		if got, err := Parse("good.csv", variant); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	parserstest.Seeds(f, os.DirFS("testdata"))
	f.Fuzz(func(t *testing.T, data []byte) {
		w, err := Parse("f", data)
		if (w == nil) != (err != nil) {
			t.Fatalf("%v, %v", w, err)
		}
	})
}
