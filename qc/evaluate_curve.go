package qc

import (
	"fmt"
	"slices"

	"underbond/qc/calibration"
	"underbond/qc/method"
)

// curveKey names the curve that serves a run for an analyte.
type curveKey struct {
	run     string
	analyte int
}

// curve is one calibration function with the verdict on it.
type curve struct {
	analyte      int
	run          string // of its calibration standards
	calibrants   []*entry
	points       []Point
	levels       []float64          // distinct amounts of the points, ascending
	fit          *calibration.Curve // nil when there is none
	rises        bool               // amounts may be read from the fit
	responseUnit string
	low, high    *float64
	verdict      judgement
	reasons      []string
	serves       []string // runs
	served       []int    // positions that it quantifies, once they were asked for
	share        *share   // of the standards in the uncertainty, likewise
}

// without says of an amount that there is no curve to read it from.
func (c *curve) without() judgement {
	if c.verdict.verdict == Pending {
		return judgement{verdict: Pending, reason: c.verdict.reason, waiting: c.verdict.waiting}
	}
	return unevaluable("there is no calibration function: %s", c.verdict.reason)
}

// curve gives the curve that quantifies an analyte in an entry, nil when the method uses none.
func (e *evaluator) curve(m *entry, analyte int) *curve {
	return e.curves[curveKey{m.Line.Run, analyte}]
}

// fitCurves finds the curve of each calibrated analyte in each run: that of the run's own
// calibration standards, else the latest accepted one acquired before.
func (e *evaluator) fitCurves() {
	for i := range e.method.Analytes {
		if e.method.Analytes[i].Calibration.Model == method.ModelNone {
			continue
		}
		own := e.ownCurves(i)
		for _, run := range e.runs {
			c := e.curveOf(run, own)
			if c == nil {
				c = &curve{analyte: i, run: run}
				c.verdict = judgement{verdict: Missing, reason: fmt.Sprintf("the worklist has no calibration standard for %s before run %s", e.method.Analytes[i].Name, run)}
				c.reasons = []string{c.verdict.reason}
			}
			c.serves = append(c.serves, run)
			e.curves[curveKey{run, i}] = c
		}
	}
}

// ownCurves fits one curve for each run that has calibration standards for the analyte.
func (e *evaluator) ownCurves(analyte int) []*curve {
	var curves []*curve
	for _, run := range e.runs {
		c := &curve{analyte: analyte, run: run}
		for _, m := range e.calibrants[run] {
			if n := e.nominal(m, analyte); n.state != nominalNone {
				c.calibrants = append(c.calibrants, m)
			}
		}
		if len(c.calibrants) > 0 {
			e.judgeCurve(c)
			curves = append(curves, c)
		}
	}
	return curves
}

func (e *evaluator) curveOf(run string, own []*curve) *curve {
	first := e.inRun[run].first
	var before []*curve
	for _, c := range own {
		if c.run == run {
			return c
		}
		if c.lastRank() < first {
			before = append(before, c)
		}
	}
	slices.SortFunc(before, func(a, b *curve) int { return b.lastRank() - a.lastRank() })
	// One that may still be accepted is waited for: an older one would be the wrong one then.
	for _, c := range before {
		if c.verdict.verdict == Pass || c.verdict.verdict == Pending {
			return c
		}
	}
	if len(before) > 0 {
		return before[0]
	}
	return nil
}

func (c *curve) lastRank() int {
	last := -1
	for _, m := range c.calibrants {
		last = max(last, m.rank)
	}
	return last
}

// servedBy are the positions that a curve quantifies. All runs that it serves are known by then.
func (e *evaluator) servedBy(c *curve) []int {
	if c.served == nil {
		c.served = e.measuredIn(c.serves)
	}
	return c.served
}

// measuredIn lists the measured positions of runs.
func (e *evaluator) measuredIn(runs []string) []int {
	positions := []int{}
	for _, m := range e.entries {
		if m.isMeasured() && slices.Contains(runs, m.Line.Run) {
			positions = append(positions, m.Line.Position)
		}
	}
	return positions
}

// distinctCurves lists the curves in use by analyte and run.
func (e *evaluator) distinctCurves() []*curve {
	var out []*curve
	for i := range e.method.Analytes {
		others := len(out)
		for _, run := range e.runs {
			if c := e.curves[curveKey{run, i}]; c != nil && !slices.Contains(out[others:], c) {
				out = append(out, c)
			}
		}
	}
	return out
}
