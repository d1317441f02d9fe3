package scenario

import "math"

// chemistry is the true composition of a spirit.
type chemistry struct {
	amounts  map[string]float64 // by analyte, in the analyte's unit
	spectrum spectrum           // of the undiluted spirit in a 1 cm cell
}

// brew gives the chemistry that follows from a history. The numbers are invented within
// what published studies of fruit spirits find plausible: wood phenolics rise with years
// and with the wood, copper with the pot still, methanol with pears and pulp.
func brew(h history, n noise) chemistry {
	c := chemistry{amounts: map[string]float64{}}
	c.congeners(h, n)
	c.phenolics(h, n)
	c.elements(h, n)
	c.amounts[strengthName] = h.strength
	c.amounts[densityName] = densityAt20(h.strength) / 1000
	c.spectrum = c.colour(h, n)
	for _, a := range absorbances {
		c.amounts[a.name] = c.spectrum.at(a.wavelength) - c.spectrum.at(baselineAt)
	}
	return c
}

// set records an amount. It is moved away from the limit of quantitation of the
// undiluted spirit, so that noise cannot decide whether a number is reported.
func (c *chemistry) set(name string, amount, loq float64) {
	switch {
	case amount > 0.5*loq && amount < loq:
		amount = 0.5 * loq
	case amount >= loq && amount < 1.6*loq:
		amount = 1.6 * loq
	}
	c.amounts[name] = amount
}

func (c *chemistry) congeners(h history, n noise) {
	light, fusel := 1.0, 1.0 // a column strips what boils early
	if h.still == column {
		light, fusel = 0.55, 0.8
	}
	methanol := 60 + 110*h.pear
	if h.mash {
		methanol = 1130
	}
	perAlcohol := map[string]float64{ // g/hL p.a.
		"acetaldehyde":        (9 + 1.1*h.years) * light * n.scatter(0.10),
		"ethyl acetate":       (90 + 16*h.years) * light * n.scatter(0.10),
		"acetal":              (6 + 0.8*h.years) * light * n.scatter(0.10),
		"methanol":            methanol * n.scatter(0.03),
		"2-butanol":           (14 + 16*h.pear) * light * n.scatter(0.12),
		"1-propanol":          (34 + 22*h.pear) * fusel * n.scatter(0.08),
		"2-methyl-1-propanol": (52 - 14*h.pear) * fusel * n.scatter(0.08),
		"1-butanol":           (12 + 5*h.pear) * fusel * n.scatter(0.08),
		"2-methyl-1-butanol":  (31 - 8*h.pear) * fusel * n.scatter(0.08),
		"3-methyl-1-butanol":  (138 - 30*h.pear) * fusel * n.scatter(0.08),
	}
	for _, m := range congeners {
		c.set(m.name, perAlcohol[m.name]*h.strength/10, m.floor)
	}
}

// woodYield scales what a wood gives up: gallic acid, ellagic acid, and the aldehydes
// and acids of lignin, against oak.
var woodYield = map[string]struct{ gallic, ellagic, lignin float64 }{
	oak:      {1, 1, 1},
	chestnut: {2.4, 1.5, 0.8},
	acacia:   {0.3, 0.12, 0.45},
}

func (c *chemistry) phenolics(h history, n noise) {
	yield := woodYield[h.wood]
	extracted := 1 - math.Exp(-h.years/4)
	if h.held == "new" {
		extracted *= 1.7 // a new cask gives more than one that has been used
	}
	kept := 1.0
	if h.charcoal {
		kept = 0.8
	}
	still := 1.6 // furfural formed in a still over a fire
	if h.still == column {
		still = 0.6
	}
	mgPerL := map[string]float64{
		"gallic acid":             10 * yield.gallic * extracted,
		"ellagic acid":            14 * yield.ellagic * extracted,
		"vanillic acid":           (0.9 + 0.12*h.years) * yield.lignin * extracted,
		"syringic acid":           (1.3 + 0.18*h.years) * yield.lignin * extracted,
		"vanillin":                2.4 * yield.lignin * extracted,
		"syringaldehyde":          5.2 * yield.lignin * extracted,
		"coniferaldehyde":         2.6 * yield.lignin * extracted * math.Exp(-h.years/20),
		"sinapaldehyde":           3.4 * yield.lignin * extracted * math.Exp(-h.years/20),
		"scopoletin":              0.35 * yield.lignin * extracted,
		"furfural":                still + 9*yield.lignin*extracted,
		"5-hydroxymethylfurfural": 3.2*yield.lignin*extracted + 20*h.caramel,
	}
	for _, m := range phenolics {
		c.set(m.name, mgPerL[m.name]*kept*n.scatter(0.08), m.floor)
	}
}

func (c *chemistry) elements(h history, n noise) {
	copper, iron := 1450.0, 240.0
	if h.still == column {
		copper, iron = 150, 320
	}
	inUnit := map[string]float64{
		"sodium":    9,
		"magnesium": 0.9 + 0.12*h.years,
		"potassium": 2.5 + 2.1*h.years,
		"calcium":   1.6 + 0.35*h.years,
		"manganese": 14 + 9*h.years,
		"iron":      iron + 25*h.years,
		"copper":    copper * (1 + 0.02*h.years),
		"rubidium":  4 + 2.2*h.years,
		"strontium": 9 + 1.1*h.years,
		"lead":      6 + 0.5*h.years,
	}
	for _, m := range elements {
		c.set(m.name, inUnit[m.name]*n.scatter(0.18), m.floor*elementDilution)
	}
}
