package mzml

import (
	"fmt"
	"math"
	"testing"

	"underbond/parsers"
)

func TestSelections(t *testing.T) {
	mz := func(accession, value string) string { return cvUnit(accession, value, "MS:1000040") }
	window := "<isolationWindow>" + mz("MS:1000827", "445.25") + mz("MS:1000828", "0.5") + mz("MS:1000829", "1.5") + "</isolationWindow>"
	ions := `<selectedIonList count="2"><selectedIon>` + mz("MS:1000744", "445.34") + cv("MS:1000041", "2") + cv("MS:1000042", "120053") +
		"</selectedIon><selectedIon>" + mz("MS:1000744", "446.1") + "</selectedIon></selectedIonList>"
	activation := "<activation>" + cv("MS:1000133", "") + cv("MS:1002679", "") + cvUnit("MS:1000045", "35", "UO:0000266") + "</activation>"
	scans := `<scanList count="2"><scan>` + `<scanWindowList count="1"><scanWindow>` + mz("MS:1000501", "100") + mz("MS:1000500", "900") +
		"</scanWindow></scanWindowList></scan><scan><scanWindowList><scanWindow>" + mz("MS:1000501", "1") + "</scanWindow></scanWindowList></scan></scanList>"
	nan := math.NaN()
	none := parsers.Window{Target: nan, Low: nan, High: nan}
	tests := map[string]struct {
		inner   string
		want    []parsers.Precursor
		windows []parsers.Window
		codes   []string
	}{
		"nothing": {"", nil, nil, nil},
		"all": {scans + `<precursorList count="1"><precursor spectrumRef="scan=19">` + window + ions + activation + "</precursor></precursorList>",
			[]parsers.Precursor{{SpectrumID: "scan=19", Isolation: parsers.Window{Target: 445.25, Low: 444.75, High: 446.75},
				Ions:       []parsers.Ion{{MZ: 445.34, Charge: 2, Intensity: 120053}, {MZ: 446.1, Intensity: nan}},
				Activation: []string{"collision-induced dissociation", "supplemental collision-induced dissociation"}, Energy: 35}},
			[]parsers.Window{{Target: nan, Low: 100, High: 900}}, nil},
		"two": {"<precursorList><precursor>" + window + "</precursor><precursor/></precursorList>",
			[]parsers.Precursor{{Isolation: parsers.Window{Target: 445.25, Low: 444.75, High: 446.75}, Energy: nan}, {Isolation: none, Energy: nan}}, nil, nil},
		"target only": {"<precursorList><precursor><isolationWindow>" + mz("MS:1000827", "445.25") + "</isolationWindow></precursor></precursorList>",
			[]parsers.Precursor{{Isolation: parsers.Window{Target: 445.25, Low: nan, High: nan}, Energy: nan}}, nil, nil},
		"energy in percent": {"<precursorList><precursor><activation>" + cvUnit("MS:1000045", "35", "UO:0000187") + "</activation></precursor></precursorList>",
			[]parsers.Precursor{{Isolation: none, Energy: nan}}, nil, nil},
		"not readable": {`<precursorList><precursor><selectedIonList><selectedIon>` + mz("MS:1000744", "high") + cv("MS:1000041", "2.5") + "</selectedIon></selectedIonList></precursor></precursorList>",
			[]parsers.Precursor{{Isolation: none, Ions: []parsers.Ion{{MZ: nan, Intensity: nan}}, Energy: nan}}, nil, []string{CodeValue}},
		"ions without a precursor": {"<scanList><scan><selectedIonList><selectedIon>" + mz("MS:1000744", "5") + "</selectedIon></selectedIonList><activation/><isolationWindow>" +
			mz("MS:1000827", "5") + "</isolationWindow></scan></scanList>", nil, nil, nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, problems := mustRead(t, document(spectrumList(spectrumElement(0, 1, tt.inner, mzArray(1), intensityArray(1)))))
			wantCodes(t, problems, tt.codes...)
			s := got.spectra[0]
			if fmt.Sprintf("%+v", s.Precursors) != fmt.Sprintf("%+v", tt.want) || fmt.Sprintf("%+v", s.ScanWindows) != fmt.Sprintf("%+v", tt.windows) {
				t.Errorf("%+v %+v, want %+v %+v", s.Precursors, s.ScanWindows, tt.want, tt.windows)
			}
		})
	}
}
