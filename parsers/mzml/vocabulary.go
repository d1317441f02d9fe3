package mzml

import "underbond/parsers"

// term is an accession as a number: that of the mass spectrometry vocabulary as it is,
// that of the unit vocabulary with unitTerm added. 0 is anything else.
type term uint32

const unitTerm term = 1 << 31

// termOf reads an accession such as "MS:1000514" or "UO:0000031".
func termOf(b []byte) term {
	if len(b) < 4 || len(b) > 11 || b[2] != ':' {
		return 0
	}
	var n term
	for _, c := range b[3:] {
		if c < '0' || c > '9' {
			return 0
		}
		n = n*10 + term(c-'0')
	}
	switch string(b[:2]) {
	case "MS":
		return n
	case "UO":
		return n | unitTerm
	}
	return 0
}

// Terms that decide how an array is kept.
const (
	termInt32   term = 1000519
	termFloat16 term = 1000520
	termFloat32 term = 1000521
	termInt64   term = 1000522
	termFloat64 term = 1000523
	termASCII   term = 1001479
	termZlib    term = 1000574
	termPlain   term = 1000576

	termTruncate       term = 1003088
	termTruncateDelta  term = 1003089
	termTruncateLinear term = 1003090
	termZstd           term = 1003780
	termZstdShuffled   term = 1003781
	termZstdDictionary term = 1003782
	termCoordinateGrid term = 1003826

	termNumpressLinear term = 1002312
	termNumpressPic    term = 1002313
	termNumpressSlof   term = 1002314

	termNumpressLinearZlib term = 1002746
	termNumpressPicZlib    term = 1002747
	termNumpressSlofZlib   term = 1002748

	termNumpressLinearZstd term = 1003783
	termNumpressPicZstd    term = 1003784
	termNumpressSlofZstd   term = 1003785
)

// Terms that say what an array holds.
const (
	termMZArray          term = 1000514
	termIntensityArray   term = 1000515
	termTimeArray        term = 1000595
	termWavelengthArray  term = 1000617
	termOtherArray       term = 1000786
	termFlowArray        term = 1000820
	termPressureArray    term = 1000821
	termTemperatureArray term = 1000822
	termMassArray        term = 1003143
)

// Terms of spectra, scans and chromatograms.
const (
	termMSLevel          term = 1000511
	termScanStart        term = 1000016
	termPositive         term = 1000130
	termNegative         term = 1000129
	termCentroid         term = 1000127
	termProfile          term = 1000128
	termSelectedIon      term = 1000744
	termCharge           term = 1000041
	termPeakIntensity    term = 1000042
	termIsolationTarget  term = 1000827
	termIsolationLower   term = 1000828
	termIsolationUpper   term = 1000829
	termWindowLow        term = 1000501
	termWindowHigh       term = 1000500
	termCollisionEnergy  term = 1000045
	termHighestWavelenth term = 1000618
	termLowestWavelength term = 1000619
	termSHA1             term = 1000569
)

// axisRank orders the arrays that can be an axis of a spectrum; the first one present is it.
var axisRank = map[term]int{termMZArray: 1, termWavelengthArray: 2, termMassArray: 3}

// valueRank orders the arrays that can be the ordinate.
var valueRank = map[term]int{
	termIntensityArray: 1, termFlowArray: 2, termPressureArray: 2, termTemperatureArray: 2, termOtherArray: 3,
}

// arrayNames name what arrays hold.
var arrayNames = map[term]string{
	termMZArray: "m/z", termIntensityArray: "intensity", termTimeArray: "time", termWavelengthArray: "wavelength",
	termFlowArray: "flow rate", termPressureArray: "pressure", termTemperatureArray: "temperature", termMassArray: "mass",
	termOtherArray: "non-standard data",
	1000516:        "charge", 1000517: "signal to noise", 1002478: "mean charge", 1002529: "resolution",
	1002530: "baseline", 1002742: "noise", 1002743: "sampled noise m/z", 1002744: "sampled noise intensity",
	1002745: "sampled noise baseline", 1002477: "mean ion mobility drift time", 1002816: "mean inverse reduced ion mobility",
	1002893: "ion mobility", 1003006: "mean inverse reduced ion mobility", 1003007: "raw ion mobility",
	1003008: "raw inverse reduced ion mobility", 1003157: "scanning quadrupole position lower bound m/z",
	1003158: "scanning quadrupole position upper bound m/z",
}

