package jcampdx

import (
	"strings"

	"underbond/parsers"
)

// meaning is what a unit text says: the quantity measured and the UCUM code.
type meaning struct{ name, unit string }

// meanings are the units of the standards and the spellings that exports use, in
// upper case with single blanks.
var meanings = map[string]meaning{
	"1/CM": {"wavenumber", "cm-1"}, "CM-1": {"wavenumber", "cm-1"}, "CM^-1": {"wavenumber", "cm-1"},
	"WAVENUMBERS": {"wavenumber", "cm-1"}, "RAMAN SHIFT (CM-1)": {"wavenumber", "cm-1"},
	"NANOMETERS": {"wavelength", "nm"}, "NANOMETRES": {"wavelength", "nm"}, "NM": {"wavelength", "nm"},
	"MICROMETERS": {"wavelength", "um"}, "MICROMETRES": {"wavelength", "um"}, "UM": {"wavelength", "um"}, "MICRONS": {"wavelength", "um"},
	"SECONDS": {"time", "s"}, "S": {"time", "s"}, "SEC": {"time", "s"},
	"MILLISECONDS": {"time", "ms"}, "MS": {"time", "ms"}, "MICROSECONDS": {"time", "us"},
	"MINUTES": {"time", "min"}, "MIN": {"time", "min"},
	"HZ": {"frequency", "Hz"}, "KHZ": {"frequency", "kHz"}, "MHZ": {"frequency", "MHz"},
	"PPM": {"chemical shift", "[ppm]"},
	"M/Z": {"m/z", "1"}, "DALTONS": {"mass", "u"},
	"TRANSMITTANCE": {"transmittance", "1"}, "REFLECTANCE": {"reflectance", "1"},
	"ABSORBANCE": {"absorbance", "1"}, "KUBELKA-MUNK": {"Kubelka-Munk", "1"},
	"PERCENT TRANSMITTANCE": {"transmittance", "%"}, "%TRANSMITTANCE": {"transmittance", "%"}, "% TRANSMITTANCE": {"transmittance", "%"},
	"TRANSMITTANCE (%)": {"transmittance", "%"}, "TRANSMISSION (%)": {"transmittance", "%"}, "%T": {"transmittance", "%"},
	"PERCENT REFLECTANCE": {"reflectance", "%"}, "% REFLECTANCE": {"reflectance", "%"}, "REFLECTANCE (%)": {"reflectance", "%"},
	"ARBITRARY UNITS": {"intensity", ""}, "ARBITRARY": {"intensity", ""},
	"RELATIVE ABUNDANCE": {"relative abundance", ""}, "RELATIVE INTENSITY": {"relative intensity", ""},
	"COUNTS": {"counts", "1"}, "POWER": {"power", ""},
	"V": {"voltage", "V"}, "VOLTS": {"voltage", "V"}, "A": {"current", "A"}, "AMPERES": {"current", "A"},
	"NANOAMPERES": {"current", "nA"}, "PICOAMPERES": {"current", "pA"},
	"MG": {"mass", "mg"}, "G": {"mass", "g"},
	"°C": {"temperature", "Cel"}, "K": {"temperature", "K"}, "KELVIN": {"temperature", "K"},
}

// quantity reads a unit as written. A text such as "Wavelength (nm)" is known by the
// unit in its brackets.
func quantity(text string) parsers.Quantity {
	q := parsers.Quantity{UnitText: text}
	key := strings.ToUpper(strings.Join(strings.Fields(text), " "))
	m, ok := meanings[key]
	if !ok && strings.HasSuffix(key, ")") {
		_, inner, found := strings.Cut(strings.TrimSuffix(key, ")"), "(")
		m, ok = meanings[inner]
		ok = ok && found
	}
	if !ok && strings.HasSuffix(key, "]") {
		_, inner, found := strings.Cut(strings.TrimSuffix(key, "]"), "[")
		m, ok = meanings[inner]
		ok = ok && found
	}
	if ok {
		q.Name, q.Unit = m.name, m.unit
	}
	return q
}
