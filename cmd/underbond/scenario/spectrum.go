package scenario

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const (
	spectrumFirst = 220 // nm
	spectrumLast  = 700
	// packedStep is the absorbance that one count of a packed ordinate means.
	packedStep = 0.0001
)

// jcampFile writes a spectrum as JCAMP-DX 5.01, with plain ordinates or packed ones.
func jcampFile(e *entry, packed bool, n noise) []byte {
	thinned := max(e.solution.thinned, 1)
	counts := make([]int, 0, spectrumLast-spectrumFirst+1) // in steps
	step := 0.00001
	if packed {
		step = packedStep
	}
	scale := n.scatter(0.001) // of the dilution
	for nm := spectrumFirst; nm <= spectrumLast; nm++ {
		a := e.solution.spectrum.at(float64(nm))/thinned*scale + n.normal(0.00015)
		counts = append(counts, int(math.Round(a/step)))
	}
	low, high := counts[0], counts[0]
	for _, c := range counts {
		low, high = min(low, c), max(high, c)
	}
	absorbance := func(count int) string { return strconv.FormatFloat(float64(count)*step, 'f', 5, 64) }
	var out strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&out, format+"\r\n", args...) }
	line("##TITLE=%s", e.title())
	line("##JCAMP-DX=5.01 $$ demonstration, invented data")
	line("##DATA TYPE=UV/VIS SPECTRUM")
	line("##ORIGIN=Ostel County Spirit Laboratory (invented)")
	line("##OWNER=Ostel County Spirit Laboratory (invented)")
	line("##LONG DATE=%s", e.start.Format("2006/01/02 15:04:05"))
	line("##SAMPLE DESCRIPTION=1 cm cell, 1 in %g", thinned)
	line("##XUNITS=NANOMETERS")
	line("##YUNITS=ABSORBANCE")
	line("##RESOLUTION=1.0")
	line("##FIRSTX=%d", spectrumFirst)
	line("##LASTX=%d", spectrumLast)
	line("##DELTAX=1")
	line("##NPOINTS=%d", len(counts))
	line("##FIRSTY=%s", absorbance(counts[0]))
	line("##MAXY=%s", absorbance(high))
	line("##MINY=%s", absorbance(low))
	line("##XFACTOR=1")
	if packed {
		line("##YFACTOR=%s", strconv.FormatFloat(packedStep, 'f', -1, 64))
		line("##XYDATA=(X++(Y..Y))")
		for _, row := range packDifferences(counts) {
			line("%s", row)
		}
	} else {
		line("##YFACTOR=1")
		line("##XYDATA=(X++(Y..Y))")
		for i := 0; i < len(counts); i += 7 {
			row := strconv.Itoa(spectrumFirst + i)
			for _, c := range counts[i:min(i+7, len(counts))] {
				row += " " + absorbance(c)
			}
			line("%s", row)
		}
	}
	line("##END=")
	return []byte(out.String())
}

// Digits that stand for a sign and a leading digit in packed ordinates.
const (
	squeezed         = "@ABCDEFGHI" // absolute, 0 to 9
	squeezedNegative = "@abcdefghi"
	difference       = "%JKLMNOPQR"
	differenceMinus  = "%jklmnopqr"
	repeated         = "-STUVWXYZs"
)

// leading writes v with its sign and first digit replaced.
func leading(v int, positive, negative string) string {
	digits, table := strconv.Itoa(v), positive
	if v < 0 {
		digits, table = digits[1:], negative
	}
	return string(table[digits[0]-'0']) + digits[1:]
}

// packDifferences writes ordinates in the DIFDUP form: each line opens with its abscissa
// and an absolute ordinate, goes on with differences, equal ones counted, and repeats its
// last ordinate at the head of the next line as a check.
func packDifferences(counts []int) []string {
	const width = 76
	var rows []string
	row := strconv.Itoa(spectrumFirst) + leading(counts[0], squeezed, squeezedNegative)
	for i := 1; i < len(counts); {
		step := counts[i] - counts[i-1]
		run := 1
		for i+run < len(counts) && counts[i+run]-counts[i+run-1] == step {
			run++
		}
		token := leading(step, difference, differenceMinus)
		if run > 1 {
			token += leading(run, repeated, "")
		}
		if len(row)+len(token) > width {
			rows = append(rows, row)
			row = strconv.Itoa(spectrumFirst+i-1) + leading(counts[i-1], squeezed, squeezedNegative)
		}
		row += token
		i += run
	}
	rows = append(rows, row)
	last := len(counts) - 1
	return append(rows, strconv.Itoa(spectrumFirst+last)+leading(counts[last], squeezed, squeezedNegative))
}
