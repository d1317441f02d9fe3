package jcampdx

import (
	"maps"
	"math"
	"regexp"
	"strconv"
	"strings"

	"underbond/parsers"
)

// declared holds the labels of a block that say something about its table, by
// normalised name.
type declared map[string]value

// value is a label's value as written and where it stands.
type value struct {
	name  string // label as written
	text  string
	place parsers.Place
}

// describing are the labels that declared keeps.
var describing = map[string]bool{
	"XUNITS": true, "YUNITS": true, "XLABEL": true, "YLABEL": true,
	"XFACTOR": true, "YFACTOR": true, "FIRSTX": true, "LASTX": true, "DELTAX": true,
	"NPOINTS": true, "FIRSTY": true, "MAXX": true, "MINX": true, "MAXY": true, "MINY": true,
	"RUNITS": true, "AUNITS": true, "RFACTOR": true, "AFACTOR": true,
	"FIRSTR": true, "LASTR": true, "DELTAR": true, "FIRSTA": true, "MAXA": true, "MINA": true,
	// The parallel lists of NTUPLES, which a page may restate for itself.
	"SYMBOL": true, "VARDIM": true, "UNITS": true, "FIRST": true, "LAST": true, "MIN": true, "MAX": true, "FACTOR": true,
}

// numeric are the labels whose values are numbers or lists of them; a "=" at the end of
// a line continues the string of all others.
var numeric = func() map[string]bool {
	out := maps.Clone(describing)
	for _, text := range []string{"XUNITS", "YUNITS", "XLABEL", "YLABEL", "RUNITS", "AUNITS", "SYMBOL", "UNITS"} {
		delete(out, text)
	}
	return out
}()

// number is a declared number. It is set only when a label gives one that can be read.
type number struct {
	v     float64
	set   bool
	bad   bool // there is a value and it is not a number
	comma bool // written with a decimal comma
	value
}

// axis is what is declared of one axis of a table.
type axis struct {
	units  string
	factor number
	first  number
	last   number
	delta  number
	min    number
	max    number
}

// description is what is declared of one table.
type description struct {
	x, y   axis
	points number
	// problems are declared values that cannot be read as numbers.
	problems []parsers.Problem
}

// strayBlank is a blank after a sign or a decimal point, where no other reading of a
// single value is possible.
var strayBlank = regexp.MustCompile(`([-+.]) +`)

// number reads a declared number; an empty value counts as absent.
func (d *description) number(v value, ok bool) number {
	if !ok || strings.TrimSpace(v.text) == "" {
		return number{}
	}
	f, comma, good := headerNumber(v.text)
	if !good {
		f, comma, good = headerNumber(strayBlank.ReplaceAllString(v.text, "$1"))
		what := "%q is not a number"
		if good {
			what = "%q has a blank inside the number"
		}
		d.problems = append(d.problems, parsers.Warn("jcampdx-header-number", v.place, what, clip(v.text)))
		if !good {
			return number{bad: true, value: v}
		}
	}
	return number{v: f, set: true, comma: comma, value: v}
}

// describe reads the labels of a plain table, whose axes are called X and Y, or of
// an interferogram, where they are called R and A.
func (d declared) describe(x, y string) description {
	var out description
	read := func(name string) number {
		v, ok := d[name]
		return out.number(v, ok)
	}
	out.x = axis{
		units: d[x+"UNITS"].text, factor: read(x + "FACTOR"), first: read("FIRST" + x),
		last: read("LAST" + x), delta: read("DELTA" + x),
	}
	if x == "X" {
		out.x.min, out.x.max = read("MINX"), read("MAXX")
	}
	out.y = axis{
		units: d[y+"UNITS"].text, factor: read(y + "FACTOR"), first: read("FIRST" + y),
		min: read("MIN" + y), max: read("MAX" + y),
	}
	out.points = read("NPOINTS")
	return out
}

// factorOr1 is the factor, or 1 when none is declared.
func (a axis) factorOr1() float64 {
	if a.factor.set {
		return a.factor.v
	}
	return 1
}

// usable refuses a factor that cannot be read or would wipe out every value.
func (a axis) usable() error {
	if a.factor.bad {
		return parsers.Refuse("jcampdx-factor", a.factor.place, "the factor %q is not a number", clip(a.factor.text))
	}
	if a.factor.set && !(math.Abs(a.factor.v) > 0) {
		return parsers.Refuse("jcampdx-factor", a.factor.place, "the factor is zero")
	}
	return nil
}

// decimalComma reports that the numbers that describe the table's values have the
// shape of a decimal comma. MAXX and the like do not count: they are often written
// by another part of the exporting program.
func (d description) decimalComma() bool {
	return d.x.first.comma || d.x.last.comma || d.y.first.comma
}

// disagrees tells whether value differs from what is declared by more than the
// precision of the declared text or slack allows.
func (n number) disagrees(value, slack float64) bool {
	if !n.set {
		return false
	}
	allowed := math.Max(lastUnit(n.text), slack)
	allowed = math.Max(allowed, 1e-9*math.Abs(n.v))
	return !(math.Abs(n.v-value) <= allowed*(1+1e-9))
}

// warn makes the warning that a declared value disagrees.
func (n number) warn(code, what string, value float64) parsers.Problem {
	return parsers.Warn(code, n.place, "declared %s is %s, the data gives %s",
		what, strings.TrimSpace(n.text), strconv.FormatFloat(value, 'g', 10, 64))
}

// clip shortens text for a message.
func clip(text string) string {
	if len(text) > 60 {
		return strings.ToValidUTF8(text[:60], "?") + "…"
	}
	return strings.ToValidUTF8(text, "?")
}
