package scenario

import "math"

// baselineAt is the wavelength in nm at which nothing in a spirit absorbs.
const baselineAt = 700

// spectrum is absorbance over wavelength: bands and tails added up.
type spectrum struct {
	bands []band
	tails []tail
}

// band is a Gaussian band.
type band struct{ centre, width, height float64 }

// tail falls off exponentially from height at 420 nm, by a factor e every decay nm.
type tail struct{ height, decay float64 }

// at is the absorbance at a wavelength in nm.
func (s spectrum) at(nm float64) float64 {
	a := 0.0
	for _, b := range s.bands {
		z := (nm - b.centre) / b.width
		a += b.height * math.Exp(-z*z/2)
	}
	for _, t := range s.tails {
		a += t.height * math.Exp(-(nm-420)/t.decay)
	}
	return a
}

// absorptivity is the absorbance of 1 mg/L at 280 nm in 1 cm, rounded from molar
// absorptivities near 15 000 L/(mol·cm) for the furans and less for the phenols.
var absorptivity = map[string]float64{
	"gallic acid": 0.050, "ellagic acid": 0.030, "vanillic acid": 0.030, "syringic acid": 0.040,
	"vanillin": 0.065, "syringaldehyde": 0.050, "coniferaldehyde": 0.040, "sinapaldehyde": 0.030,
	"scopoletin": 0.030, "furfural": 0.150, "5-hydroxymethylfurfural": 0.130,
}

// colour is the spectrum that phenolics, years in wood and caramel make. Charcoal takes
// the colour and leaves most of the rest.
func (c *chemistry) colour(h history, n noise) spectrum {
	at280 := 0.0
	for _, m := range phenolics {
		at280 += absorptivity[m.name] * c.amounts[m.name]
	}
	brown := map[string]float64{oak: 0.10 + 0.034*h.years, chestnut: 0.12 + 0.045*h.years, acacia: 0.11 + 0.036*h.years}[h.wood]
	brown *= n.scatter(0.05)
	if h.charcoal {
		brown = 0.028
	}
	s := spectrum{
		bands: []band{{280, 16, at280}, {214, 17, 1.3*at280 + 0.9}},
		tails: []tail{{brown, 75}},
	}
	if h.caramel > 0 {
		s.tails = append(s.tails, tail{0.5 * h.caramel, 110})
	}
	return s
}

// dichromate is potassium dichromate, 100 mg/L in dilute acid. The absorbances at 257 and
// 350 nm are typical published values (1.452 and 1.074), the one at 430 nm follows from
// the specific absorbance 15.9 of the pharmacopoeia; the course between them is invented.
var dichromate = spectrum{bands: []band{
	{257, 21, 1.45152}, {352, 24, 1.05437}, {440, 46, 0.15731},
}}

// certified gives the values of the invented certificate of the dichromate solution.
func certified(wavelength float64) float64 {
	return math.Round(1e4*(dichromate.at(wavelength)-dichromate.at(baselineAt))) / 1e4
}
