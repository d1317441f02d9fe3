package fault

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"testing"

	"underbond/qc"
	"underbond/testdata/demo"
)

// A corpus is small, invented and free of noise, so that what must come out of it can be
// written down before it goes in: one run of a gas chromatograph with its calibrants,
// blank, check standards and duplicate; one run of a density meter whose strengths the
// chromatograph's results per hectolitre of pure alcohol use; and files with which
// something is wrong.

// Roots of the laboratory, as the configuration names them.
const (
	rootDocuments = "documents"
	rootGC        = "gc-1"
	rootDM        = "dm-1"
)

// Batches and the exports they are made from.
const (
	congenerBatch = "GC-F-001"
	strengthBatch = "DM-F-001"
	congenerFile  = congenerBatch + ".csv"
	strengthFile  = strengthBatch + ".csv"
)

// drop is one file as somebody writes it, with what must come of it.
type drop struct {
	Root, Path string
	Bytes      []byte
	// Outcome is the state in which the file must end; Code, for a refusal, how it begins.
	Outcome, Code string
	// Rows is how many acquisitions of the file must be recorded.
	Rows int
	// Values are results that readers must have afterwards, unless a later drop says otherwise.
	Values []value
}

func (d drop) sum() [sha256.Size]byte { return sha256.Sum256(d.Bytes) }

// value is one result that must be released.
type value struct {
	Sample, Analyte, Basis string
	Value                  float64
}

// phases are what is dropped together. Each phase is dropped when the one before has come to rest.
func phases(t testing.TB) [][]drop {
	first := firstRun
	corrected := []strength{first[0], first[1], {"3", "S-2", 44.12}, first[3], first[4]}
	checked := []strength{{"1", "EW-40", 40.02}, corrected[1], corrected[2], corrected[3], corrected[4]}
	good := congenerRun(congenerBatch)
	return [][]drop{
		append(documents(t),
			drop{Root: rootGC, Path: congenerFile, Bytes: []byte(good), Outcome: "recorded", Rows: 11, Values: congenerValues()},
			drop{Root: rootDM, Path: strengthFile, Bytes: strengthLog(first), Outcome: "recorded", Rows: 5, Values: strengthValues(first)},
			drop{Root: rootGC, Path: "faulty.csv", Bytes: []byte(strings.Replace(congenerRun("GC-F-002"), "800.000", "8oo.000", 1)), Outcome: "refused", Code: "delimited-number"},
			drop{Root: rootGC, Path: "cut.csv", Bytes: []byte(cut(congenerRun("GC-F-003"))), Outcome: "refused", Code: "incomplete"},
			drop{Root: rootDM, Path: "notes.txt", Bytes: []byte("bottle;remark\nS-1;cork was loose\n"), Outcome: "waiting"},
		),
		// One number of many changes: one acquisition is revised, the others are not.
		{{Root: rootDM, Path: strengthFile, Bytes: strengthLog(corrected), Outcome: "recorded", Rows: 1, Values: strengthValues(corrected)}},
		// A check standard changes: everything released from the run rests on it.
		{{Root: rootDM, Path: strengthFile, Bytes: strengthLog(checked), Outcome: "recorded", Rows: 1, Values: strengthValues(checked)}},
	}
}

// cut takes the last third off an export, within a line.
func cut(export string) string { return export[:len(export)*2/3] }

// Amounts in mg/L.
type amounts struct{ methanol, ethylAcetate float64 }

var congenerSamples = map[string]amounts{"S-1": {900, 400}, "S-2": {2000, 150}}

var congenerStandards = map[string]amounts{
	"CAL-1": {30, 12.5}, "CAL-2": {300, 125}, "CAL-3": {1500, 625}, "CAL-4": {3000, 1250}, "CAL-5": {6000, 2500}, "CCV": {2400, 1000},
}