// spectrumKinds name types of spectra. A spectrum may carry a general and a special
// type: the special one stands.
var spectrumKinds = map[term]string{
	1000294: "mass spectrum", 1000579: "MS1 spectrum", 1000580: "MSn spectrum", 1000581: "CRM spectrum",
	1000582: "SIM spectrum", 1000583: "SRM spectrum", 1000804: "electromagnetic radiation spectrum",
	1000805: "emission spectrum", 1000806: "absorption spectrum",
}

// chromatogramKinds name types of chromatograms.
var chromatogramKinds = map[term]string{
	1000235: "total ion current", 1000627: "selected ion current", 1000628: "basepeak",
	1001472: "selected ion monitoring", 1001473: "selected reaction monitoring", 1001474: "consecutive reaction monitoring",
	1000810: "ion current", 1000811: "electromagnetic radiation", 1000812: "absorption", 1000813: "emission",
	1002715: "temperature", 1003019: "pressure", 1003020: "flow rate", 4000025: "precursor ion current",
}

// activations name the ways to fragment ions.
var activations = map[term]string{
	1000133: "collision-induced dissociation", 1000134: "plasma desorption", 1000135: "post-source decay",
	1000136: "surface-induced dissociation", 1000242: "blackbody infrared radiative dissociation",
	1000250: "electron capture dissociation", 1000262: "infrared multiphoton dissociation",
	1000282: "sustained off-resonance irradiation", 1000422: "beam-type collision-induced dissociation",
	1000433: "low-energy collision-induced dissociation", 1000435: "photodissociation",
	1000598: "electron transfer dissociation", 1000599: "pulsed q dissociation", 1001880: "in-source collision-induced dissociation",
	1002000: "LIFT", 1002472: "trap-type collision-induced dissociation", 1002481: "higher energy beam-type collision-induced dissociation",
	1002631: "electron transfer/higher-energy collision dissociation", 1002678: "supplemental beam-type collision-induced dissociation",
	1002679: "supplemental collision-induced dissociation", 1003181: "combined dissociation method",
	1003246: "ultraviolet photodissociation", 1003247: "negative electron transfer dissociation",
	1003294: "electron activated dissociation",
}

// general types yield to others on the same spectrum or chromatogram.
var general = map[term]bool{1000294: true, 1000804: true, 1000810: true, 1000811: true}

// unit is a unit of measurement with its factor to seconds where it is one of time.
type unit struct {
	code     string // UCUM
	multiply float64
	divide   float64
}

const (
	unitNanometre  = unitTerm | 18
	unitAbsorbance = unitTerm | 269

	unitElectronvolt = unitTerm | 266
)

var units = map[term]unit{
	unitTerm | 10:    {"s", 1, 1},
	unitTerm | 31:    {"min", 60, 1},
	unitTerm | 28:    {"ms", 1, 1000},
	unitTerm | 32:    {"h", 3600, 1},
	1000038:          {"min", 60, 1},
	1000039:          {"s", 1, 1},
	1000040:          {code: "1"}, // m/z
	1000131:          {code: "1"}, // counts
	unitNanometre:    {code: "nm"},
	unitAbsorbance:   {code: "1"},
	unitTerm | 110:   {code: "Pa"},
	unitElectronvolt: {code: "eV"},
	unitTerm | 27:    {code: "Cel"},
	unitTerm | 12:    {code: "K"},
	unitTerm | 221:   {code: "Da"},
	unitTerm | 187:   {code: "%"},
	1000132:          {code: "%"}, // percent of base peak
}

// seconds gives the factor of a unit of time.
func (u unit) seconds() (multiply, divide float64, ok bool) {
	return u.multiply, u.divide, u.divide != 0
}

// quantity describes an axis by what its array holds and the unit given.
func quantity(name string, unitAccession term, unitText string) parsers.Quantity {
	q := parsers.Quantity{Name: name, Unit: units[unitAccession].code, UnitText: unitText}
	if unitAccession == unitAbsorbance {
		q.Name = "absorbance"
	}
	return q
}
