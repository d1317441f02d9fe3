package inspect

import (
	"time"

	"underbond/parsers"
)

// collector is the sink that keeps summaries.
type collector struct {
	opt      Options
	version  string
	list     []Acquisition
	problems []parsers.Problem // on acquisitions
	current  Acquisition
}

// Begin implements parsers.Sink.
func (c *collector) Begin(h parsers.Header) error {
	if c.version == "" {
		c.version = h.Version
	}
	c.current = Acquisition{Record: h.Record, NativeKey: Text(h.NativeKey), Title: Text(h.Title), Sample: Text(h.Sample), Vial: Text(h.Vial),
		StartedText: Text(h.Start.Text), Metadata: fields(h.Fields), Tables: []Table{}, Spectra: []Spectrum{}, Chromatogram: []Chromatogram{}}
	zone := c.opt.Zone
	if zone == nil {
		zone = time.UTC
	}
	started := h.Start.Resolve(zone)
	c.current.StartedAt, c.current.StartStatus = started.At, started.Status
	if c.opt.Zone == nil && started.Status == parsers.StartZoned {
		c.current.StartedAt, c.current.StartStatus = nil, StartNoZone
	}
	return nil
}

// Signal implements parsers.Sink.
func (c *collector) Signal(s parsers.Signal) error {
	a := &c.current
	switch s := s.(type) {
	case *parsers.Table:
		a.Tables = append(a.Tables, tableOfRows(len(a.Tables), s, c.opt.Points))
	case *parsers.Chromatogram:
		a.ChromatoN++
		a.Chromatogram = append(a.Chromatogram, chromatogram(s, c.opt.Points))
	case *parsers.Spectrum:
		if s.Table != "" {
			a.Tables = append(a.Tables, tableOfSpectrum(s, c.opt.Points))
			return nil
		}
		a.SpectrumN++
		a.Spectra = append(a.Spectra, spectrum(s, c.opt.Points))
		// What lies before the middle will not be shown.
		if passed := a.SpectrumN/2 - 1; !c.opt.All && passed > 0 {
			a.Spectra[passed].XY = nil
		}
	}
	return nil
}

// End implements parsers.Sink.
func (c *collector) End(t parsers.Trailer) error {
	a := &c.current
	c.problems = append(c.problems, t.Problems...)
	if n := len(a.Spectra); n > 3 && !c.opt.All {
		a.Spectra = []Spectrum{a.Spectra[0], a.Spectra[n/2], a.Spectra[n-1]}
	}
	c.list = append(c.list, *a)
	return nil
}
