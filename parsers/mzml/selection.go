package mzml

import (
	"math"

	"underbond/parsers"
)

// noWindow is a window of which nothing is known.
var noWindow = parsers.Window{Target: math.NaN(), Low: math.NaN(), High: math.NaN()}

// isolated turns the offsets of an isolation window into its limits.
func (it *item) isolated(w *parsers.Window) {
	w.Low, w.High = w.Target-w.Low, w.Target+w.High
}

// selection takes up a term about windows, selected ions and activation.
func (r *reading) selection(at site, p *param) {
	it := r.item
	if at == siteProduct {
		r.window(&it.product, p)
		return
	}
	if at == siteWindow {
		w := &it.windows[len(it.windows)-1]
		switch p.accession {
		case termWindowLow:
			r.number(&w.Low, p)
		case termWindowHigh:
			r.number(&w.High, p)
		}
		return
	}
	if at == siteOther || len(it.precursors) == 0 {
		return
	}
	from := &it.precursors[len(it.precursors)-1]
	switch at {
	case sitePrecursor:
		r.window(&from.Isolation, p)
	case siteIon:
		r.ion(&from.Ions[len(from.Ions)-1], p)
	case siteActivation:
		if name, ok := activations[p.accession]; ok {
			from.Activation = append(from.Activation, name)
		}
		if p.accession == termCollisionEnergy && (p.unit == unitElectronvolt || p.unit == 0) {
			r.number(&from.Energy, p)
		}
	}
}

// window takes up target and offsets of an isolation window.
func (r *reading) window(w *parsers.Window, p *param) {
	switch p.accession {
	case termIsolationTarget:
		r.number(&w.Target, p)
	case termIsolationLower:
		r.number(&w.Low, p)
	case termIsolationUpper:
		r.number(&w.High, p)
	}
}

func (r *reading) ion(ion *parsers.Ion, p *param) {
	switch p.accession {
	case termSelectedIon:
		r.number(&ion.MZ, p)
	case termPeakIntensity:
		r.number(&ion.Intensity, p)
	case termCharge:
		charge := math.NaN()
		r.number(&charge, p)
		switch {
		case math.IsNaN(charge): // remarked
		case charge != math.Trunc(charge) || math.Abs(charge) > 1e6:
			r.remark(CodeValue, "%.80s is %.40q", p.label(), p.value)
		default:
			ion.Charge = int(charge)
		}
	}
}

// number takes up a value; the first one given stands.
func (r *reading) number(to *float64, p *param) {
	if !math.IsNaN(*to) {
		return
	}
	v, ok := parseDouble(p.value)
	if !ok {
		r.remark(CodeValue, "%.80s is %.40q", p.label(), p.value)
		return
	}
	*to = v
}
