package mzml

import (
	"errors"
	"fmt"

	"underbond/parsers"
)

// places are the arrays of a signal by what they are to it.
type places struct {
	axis, value           *array // nil when there is none
	axisTwice, valueTwice bool
}

// placed decides what each array is to the signal. All others are extra, and so are two
// arrays for the same place, because nobody can say which is meant.
func (it *item) placed() (p places) {
	axisBest, valueBest := 0, 0
	for i := range it.arrays {
		a := &it.arrays[i]
		if a.kinds != 1 || a.coding.text {
			continue
		}
		if n := it.axisRankOf(a); n > 0 {
			choose(&p.axis, &axisBest, &p.axisTwice, a, n)
		} else if n := valueRank[a.kind]; n > 0 {
			choose(&p.value, &valueBest, &p.valueTwice, a, n)
		}
	}
	return p
}

func (it *item) axisRankOf(a *array) int {
	if !it.chromatogram {
		return axisRank[a.kind]
	}
	if a.kind == termTimeArray {
		return 1
	}
	return 0
}

// choose takes the array with the lowest rank.
func choose(to **array, best *int, twice *bool, a *array, rank int) {
	switch {
	case *to == nil || rank < *best:
		*to, *best, *twice = a, rank, false
	case rank == *best:
		*twice = true
	}
}

// decode decodes all arrays. It may run beside the scanner and touches the item only.
func (it *item) decode(d *arrayDecoder, ratio int) {
	for i := range it.arrays {
		a := &it.arrays[i]
		if a.kinds > 1 {
			it.at(a, parsers.Warn, CodeArrayCoding, "%d terms for what it holds", a.kinds)
		}
		err := d.decode(a, ratio)
		var loss *lossError
		switch {
		case errors.As(err, &loss):
			it.at(a, parsers.Lose, loss.code, "%s", loss.why)
			a.values, a.text = a.values[:0], nil
			continue
		case a.length() == 0 && a.declared > 0:
			it.at(a, parsers.Lose, CodeArrayLength, "no values where %d are declared", a.declared)
		case a.length() != a.declared:
			it.at(a, parsers.Warn, CodeArrayLength, "%d values where %d are declared", a.length(), a.declared)
		case d.trailing > 0:
			it.at(a, parsers.Warn, CodeArrayLength, "%d bytes after the end of the compressed data", d.trailing)
		}
		if d.inexact {
			it.at(a, parsers.Warn, CodePrecision, "integers beyond 2^53 lose digits")
		}
		a.whole = true
	}
}

// at remarks on an array.
func (it *item) at(a *array, grade func(string, parsers.Place, string, ...any) parsers.Problem, code, format string, args ...any) {
	where := a.where
	where.Element = it.name()
	it.problems = append(it.problems, grade(code, where, "array %d (%s): %s", a.number, a.title(), fmt.Sprintf(format, args...)))
}

// extra gives the arrays that are neither axis nor ordinate.
func (it *item) extra(p places) []parsers.Array {
	list := it.extras[:0]
	for i := range it.arrays {
		a := &it.arrays[i]
		if !a.whole || a == p.axis && !p.axisTwice || a == p.value && !p.valueTwice {
			continue
		}
		list = append(list, parsers.Array{Quantity: a.quantity(), Values: a.values, Text: a.text})
	}
	it.extras = list
	return list
}
