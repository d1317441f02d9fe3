package method

import (
	"fmt"
	"slices"
)

func (c *checker) integration() {
	in := c.method.Integration
	const path = "integration"
	traces := c.chromatograms()
	switch {
	case in == nil && traces:
		c.Fault(path, "give threshold (signal to noise) and min_width (minutes)", "integration is missing, and the method takes peaks from chromatograms")
		return
	case in == nil:
		return
	case !traces:
		c.Fault(path, "leave it out", "integration is given, and no source is a chromatogram")
	}
	c.required(path, "threshold", "min_width")
	c.positive(path+".threshold", &in.Threshold)
	c.positive(path+".min_width", &in.MinWidth)
	if s := in.Smoothing; s < 0 || s > 1 && (s < 5 || s%2 == 0) || s > maxFilter {
		c.Fault(path+".smoothing", fmt.Sprintf("0 or 1 for none, else an odd number from 5 to %d", maxFilter), "integration.smoothing is %d points", s)
	}
	c.widths(path, &in.MinWidth, in.MaxWidth)
	c.baseline(path, in.Baseline, in.Lines)
	c.positive(path+".skim_ratio", in.SkimRatio)
	switch {
	case in.SkimRatio != nil && in.Baseline != BaselineSkim:
		c.Fault(path+".skim_ratio", "leave it out", "%s.skim_ratio is given, and the baseline is not %q", path, BaselineSkim)
	case in.SkimRatio != nil && *in.SkimRatio > 0 && *in.SkimRatio < 1:
		c.Fault(path+".skim_ratio", "1 or more: the height of a peak over that of its rider", "%s.skim_ratio is %v", path, *in.SkimRatio)
	}
	if in.Noise != nil {
		c.span(path+".noise", in.Noise)
	}
}

// maxFilter bounds the points of a Savitzky-Golay filter, as package signal does.
const maxFilter = 201

// peakIntegration checks an analyte's departures from the method's settings.
func (c *checker) peakIntegration(path string, s *ChromatogramSource) {
	p := s.Integration
	if p == nil {
		return
	}
	var inherited float64
	if in := c.method.Integration; in != nil {
		inherited = in.MinWidth
	}
	least := &inherited
	if p.MinWidth != nil {
		least = p.MinWidth
	}
	c.positive(path+".min_width", p.MinWidth)
	c.widths(path, least, p.MaxWidth)
	c.baseline(path, p.Baseline, p.Lines)
	if p.Start == nil && p.End == nil {
		return
	}
	c.required(path, "start", "end")
	c.notNegative(path+".start", p.Start)
	c.positive(path+".end", p.End)
	c.ordered(path, "start", "end", p.Start, p.End, false)
	for _, key := range []string{"min_width", "max_width"} {
		if c.Has(at(path, key)) {
			c.Fault(at(path, key), "leave it out", "%s means nothing between fixed limits", key)
		}
	}
	if p.Baseline != "" && p.Baseline != BaselineSet {
		c.Fault(path+".baseline", fmt.Sprintf("leave it out for the line between the limits, or say %q and give lines", BaselineSet), "%s.baseline is %q, and the limits are fixed", path, p.Baseline)
	}
	if r := s.Retention; r > 0 && p.Start != nil && p.End != nil && *p.Start < *p.End && !(r >= *p.Start && r <= *p.End) {
		c.Fault(path+".start", "minutes, around the retention time", "%s is fixed from %v to %v min, and the retention time is %v min", path, *p.Start, *p.End, r)
	}
}

func (c *checker) widths(path string, least, largest *float64) {
	c.positive(path+".max_width", largest)
	if least != nil && largest != nil && *largest > 0 && *largest < *least {
		c.Fault(path+".max_width", "", "%s.max_width %v is below the least width %v", path, *largest, *least)
	}
}

func (c *checker) baseline(path, baseline string, lines []Span) {
	c.oneOf(path+".baseline", baseline, BaselineShapes, BaselineDrop, BaselineValley, BaselineSkim, BaselineSet)
	switch {
	case baseline == BaselineSet && len(lines) == 0:
		c.Fault(path+".baseline", "give lines with from and to in minutes", "%s.baseline %q needs set times", path, baseline)
	case baseline != BaselineSet && c.Has(path+".lines"):
		c.Fault(path+".lines", fmt.Sprintf("leave it out, or say baseline: %s", BaselineSet), "%s.lines is given, and the baseline is not %q", path, BaselineSet)
	}
	for i := range lines {
		below := fmt.Sprintf("%s.lines[%d]", path, i)
		c.span(below, &lines[i])
		if i > 0 && lines[i].From < lines[i-1].To {
			c.Fault(below+".from", "set times follow each other", "%s begins at %v min, before %s.lines[%d] ends", below, lines[i].From, path, i-1)
		}
	}
}

func (c *checker) span(path string, s *Span) {
	c.required(path, "from", "to")
	c.notNegative(path+".from", &s.From)
	if c.Has(path+".from") && c.Has(path+".to") {
		c.ordered(path, "from", "to", &s.From, &s.To, false)
	}
}

func (c *checker) chromatograms() bool {
	if is := c.method.InternalStandard; is != nil && is.Source.Chromatogram != nil {
		return true
	}
	return slices.ContainsFunc(c.method.Analytes, func(a Analyte) bool { return a.Source.Chromatogram != nil })
}
