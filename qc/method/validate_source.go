package method

import (
	"slices"

	"underbond/parsers"
)

func (c *checker) source(path string, s *Source) {
	var given []string
	for _, key := range []string{"table", "spectrum", "chromatogram", "strength_from_density"} {
		if c.Has(at(path, key)) {
			given = append(given, key)
		}
	}
	if len(given) != 1 {
		c.Fault(path, "give exactly one of table, spectrum, chromatogram and strength_from_density", "%s has %d kinds of source: %s", path, len(given), list(given))
	}
	format := c.method.Input.Format
	fromTable := len(given) == 1 && (given[0] == "table" || given[0] == "strength_from_density")
	if len(given) == 1 && format != "" && fromTable != (format == parsers.FormatDelimited) {
		c.Fault(at(path, given[0]), "delimited exports give tables; the other formats give spectra and chromatograms", "%s cannot come from format %q", at(path, given[0]), format)
	}
	switch {
	case s.Table != nil:
		c.table(path+".table", s.Table)
	case s.Density != nil:
		c.density(path+".strength_from_density", s.Density)
	case s.Spectrum != nil:
		c.spectrum(path+".spectrum", s.Spectrum)
	case s.Chromatogram != nil:
		c.chromatogram(path+".chromatogram", s.Chromatogram)
	}
}

func (c *checker) density(path string, s *DensitySource) {
	c.required(path, "density", "temperature")
	if s.Density == s.Temperature && s.Density != "" {
		c.Fault(path+".temperature", "", "%s takes density and temperature from the same column", path)
	}
}

func (c *checker) table(path string, s *TableSource) {
	c.required(path, "value")
	c.unique(path+".match", s.Match)
	c.positive(path+".replicate_rsd_percent", s.ReplicateRSD)
	if s.ReplicateRSD != nil && !s.Replicates {
		c.Fault(path+".replicate_rsd_percent", "add replicates: true", "%s.replicate_rsd_percent is given, and the method knows no replicates", path)
	}
}

func (c *checker) chromatogram(path string, s *ChromatogramSource) {
	c.required(path, "trace", "window", "response")
	relative := c.Has(path + ".relative_retention")
	switch {
	case !relative:
		c.required(path, "retention")
	case c.Has(path + ".retention"):
		c.Fault(path+".relative_retention", "keep one of the two", "%s has both retention and relative_retention", path)
	}
	c.positive(path+".retention", &s.Retention)
	c.positive(path+".relative_retention", s.RelativeRetention)
	if relative {
		c.relative(path + ".relative_retention")
	}
	c.positive(path+".window", &s.Window)
	if s.Window > s.Retention && s.Retention > 0 {
		c.Fault(path+".window", "minutes either side of the retention time", "%s.window %v min is wider than the retention time %v min", path, s.Window, s.Retention)
	}
	c.oneOf(path+".response", s.Response, "area", "height")
	c.trace(path+".trace", s.Trace)
	c.peakIntegration(path+".integration", s)
	if q := s.Qualifier; q != nil {
		below := path + ".qualifier"
		c.required(below, "trace", "ratio", "tolerance_percent")
		c.trace(below+".trace", q.Trace)
		c.positive(below+".ratio", &q.Ratio)
		c.positive(below+".tolerance_percent", &q.Tolerance)
	}
}

// relative wants an internal standard that a retention time can be relative to.
func (c *checker) relative(path string) {
	const own = "internal_standard.source.chromatogram.relative_retention"
	is := c.method.InternalStandard
	switch {
	case path == own:
		c.Fault(path, "give its retention in minutes", "the internal standard's retention cannot be relative to itself")
	case is == nil || is.Source.Chromatogram == nil:
		c.Fault(path, "describe it under internal_standard with a chromatogram as source", "%s needs the peak of an internal standard, and the method has none", path)
	}
}

func (c *checker) trace(path string, t Trace) {
	if !c.Has(path) {
		return
	}
	if !c.Has(path + ".extract") {
		c.selected(path, t)
		return
	}
	if !c.oneOf(path+".extract", t.Extract, ExtractTotalIon, ExtractBasePeak, ExtractIon, ExtractWavelength) {
		return
	}
	must, may := []string(nil), []string{"ms_level", "polarity"}
	switch t.Extract {
	case ExtractIon:
		must = []string{"mz", "tolerance"}
	case ExtractWavelength:
		must, may = []string{"wavelength", "bandwidth"}, nil
	}
	c.required(path, must...)
	for _, key := range []string{"id", "kind", "wavelength", "precursor", "product", "mz", "tolerance", "bandwidth", "ms_level", "polarity"} {
		if c.Has(at(path, key)) && !slices.Contains(must, key) && !slices.Contains(may, key) {
			c.Fault(at(path, key), "leave it out", "%s means nothing to a trace with extract %q", key, t.Extract)
		}
	}
	if format := c.method.Input.Format; format != "" && format != parsers.FormatMzML {
		c.Fault(path+".extract", "only mzml holds spectra over time", "%s: no trace can be extracted from format %q", path, format)
	}
	c.positive(path+".wavelength", t.Wavelength)
	c.positive(path+".bandwidth", t.Bandwidth)
	c.positive(path+".mz", t.MZ)
	if c.Has(path + ".tolerance") {
		if _, _, err := ParseTolerance(t.Tolerance); err != nil {
			c.Fault(path+".tolerance", "a number above zero with its unit: 10 ppm or 0.01 Da", "%s.tolerance is %q", path, t.Tolerance)
		}
	}
	if c.Has(path+".ms_level") && t.MSLevel < 1 {
		c.Fault(path+".ms_level", "1 for unfragmented ions; leave it out for all", "%s.ms_level is %d", path, t.MSLevel)
	}
	c.oneOf(path+".polarity", t.Polarity, "positive", "negative")
}

// selected checks the selection of a chromatogram that the export holds.
func (c *checker) selected(path string, t Trace) {
	for _, key := range []string{"mz", "tolerance", "bandwidth", "ms_level", "polarity"} {
		if c.Has(at(path, key)) {
			c.Fault(at(path, key), "add extract (total ion, base peak, ion or wavelength) for a trace made of spectra", "%s means nothing without extract", key)
		}
	}
	if t.ID == "" && t.Kind == "" && t.Wavelength == nil && t.Precursor == nil && t.Product == nil {
		c.Fault(path, "give id, kind, wavelength (nm), or precursor and product (m/z)", "%s selects nothing", path)
	}
	c.positive(path+".wavelength", t.Wavelength)
	c.positive(path+".precursor", t.Precursor)
	c.positive(path+".product", t.Product)
	if t.Product != nil && t.Precursor == nil {
		c.Fault(path+".product", "give the precursor of the reaction", "%s has a product without a precursor", path)
	}
}
