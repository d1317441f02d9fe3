package scenario

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
)

// material is one standard of the laboratory, as the standards list has it.
type material struct {
	id, lot, maker, certificate string
	preparedBy, preparedOn      string
	opened, expires             string
	values                      []assigned
	uncertainty                 float64 // expanded, relative
}

// assigned is the value of a material for one analyte.
type assigned struct {
	analyte string
	value   float64
	unit    string
}

const (
	inHouse  = "prepared in house"
	norrholt = "Norrholt Reference Materials (invented)"
)

// Ids of the materials that are named one by one.
const (
	dichromateLot        = "UV-CR-100-26"
	dichromateExpiredLot = "UV-CR-100-25"
	ethanolReference     = "DM-REF-40"
)

// materials lists all standards of the survey.
func materials() []material {
	var all []material
	for _, set := range []struct {
		prefix string
		panel  []measurand
		levels []float64
	}{
		{"GC", congeners, levels}, {"LC", phenolics, levels}, {"PM", elements, metalLevels},
	} {
		for i, fraction := range set.levels {
			all = append(all, material{
				id: calibrant(set.prefix, i), lot: set.prefix + "-26-01", maker: inHouse,
				preparedBy: "Runa Falk (invented)", preparedOn: "2026-02-23", opened: "2026-02-27", expires: "2026-05-31",
				values: fractionOf(set.panel, fraction), uncertainty: 0.005,
			})
		}
		// The check standards come from another maker, so that they verify the calibrants.
		for _, check := range []struct {
			id       string
			fraction float64
		}{{secondSource(set.prefix), 0.4}, {checkStandard(set.prefix), 0.25}} {
			all = append(all, material{
				id: check.id, lot: "N-" + set.prefix + "-7714", maker: norrholt, certificate: "N-7714 (invented)",
				opened: "2026-02-27", expires: "2026-12-31",
				values: fractionOf(set.panel, check.fraction), uncertainty: 0.01,
			})
		}
	}
	var chromate []assigned
	for _, a := range absorbances {
		chromate = append(chromate, assigned{a.name, certified(a.wavelength), "1"})
	}
	return append(all,
		material{id: dichromateLot, lot: "N-CR-8802", maker: norrholt, certificate: "N-8802 (invented)",
			opened: "2026-02-27", expires: "2026-09-30", values: chromate, uncertainty: 0.005},
		material{id: dichromateExpiredLot, lot: "N-CR-7391", maker: norrholt, certificate: "N-7391 (invented)",
			opened: "2025-03-03", expires: "2026-02-28", values: chromate, uncertainty: 0.005},
		material{id: ethanolReference, lot: "N-EW-6120", maker: norrholt, certificate: "N-6120 (invented)",
			opened: "2026-03-02", expires: "2026-08-31", uncertainty: 0.0005,
			values: []assigned{{strengthName, 40, "% vol"}, {densityName, 0.94805, "g/cm³"}}},
	)
}

func calibrant(prefix string, level int) string { return fmt.Sprintf("%s-CAL-%d", prefix, level+1) }
func secondSource(prefix string) string         { return prefix + "-QC-2" }
func checkStandard(prefix string) string        { return prefix + "-CCV-1" }

func fractionOf(panel []measurand, fraction float64) []assigned {
	var values []assigned
	for _, m := range panel {
		values = append(values, assigned{m.name, tidy(m.top * fraction), m.unit})
	}
	return values
}

// tidy removes the binary dust of a product, so that documents show the value meant.
func tidy(v float64) float64 { return math.Round(v*1e6) / 1e6 }

// solutionOf gives what a standard holds.
func solutionOf(id string) solution {
	for _, m := range materials() {
		if m.id == id {
			s := solution{amounts: map[string]float64{}}
			for _, v := range m.values {
				s.amounts[v.analyte] = v.value
			}
			if id == dichromateLot || id == dichromateExpiredLot {
				s.spectrum = dichromate
			}
			return s
		}
	}
	panic("scenario: no standard " + id)
}

// standardsCSV writes the standards list.
func standardsCSV() []byte {
	rows := [][]string{
		{"document", "standards", "name", "standards-2026", "version", "1", "author", "Runa Falk (invented)"},
		{"standard_id", "lot", "maker", "certificate", "parent", "prepared_by", "prepared_on", "opened", "expires",
			"analyte", "value", "unit", "uncertainty", "k", "purity"},
	}
	for _, m := range materials() {
		for _, v := range m.values {
			rows = append(rows, []string{m.id, m.lot, m.maker, m.certificate, "", m.preparedBy, m.preparedOn, m.opened, m.expires,
				v.analyte, number(v.value), v.unit, strconv.FormatFloat(v.value*m.uncertainty, 'g', 2, 64), "2", ""})
		}
	}
	return csvBytes(rows)
}

// number writes a number with the digits that it needs.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// csvBytes writes rows as comma separated text.
func csvBytes(rows [][]string) []byte {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	for _, row := range rows {
		w.Write(row) // a bytes.Buffer never fails
	}
	w.Flush()
	return out.Bytes()
}
