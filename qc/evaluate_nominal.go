package qc

import (
	"fmt"
	"strings"

	"underbond/qc/unit"
	"underbond/qc/worklist"
)

// nominal is the amount that a line's standards or the line itself state.
type nominal struct {
	state nominalState
	value float64 // in the analyte's unit
	why   string
}

type nominalState int

const (
	nominalNone    nominalState = iota // the line is not about this analyte
	nominalKnown                       // value is the amount
	nominalUnknown                     // there should be one, and there is no saying which
)

// nominal gives a line's nominal amount. What the line states goes before the values of
// its standards, which may be the stock that its solution was made from.
func (e *evaluator) nominal(m *entry, analyte int) nominal {
	a := &e.method.Analytes[analyte]
	var stated []worklist.Nominal
	for _, n := range m.Line.Nominals {
		if sameName(n.Analyte, a.Name) {
			stated = append(stated, n)
		}
	}
	var unlisted []string
	if len(stated) == 0 {
		for _, id := range m.Line.Standards {
			s := e.lists[id]
			if s == nil {
				unlisted = append(unlisted, id)
				continue
			}
			for _, v := range s.Values {
				if sameName(v.Analyte, a.Name) {
					stated = append(stated, worklist.Nominal{Analyte: v.Analyte, Value: v.Value, Unit: v.Unit})
				}
			}
		}
	}
	switch {
	case len(stated) == 0 && len(unlisted) > 0:
		return nominal{state: nominalUnknown, why: fmt.Sprintf("no standards list knows %s", strings.Join(unlisted, ", "))}
	case len(stated) == 0:
		return nominal{}
	case len(stated) > 1:
		return nominal{state: nominalUnknown, why: fmt.Sprintf("%d values are stated for %s", len(stated), a.Name)}
	}
	v := stated[0].Value
	if stated[0].Unit != a.Unit {
		var err error
		if v, err = unit.Convert(v, stated[0].Unit, a.Unit); err != nil {
			return nominal{state: nominalUnknown, why: err.Error()}
		}
	}
	return nominal{state: nominalKnown, value: v}
}
