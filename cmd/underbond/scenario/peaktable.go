package scenario

import (
	"bytes"
	"fmt"
	"slices"
)

// peakTable writes the sequence of the gas chromatograph: one row a peak, many injections
// a file, comma separated, closed by a line that says so. Areas carry 1 % of scatter from
// the injected volume, which the internal standard takes out, and 0.5 % of their own.
func peakTable(p *plan, n noise) []byte {
	var out bytes.Buffer
	out.WriteString("Sequence,Injection,Vial,Sample Name,Injected,Peak,Ret. Time [min],Area [pA*s],Height [pA],Integration\r\n")
	for _, e := range p.entries {
		volume := n.scatter(0.01)
		type peak struct {
			measurand
			area float64
		}
		peaks := []peak{{pentanol, pentanol.response * volume * n.scatter(0.003)}}
		for _, m := range congeners {
			area := 0.0
			if amount := e.solution.amounts[m.name]; amount > 0 {
				area = m.response*amount/m.top*e.factor(m.name)*volume*n.scatter(0.005) + n.normal(0.008)
			}
			peaks = append(peaks, peak{m, area})
		}
		slices.SortFunc(peaks, func(a, b peak) int {
			if a.retention < b.retention {
				return -1
			}
			return 1
		})
		for _, k := range peaks {
			row := fmt.Sprintf("%s,%d,%s,%s,%s,%s,", p.name, e.position, e.vial, e.title(), e.start.Format("02.01.2006 15:04:05"), k.label)
			if k.area > 0 {
				// A Gaussian peak of 1.8 s half width has this height.
				row += fmt.Sprintf("%.3f,%.3f,%.3f,BB\r\n", k.retention+n.normal(0.002), k.area, k.area/1.92)
			} else {
				row += "n.d.,n.d.,n.d.,\r\n"
			}
			out.WriteString(row)
		}
	}
	fmt.Fprintf(&out, "End of sequence, %d rows\r\n", len(p.entries)*(len(congeners)+1))
	return out.Bytes()
}

// factor is the sensitivity of the instrument for an analyte, 1 when nothing is wrong.
func (e *entry) factor(analyte string) float64 {
	if f, ok := e.sensitivity[analyte]; ok {
		return f
	}
	return 1
}