// congenerRun is a peak table of 11 injections. Responses are exactly proportional.
func congenerRun(run string) string {
	var out strings.Builder
	out.WriteString("Sequence,Injection,Vial,Sample Name,Injected,Peak,Ret. Time [min],Area [pA*s],Height [pA],Integration\r\n")
	row := func(n int, title, peak string, retention, area float64) {
		fmt.Fprintf(&out, "%s,%d,%d,%s,03.03.2026 %02d:%02d:00,%s,", run, n, n, title, 8+n/3, n%3*20, peak)
		if area > 0 {
			fmt.Fprintf(&out, "%.3f,%.3f,%.3f,BB\r\n", retention, area, area/2)
		} else {
			out.WriteString("n.d.,n.d.,n.d.,\r\n")
		}
	}
	titles := []string{"CAL-1", "CAL-2", "CAL-3", "CAL-4", "CAL-5", "Blank", "CCV", "S-1", "S-2", "S-1 dup", "CCV"}
	for i, title := range titles {
		a, isStandard := congenerStandards[title]
		if !isStandard {
			a = congenerSamples[strings.TrimSuffix(title, " dup")]
		}
		row(i+1, title, "Ethyl acetate", 4.118, a.ethylAcetate*1.2)
		row(i+1, title, "Methanol", 4.707, a.methanol*1.1)
		row(i+1, title, "Pentan-3-ol", 9.377, 800)
	}
	fmt.Fprintf(&out, "End of sequence, %d rows\r\n", 3*len(titles))
	return out.String()
}

// strength is one line of the density meter's log.
type strength struct {
	vial, title string
	value       float64 // % vol
}

func strengthLog(lines []strength) []byte {
	var out strings.Builder
	out.WriteString("No.,Measured,Vial,Sample,Cell [°C],Density [g/cm³],Alcohol [% vol],Remark\r\n")
	for i, l := range lines {
		fmt.Fprintf(&out, "%d,2026-03-02 08:%02d:00,%s,%s,20.00,0.94500,%.2f,\r\n", i+1, 10+6*i, l.vial, l.title, l.value)
	}
	return []byte(out.String())
}

func congenerValues() []value {
	var list []value
	for sample, a := range congenerSamples {
		list = append(list, value{sample, "methanol", qc.BasisAsIs, a.methanol}, value{sample, "ethyl acetate", qc.BasisAsIs, a.ethylAcetate})
	}
	return list
}

// strengthValues are the strengths and what follows from them per hectolitre of pure alcohol.
func strengthValues(lines []strength) []value {
	var list []value
	for _, l := range lines {
		a, isSample := congenerSamples[l.title]
		if !isSample {
			continue
		}
		list = append(list, value{l.title, "strength", qc.BasisAsIs, l.value},
			value{l.title, "methanol", qc.BasisPerAlcohol, a.methanol * 10 / l.value},
			value{l.title, "ethyl acetate", qc.BasisPerAlcohol, a.ethylAcetate * 10 / l.value})
	}
	return list
}

// documents are the laboratory's papers.
func documents(t testing.TB) []drop {
	list := []drop{
		{Path: "methods/congeners.yaml", Bytes: []byte(congenerMethod)},
		{Path: "methods/strength.yaml", Bytes: []byte(strengthMethod)},
		{Path: "register.csv", Bytes: []byte(register)},
		{Path: "standards.csv", Bytes: standardsList()},
		{Path: "worklists/" + congenerBatch + ".csv", Bytes: []byte(congenerWorklist)},
		{Path: "worklists/" + strengthBatch + ".csv", Bytes: []byte(strengthWorklist)},
	}
	for _, name := range []string{"gc-peak-table", "density-log"} {
		data, err := demo.Documents.ReadFile("profiles/" + name + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, drop{Path: "profiles/" + name + ".yaml", Bytes: data})
	}
	for i := range list {
		list[i].Root, list[i].Outcome = rootDocuments, "recorded"
	}
	return list
}
