package qc

import (
	"underbond/qc/method"
	mixture "underbond/qc/strength"
	"underbond/qc/unit"
)

// Units of the formula of OIML R 22.
const (
	densityUnit     = "kg/m³"
	temperatureUnit = "°C"
)

// readStrength computes the strength in % vol at 20 °C from the density and temperature
// cells of the only row, by OIML R 22. Cells without a unit are not guessed at.
func readStrength(red *Reduction, source *method.DensitySource) reading {
	if len(red.Rows) != 1 {
		return nothing("a strength from density needs a table with one row, and this has %d", len(red.Rows))
	}
	row := &red.Rows[0]
	density, why := physical(row, source.Density, densityUnit)
	if why != nil {
		return *why
	}
	temperature, why := physical(row, source.Temperature, temperatureUnit)
	if why != nil {
		return *why
	}
	percent, err := mixture.OfDensity(density, temperature)
	if err != nil {
		return nothing("no strength by OIML R 22: %v", err)
	}
	return reading{state: readFound, value: percent, unit: strengthUnit}
}

// physical reads a cell in the unit asked for, or says why there is no number: of a
// limit or of nothing, no strength can be computed.
func physical(row *TableRow, meaning, wanted string) (float64, *reading) {
	r := readMeaning(row, meaning)
	if r.state != readFound {
		why := nothing("%s", r.reason)
		return 0, &why
	}
	v, err := unit.Convert(r.value, r.unit, wanted)
	if err != nil {
		why := nothing("line %d, %s: %v", row.Line, meaning, err)
		return 0, &why
	}
	return v, nil
}
