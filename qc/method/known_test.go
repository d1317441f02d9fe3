package method

import (
	"os"
	"strings"
	"testing"

	"underbond/parsers/parserstest"
	"underbond/qc/catalogue"
)

func shipped(name string) (Known, error) {
	entry, err := catalogue.Shipped().Find(name)
	if err != nil {
		return Known{}, err
	}
	return Known{Name: entry.Name, CAS: append([]string{entry.CAS}, entry.AlsoCAS...)}, nil
}

func TestParseKnownBad(t *testing.T) {
	parserstest.Bad(t, os.DirFS("testdata/unknown"), func(file string, data []byte) error {
		if _, err := Parse(file, data); err != nil {
			t.Errorf("faults besides the names: %v", err)
		}
		_, err := ParseKnown(file, data, shipped)
		return err
	})
}

func TestParseKnown(t *testing.T) {
	data, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := ParseKnown("good.yaml", data, shipped)
	if err != nil || m.Analytes[0].Name != "methanol" {
		t.Fatalf("%v, %v", m, err)
	}
	// An internal standard need not be in the catalogue.
	other := strings.Replace(strings.Replace(string(data), "name: pentan-3-ol", "name: an invented alcohol", 1), "584-02-1", "67-56-1", 1)
	if _, err := ParseKnown("good.yaml", []byte(other), shipped); err != nil {
		t.Error(err)
	}
	if _, err := ParseKnown("bad.yaml", []byte("kind: method\n"), shipped); err == nil {
		t.Error("a document that cannot be parsed has no fault")
	}
}
