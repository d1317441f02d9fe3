package scenario

// massSeries are the coefficients A1 to A12 of OIML R 22 (1975): the density in kg/m³ of
// a mixture of ethanol and water at 20 °C as a polynomial in the mass fraction of ethanol.
var massSeries = []float64{
	9.982012300e2, -1.929769495e2, 3.891238958e2, -1.668103923e3, 1.352215441e4, -8.829278388e4,
	3.062874042e5, -6.138381234e5, 7.470172998e5, -5.478461354e5, 2.234460334e5, -3.903285426e4,
}

func densityOfMassFraction(p float64) float64 {
	sum := 0.0
	for i := len(massSeries) - 1; i >= 0; i-- {
		sum = sum*p + massSeries[i]
	}
	return sum
}

// densityAt20 is the density in kg/m³ at 20 °C of a mixture of ethanol and water with
// the given strength in % vol. The strength by volume is the mass fraction times the
// density over that of pure ethanol; it rises with the mass fraction, which halving finds.
func densityAt20(strength float64) float64 {
	pure := densityOfMassFraction(1)
	low, high := 0.0, 1.0
	for range 60 {
		mid := (low + high) / 2
		if 100*mid*densityOfMassFraction(mid)/pure < strength {
			low = mid
		} else {
			high = mid
		}
	}
	return densityOfMassFraction((low + high) / 2)
}
