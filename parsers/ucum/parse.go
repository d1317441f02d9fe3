package ucum

import (
	"strings"
	"unicode"
)

// Parse reads a unit as written in documents or exports, or as a UCUM code: "mg/L",
// "µg/L" or "ug/L", "g/hL p.a.", "% vol" or "%{vol}", "kg/m³", "cm-1", "1". Spaces
// and the different characters for micro and superscripts do not matter; letter case
// does, save that the litre may be l or L.
//
// A text that is no known unit gives an *UnknownError with a hint.
func Parse(text string) (Unit, error) {
	clean := tidy(text)
	if u, ok := named[clean]; ok {
		u.Text = text
		return u, nil
	}
	if body, ok := cutPureAlcohol(clean); ok {
		u, ok := quotient(body)
		if !ok || u.Dimension != (Dimension{Length: -3, Mass: 1}) {
			return Unit{}, &UnknownError{text, "per pure alcohol is a mass per volume, such as g/hL p.a."}
		}
		u.Text, u.Kind, u.UCUM = text, PureAlcohol, u.UCUM+"{pure_alcohol}"
		return u, nil
	}
	u, ok := quotient(clean)
	if !ok {
		return Unit{}, &UnknownError{text, hint(clean)}
	}
	u.Text = text
	if u.Dimension == (Dimension{}) && u.Kind == Ordinary && strings.Contains(clean, "g/") {
		u.Kind = MassFraction
	}
	return u, nil
}

// tidy removes spaces and gives one spelling to micro signs, superscripts, dashes and dots.
func tidy(text string) string {
	var b strings.Builder
	for _, r := range text {
		switch {
		case unicode.IsSpace(r):
		case r == 'µ' || r == 'μ':
			b.WriteByte('u')
		case r == '⁻' || r == '−' || r == '‐' || r == '‑':
			b.WriteByte('-')
		case r == '¹':
			b.WriteByte('1')
		case r == '²':
			b.WriteByte('2')
		case r == '³':
			b.WriteByte('3')
		case r == '·' || r == '⋅' || r == '*':
			b.WriteByte('.')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// cutPureAlcohol removes the words for "of pure alcohol" from the end of a unit.
func cutPureAlcohol(clean string) (string, bool) {
	for _, suffix := range []string{"{pure_alcohol}", "p.a.", "pa", "ofpurealcohol", "purealcohol"} {
		if body, ok := strings.CutSuffix(clean, suffix); ok && strings.Contains(body, "/") {
			return body, true
		}
	}
	return clean, false
}

// quotient reads product/product, /product or 1/product.
func quotient(text string) (Unit, bool) {
	above, below, divided := strings.Cut(text, "/")
	if strings.Contains(below, "/") {
		return Unit{}, false
	}
	u := coherent
	if !(divided && (above == "" || above == "1")) {
		var ok bool
		if u, ok = product(above); !ok {
			return Unit{}, false
		}
	}
	if !divided {
		return u, true
	}
	d, ok := product(below)
	if !ok {
		return Unit{}, false
	}
	for i := range u.Dimension {
		u.Dimension[i] -= d.Dimension[i]
	}
	if u.Kind == Ordinary {
		u.Kind = d.Kind
	}
	u.Numerator *= d.Denominator
	u.Denominator *= d.Numerator
	u.Power -= d.Power
	u.UCUM += "/" + d.UCUM
	return u, true
}

// maxFactors bounds a product, and with it the whole numbers of its factor.
const maxFactors = 3

// product reads factors joined by dots.
func product(text string) (Unit, bool) {
	parts := strings.Split(text, ".")
	if len(parts) > maxFactors {
		return Unit{}, false
	}
	u := coherent
	for i, part := range parts {
		f, ok := factor(part)
		if !ok {
			return Unit{}, false
		}
		for j := range u.Dimension {
			u.Dimension[j] += f.Dimension[j]
		}
		if u.Kind == Ordinary {
			u.Kind = f.Kind
		}
		u.Numerator *= f.Numerator
		u.Denominator *= f.Denominator
		u.Power += f.Power
		if i > 0 {
			u.UCUM += "."
		}
		u.UCUM += f.UCUM
	}
	return u, true
}

// factor reads a unit with an optional prefix and a one-digit exponent.
func factor(text string) (Unit, bool) {
	symbol := strings.TrimRight(text, "0123456789")
	digits := text[len(symbol):]
	symbol, negative := strings.CutSuffix(symbol, "-")
	exponent := 1
	switch {
	case len(digits) > 1 || negative && digits == "" || digits == "0":
		return Unit{}, false
	case digits != "":
		exponent = int(digits[0] - '0')
	}
	u, ok := prefixed(symbol)
	// Minutes and hours have no powers in use.
	plain := u.Numerator == 1 && u.Denominator == 1
	if !ok || exponent > 3 || exponent > 1 && !plain {
		return Unit{}, false
	}
	if exponent > 1 || negative {
		u = u.raised(exponent, negative)
		if negative {
			u.UCUM += "-"
		}
		u.UCUM += digits
	}
	return u, true
}

// raised gives u to the power of exponent, or its inverse.
func (u Unit) raised(exponent int, inverse bool) Unit {
	out := u
	for range exponent - 1 {
		for i := range out.Dimension {
			out.Dimension[i] += u.Dimension[i]
		}
		out.Numerator *= u.Numerator
		out.Denominator *= u.Denominator
		out.Power += u.Power
	}
	if inverse {
		for i := range out.Dimension {
			out.Dimension[i] = -out.Dimension[i]
		}
		out.Numerator, out.Denominator, out.Power = out.Denominator, out.Numerator, -out.Power
	}
	return out
}

func prefixed(symbol string) (Unit, bool) {
	if a, ok := atoms[symbol]; ok {
		return a, true
	}
	for _, p := range prefixes {
		rest, ok := strings.CutPrefix(symbol, p.symbol)
		if !ok {
			continue
		}
		if a, ok := atoms[rest]; ok && metric[rest] {
			a.Power += p.power
			a.UCUM = p.symbol + a.UCUM
			return a, true
		}
	}
	return Unit{}, false
}
