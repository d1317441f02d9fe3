package main

import (
	"fmt"
	"io"
	"strconv"
)

// shownDigits are the significant digits of the text form; JSON has all.
const shownDigits = 7

// print writes the report as text.
func (r *fitReport) print(out io.Writer) error {
	p := printer{out: out}
	p.line("%s, weight %s, %d points at %d levels from %s to %s", r.Model, r.Weight, r.N, r.Levels, r.Range[0].text(shownDigits), r.Range[1].text(shownDigits))
	for i, b := range r.Coefficients {
		p.line("  coefficient of %s: %s, standard error %s", r.power(i), b.text(shownDigits), r.StandardErrors[i].text(shownDigits))
	}
	if r.DegreesOfFreedom != nil {
		p.line("  residual standard deviation %s with %d degrees of freedom, r² %s, adjusted %s", r.ResidualSD.text(shownDigits), *r.DegreesOfFreedom,
			r.RSquared.text(shownDigits), r.AdjustedRSquared.text(shownDigits))
		p.line("  relative standard error %s %%%s", r.RSEPercent.text(4), r.rsd())
	}
	p.test("Mandel's F against the quadratic", r.LackOfFit.Mandel)
	p.test("lack-of-fit F against replicates", r.LackOfFit.PureError)
	p.line("  limit of detection %s, of quantitation %s, by the rule %s", r.LOD.text(4), r.LOQ.text(4), r.LODRule)
	if r.Model == "standard-addition" {
		p.line("  amount in the sample %s, standard error %s, %s %% interval %s to %s", r.XIntercept.text(shownDigits), r.XInterceptSE.text(4),
			r.percent(), r.XInterceptLow.text(shownDigits), r.XInterceptHigh.text(shownDigits))
	}
	if p.err != nil {
		return p.err
	}
	if err := r.tables(out); err != nil {
		return err
	}
	for _, e := range r.SuggestedExclusion {
		p.line("Look at point %d: %s; %s %s, limit %s. Nothing was left out.", e.Point, e.Reason, e.Statistic, e.Value.text(4), e.Limit.text(4))
	}
	for _, w := range r.Warnings {
		p.line("Warning: %s", w)
	}
	return p.err
}

func (r *fitReport) tables(out io.Writer) error {
	fmt.Fprintln(out)
	t := newTable(out, "x", "y", "weight", "fitted", "back-calculated", "accuracy %", "leverage")
	for _, p := range r.Points {
		t.row(p.X.text(shownDigits), p.Y.text(shownDigits), p.Weight.text(4), p.Fitted.text(shownDigits), p.BackCalculated.text(shownDigits), p.AccuracyPercent.text(5), p.Leverage.text(4))
	}
	if err := t.flush(); err != nil {
		return err
	}
	if len(r.Predictions) == 0 {
		return nil
	}
	fmt.Fprintln(out)
	t = newTable(out, "response", "readings", "amount", "standard error", r.percent()+" % from", "to")
	for _, p := range r.Predictions {
		t.row(p.Y.text(shownDigits), strconv.Itoa(p.Replicates), p.X.text(shownDigits), p.StandardError.text(4), p.Low.text(shownDigits), p.High.text(shownDigits))
	}
	return t.flush()
}

func (r *fitReport) percent() string { return (100 * r.Confidence).text(6) }

// power names what a coefficient belongs to.
func (r *fitReport) power(i int) string {
	if len(r.Coefficients) == 1 {
		i = 1
	}
	switch i {
	case 0:
		return "1"
	case 1:
		return "x"
	}
	return "x^" + strconv.Itoa(i)
}

func (r *fitReport) rsd() string {
	if r.Model != "average-rf" {
		return ""
	}
	return fmt.Sprintf(", relative standard deviation of the response factors %s %%", r.RSDPercent.text(4))
}

func (p *printer) test(name string, t *fitTest) {
	if t != nil {
		p.line("  %s %s with %d and %d degrees of freedom, p %s", name, t.F.text(4), t.DF1, t.DF2, t.P.text(3))
	}
}
