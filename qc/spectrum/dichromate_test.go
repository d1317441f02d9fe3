package spectrum

import (
	"math"
	"strconv"
	"testing"

	"underbond/parsers/parserstest"
)

// Nominal absorbances of potassium dichromate in 0.001 M perchloric acid: as a spectrum
// of four points, they come back at their wavelengths, through transmittance, and as
// ratios of bands that do not depend on the concentration by more than rounding.
func TestDichromate(t *testing.T) {
	wavelengths := []float64{235, 257, 313, 350}
	for _, row := range parserstest.Reference(t, "dichromate_nominal_absorbance.csv") {
		s := Spectrum{X: wavelengths, Unit: "nm"}
		for _, cell := range row[1:] {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			s.Y = append(s.Y, v)
		}
		back := s.Transmittance(Percent).Absorbance(Percent)
		for i, nm := range wavelengths {
			got, err := back.At(nm)
			if err != nil {
				t.Fatal(err)
			}
			near(t, row[0]+" mg/L", got, s.Y[i], 1e-14)
		}
		ratio, err := Ratio(s.Y[1], s.Y[3])
		if err != nil {
			t.Fatal(err)
		}
		// Both to 0.0005; some parts in a thousand are the nominal values' own curvature.
		near(t, row[0]+" mg/L: A257/A350", ratio, 1.345, 0.01+0.0005*(1+ratio)/math.Abs(s.Y[3]))
	}
}
