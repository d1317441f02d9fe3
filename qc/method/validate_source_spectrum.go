package method

import (
	"fmt"
	"slices"

	"underbond/parsers"
)

// spectrumParameters says which keys a kind must and may have beside kind, unit, ordinate and convert.
var spectrumParameters = map[string]parameters{
	"":                    {must: []string{"at"}, may: []string{"baseline"}},
	SpectrumBandHeight:    {must: []string{"at", "from", "to"}},
	SpectrumBandArea:      {must: []string{"from", "to"}},
	SpectrumRatio:         {must: []string{"of", "by"}},
	SpectrumDerivative:    {must: []string{"at", "derivative"}},
	SpectrumColour:        {must: []string{"component"}},
	SpectrumPhenolicIndex: {},
}

var spectrumKeys = []string{"at", "baseline", "from", "to", "of", "by", "derivative", "component"}

func (c *checker) spectrum(path string, s *SpectrumSource) {
	if !c.oneOf(path+".kind", s.Kind, SpectrumBandHeight, SpectrumBandArea, SpectrumRatio, SpectrumDerivative, SpectrumColour, SpectrumPhenolicIndex) {
		return
	}
	want := spectrumParameters[s.Kind]
	c.required(path, want.must...)
	for _, key := range spectrumKeys {
		if c.Has(at(path, key)) && !slices.Contains(want.must, key) && !slices.Contains(want.may, key) {
			what := fmt.Sprintf("kind %q", s.Kind)
			if s.Kind == "" {
				what = "an ordinate; say which kind"
			}
			c.Fault(at(path, key), "leave it out", "%s means nothing to %s", key, what)
		}
	}
	c.axis(path, s.Unit, s.Ordinate)
	c.positive(path+".at", &s.At)
	c.positive(path+".baseline", s.Baseline)
	if s.Baseline != nil && *s.Baseline == s.At {
		c.Fault(path+".baseline", "", "%s.baseline is where the ordinate is read, so the difference is always zero", path)
	}
	switch s.Kind {
	case SpectrumBandHeight:
		c.bandEnds(path, &s.At, s.From, s.To)
	case SpectrumBandArea:
		c.bandEnds(path, nil, s.From, s.To)
	case SpectrumRatio:
		c.band(path+".of", s.Of)
		c.band(path+".by", s.By)
	case SpectrumDerivative:
		c.derivative(path+".derivative", s.Derivative)
	case SpectrumColour:
		c.oneOf(path+".component", s.Component, ComponentL, ComponentA, ComponentB)
		c.only(path, s, OrdinateTransmittance)
	case SpectrumPhenolicIndex:
		c.only(path, s, OrdinateAbsorbance)
	}
}

// axis checks what the positions and the ordinates of a spectrum are.
func (c *checker) axis(path, unit, ordinate string) {
	c.required(path, "unit", "ordinate")
	c.oneOf(path+".unit", unit, "nm", "cm-1")
	c.oneOf(path+".ordinate", ordinate, OrdinateAbsorbance, OrdinateTransmittance)
}

// only wants the axes that a figure is defined over.
func (c *checker) only(path string, s *SpectrumSource, ordinate string) {
	if c.Has(path+".unit") && s.Unit != "nm" {
		c.Fault(path+".unit", "nm", "%s.unit: %s is defined over wavelengths in nm", path, s.Kind)
	}
	if c.Has(path+".ordinate") && s.Ordinate != ordinate {
		c.Fault(path+".ordinate", "say convert: true when the spectra have the other of the two", "%s.ordinate: %s is defined by the %s", path, s.Kind, ordinate)
	}
}

func (c *checker) band(path string, b *Band) {
	switch {
	case b == nil:
	case b.From == nil && b.To == nil:
		c.required(path, "at")
		c.positive(path+".at", b.At)
	default:
		c.required(path, "from", "to")
		c.positive(path+".at", b.At)
		c.bandEnds(path, b.At, b.From, b.To)
	}
}

// bandEnds checks a local baseline and, where given, the position over it.
func (c *checker) bandEnds(path string, position, from, to *float64) {
	c.positive(path+".from", from)
	c.positive(path+".to", to)
	switch {
	case from == nil || to == nil:
	case *from == *to:
		c.Fault(path+".to", "give two ends of the local baseline", "%s.to is where the local baseline begins", path)
	case position != nil && *position > 0 && !(*position > min(*from, *to) && *position < max(*from, *to)):
		c.Fault(path+".at", "", "%s.at %v is not between from %v and to %v", path, *position, *from, *to)
	}
}

func (c *checker) derivative(path string, d *Derivative) {
	if d == nil {
		return
	}
	c.required(path, "order", "points", "degree")
	if c.Has(path+".order") && d.Order != 1 && d.Order != 2 {
		c.Fault(path+".order", "1 or 2", "%s.order is %d", path, d.Order)
	}
	if c.Has(path+".points") && (d.Points < 3 || d.Points > maxFilter || d.Points%2 == 0) {
		c.Fault(path+".points", fmt.Sprintf("an odd number from 3 to %d", maxFilter), "%s.points is %d", path, d.Points)
		return
	}
	if c.Has(path+".degree") && (d.Degree < max(1, d.Order) || d.Degree >= d.Points) {
		c.Fault(path+".degree", "not below the order, and below the points", "%s.degree is %d", path, d.Degree)
	}
}

func (c *checker) features() {
	names := map[string]int{}
	for i := range c.method.Features {
		f, path := &c.method.Features[i], fmt.Sprintf("features[%d]", i)
		c.required(path, "name", "from", "to", "step")
		if before, twice := names[f.Name]; twice && f.Name != "" {
			c.Fault(path+".name", "give each feature its own name", "feature %q is already features[%d]", f.Name, before)
		}
		names[f.Name] = i
		c.axis(path, f.Unit, f.Ordinate)
		c.positive(path+".from", &f.From)
		c.positive(path+".to", &f.To)
		c.positive(path+".step", &f.Step)
		if c.Has(path+".from") && c.Has(path+".to") {
			c.ordered(path, "from", "to", &f.From, &f.To, false)
		}
		if f.From > 0 && f.To > f.From && f.Step > 0 && len(f.Grid()) < 2 {
			c.Fault(path+".step", fmt.Sprintf("2 to %d positions", maxGrid), "%s.step %v makes no grid from %v to %v", path, f.Step, f.From, f.To)
		}
		c.oneOf(path+".interpolation", f.Interpolation, InterpolationLinear, InterpolationMonotone)
		c.oneOf(path+".treatment", f.Treatment, TreatmentVariate, TreatmentArea, TreatmentDerivative)
		switch {
		case f.Treatment == TreatmentDerivative:
			c.required(path, "derivative")
			c.derivative(path+".derivative", f.Derivative)
		case c.Has(path + ".derivative"):
			c.Fault(path+".derivative", "leave it out", "%s.derivative is given, and the treatment is not %q", path, TreatmentDerivative)
		}
	}
	if format := c.method.Input.Format; len(c.method.Features) > 0 && format == parsers.FormatDelimited {
		c.Fault("features", "leave it out: delimited exports hold no spectra", "features cannot come from format %q", format)
	}
}
