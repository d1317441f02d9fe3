package scenario

// measurand is one analyte of a method: how far it can be measured, and how it shows in
// the instrument.
type measurand struct {
	name string
	unit string
	// top and floor are the highest and the lowest calibrant, in unit, in the measured
	// solution. The floor is the limit of quantitation.
	top, floor float64
	// label is how the export prints its name, quoted where it holds a comma.
	label string
	// retention is in minutes, on a chromatograph.
	retention float64
	// response is the instrument's response to an amount of top.
	response float64
}

// levels are the calibrants of a curve as fractions of the top one.
var levels = []float64{0.005, 0.02, 0.1, 0.25, 0.5, 1}

// metalLevels are those of the plasma mass spectrometer.
var metalLevels = []float64{0.002, 0.01, 0.05, 0.2, 0.5, 1}

// congeners are what the gas chromatograph measures; responses are areas in pA·s.
var congeners = []measurand{
	{"acetaldehyde", "mg/L", 500, 2.5, "Acetaldehyde", 2.613, 520},
	{"ethyl acetate", "mg/L", 2500, 12.5, "Ethyl acetate", 4.118, 3150},
	{"acetal", "mg/L", 400, 2, `"1,1-Diethoxyethane"`, 4.482, 560},
	{"methanol", "mg/L", 6000, 30, "Methanol", 4.707, 6900},
	{"2-butanol", "mg/L", 400, 2, "2-Butanol", 6.951, 790},
	{"1-propanol", "mg/L", 1000, 5, "1-Propanol", 7.296, 1850},
	{"2-methyl-1-propanol", "mg/L", 800, 4, "2-Methyl-1-propanol", 8.924, 1640},
	{"1-butanol", "mg/L", 300, 1.5, "1-Butanol", 10.047, 590},
	{"2-methyl-1-butanol", "mg/L", 600, 3, "2-Methyl-1-butanol", 12.098, 1260},
	{"3-methyl-1-butanol", "mg/L", 2000, 10, "3-Methyl-1-butanol", 12.214, 4180},
}

// pentanol is the internal standard of the gas chromatograph: its area at 400 mg/L.
var pentanol = measurand{name: "pentan-3-ol", label: "Pentan-3-ol", retention: 9.377, response: 815}

// phenolics are what the liquid chromatograph measures; responses are peak heights in
// thousandths of an absorbance unit.
var phenolics = []measurand{
	{"gallic acid", "mg/L", 50, 0.25, "", 3.20, 620},
	{"5-hydroxymethylfurfural", "mg/L", 120, 0.6, "", 4.60, 1150},
	{"furfural", "mg/L", 60, 0.3, "", 5.90, 840},
	{"vanillic acid", "mg/L", 20, 0.1, "", 8.40, 310},
	{"syringic acid", "mg/L", 20, 0.1, "", 9.70, 370},
	{"vanillin", "mg/L", 20, 0.1, "", 11.30, 480},
	{"syringaldehyde", "mg/L", 40, 0.2, "", 12.70, 450},
	{"scopoletin", "mg/L", 5, 0.025, "", 14.20, 260},
	{"coniferaldehyde", "mg/L", 20, 0.1, "", 15.70, 330},
	{"sinapaldehyde", "mg/L", 20, 0.1, "", 17.00, 280},
	{"ellagic acid", "mg/L", 60, 0.3, "", 20.40, 540},
}

// orthoVanillin is the internal standard of the liquid chromatograph: its height at 10 mg/L.
var orthoVanillin = measurand{name: "2-hydroxy-3-methoxybenzaldehyde", retention: 18.50, response: 140}

// absorbances are what the spectrometer measures, as wavelengths in nanometres.
var absorbances = []struct {
	name       string
	wavelength float64
}{
	{"absorbance 280 nm", 280},
	{"absorbance 350 nm", 350},
	{"absorbance 420 nm", 420},
	{"absorbance 430 nm", 430},
	{"absorbance 520 nm", 520},
}

// absorbanceFloor is the limit of quantitation of an absorbance in the measured solution.
const absorbanceFloor = 0.003

// elements are what the plasma mass spectrometer measures; responses are counts a second.
var elements = []measurand{
	{"sodium", "mg/L", 5, 0.01, "Na 23", 0, 8.4e6},
	{"magnesium", "mg/L", 2, 0.004, "Mg 24", 0, 2.9e6},
	{"potassium", "mg/L", 5, 0.01, "K 39", 0, 6.1e6},
	{"calcium", "mg/L", 5, 0.01, "Ca 44", 0, 4.4e5},
	{"manganese", "µg/L", 200, 0.4, "Mn 55", 0, 1.9e6},
	{"iron", "µg/L", 500, 1, "Fe 56", 0, 3.3e6},
	{"copper", "µg/L", 500, 1, "Cu 63", 0, 2.6e6},
	{"rubidium", "µg/L", 100, 0.2, "Rb 85", 0, 1.2e6},
	{"strontium", "µg/L", 100, 0.2, "Sr 88", 0, 1.4e6},
	{"lead", "µg/L", 50, 0.1, "Pb 208", 0, 8.8e5},
}

// rhodium is the internal standard of the plasma mass spectrometer: counts at 10 µg/L.
var rhodium = measurand{name: "rhodium", label: "Rh 103", response: 152000}

// Dilutions of samples before they are measured.
const (
	spectrumDilution = 5
	elementDilution  = 10
)

// Analytes of the density meter.
const (
	strengthName = "strength"
	densityName  = "density"
)
