package scenario

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf16"
)

// elementTable writes the table of the plasma mass spectrometer: one row a vial, counts a
// second by isotope, separated by semicolons, decimal commas, UTF-16LE with a byte order
// mark. Salts in the sample move all counts together, which the internal standard shows.
func elementTable(p *plan, n noise) []byte {
	var text strings.Builder
	text.WriteString("Acquired;Sequence;Vial;Sample")
	for _, m := range append(elements[:len(elements):len(elements)], rhodium) {
		text.WriteString(";" + m.label + " [cps]")
	}
	text.WriteString("\r\n")
	for _, e := range p.entries {
		plasma := n.scatter(0.03)
		fmt.Fprintf(&text, "%s;%s;%s;%s", e.start.Format("02.01.2006 15:04:05"), p.name, e.vial, e.title())
		for _, m := range elements {
			background := 0.0004 * m.response
			signal := m.response * e.solution.amounts[m.name] / m.top * e.factor(m.name)
			text.WriteString(";" + comma((background+signal*n.scatter(0.007)+n.normal(0.00002*m.response))*plasma))
		}
		text.WriteString(";" + comma(rhodium.response*plasma*n.scatter(0.004)) + "\r\n")
	}
	return utf16LE(text.String())
}

// comma prints counts with one decimal after a comma.
func comma(v float64) string { return strings.Replace(fmt.Sprintf("%.1f", v), ".", ",", 1) }

// utf16LE encodes text as UTF-16 little endian with a byte order mark.
func utf16LE(text string) []byte {
	var out bytes.Buffer
	out.Write([]byte{0xff, 0xfe})
	for _, unit := range utf16.Encode([]rune(text)) {
		out.Write([]byte{byte(unit), byte(unit >> 8)})
	}
	return out.Bytes()
}
