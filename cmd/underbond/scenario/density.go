package scenario

import (
	"bytes"
	"fmt"
)

// densityLog writes the log of the density meter: one row a reading, comma separated.
func densityLog(p *plan, n noise) []byte {
	var out bytes.Buffer
	out.WriteString("No.,Measured,Vial,Sample,Cell [°C],Density [g/cm³],Alcohol [% vol],Remark\r\n")
	for _, e := range p.entries {
		strength := e.solution.amounts[strengthName] + n.normal(0.008)
		if slip, ok := e.printed[strengthName]; ok {
			strength = slip
		}
		fmt.Fprintf(&out, "%d,%s,%s,%s,%.2f,%.5f,%.2f,\r\n", e.position, e.start.Format("2006-01-02 15:04:05"), e.vial, e.title(),
			20+n.normal(0.005), e.solution.amounts[densityName]+n.normal(0.00001), strength)
	}
	return out.Bytes()
}
