package qc

import (
	"cmp"
	"slices"

	"underbond/qc/method"
)

func compareOrdinates(a, b method.SpectrumSource) int {
	return cmp.Or(
		cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.At, b.At), compareGiven(a.Baseline, b.Baseline), cmp.Compare(a.Ordinate, b.Ordinate),
		cmp.Compare(a.Kind, b.Kind), compareBool(a.Convert, b.Convert), compareGiven(a.From, b.From), compareGiven(a.To, b.To),
		compareBands(a.Of, b.Of), compareBands(a.By, b.By), compareDerivatives(a.Derivative, b.Derivative), cmp.Compare(a.Component, b.Component))
}

func compareBands(a, b *method.Band) int {
	if order, decided := compareThere(a, b); decided {
		return order
	}
	return cmp.Or(compareGiven(a.At, b.At), compareGiven(a.From, b.From), compareGiven(a.To, b.To))
}

func compareDerivatives(a, b *method.Derivative) int {
	if order, decided := compareThere(a, b); decided {
		return order
	}
	return cmp.Or(cmp.Compare(a.Order, b.Order), cmp.Compare(a.Points, b.Points), cmp.Compare(a.Degree, b.Degree))
}

func compareTraces(a, b PlannedTrace) int {
	return cmp.Or(compareSelections(a.Trace, b.Trace), compareDepartures(a.Departure, b.Departure))
}

func compareSelections(a, b method.Trace) int {
	return cmp.Or(
		cmp.Compare(a.ID, b.ID), cmp.Compare(a.Kind, b.Kind), compareGiven(a.Wavelength, b.Wavelength),
		compareGiven(a.Precursor, b.Precursor), compareGiven(a.Product, b.Product),
		cmp.Compare(a.Extract, b.Extract), compareGiven(a.MZ, b.MZ), cmp.Compare(a.Tolerance, b.Tolerance), compareGiven(a.Bandwidth, b.Bandwidth),
		cmp.Compare(a.MSLevel, b.MSLevel), cmp.Compare(a.Polarity, b.Polarity))
}

func compareDepartures(a, b *method.PeakIntegration) int {
	if order, decided := compareThere(a, b); decided {
		return order
	}
	return cmp.Or(
		cmp.Compare(a.Baseline, b.Baseline), compareGiven(a.MinWidth, b.MinWidth), compareGiven(a.MaxWidth, b.MaxWidth),
		compareGiven(a.Start, b.Start), compareGiven(a.End, b.End),
		slices.CompareFunc(a.Lines, b.Lines, func(a, b method.Span) int {
			return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To))
		}))
}

// compareGiven orders absent before present.
func compareGiven(a, b *float64) int {
	if order, decided := compareThere(a, b); decided {
		return order
	}
	return cmp.Compare(*a, *b)
}

// compareThere orders absent before present; undecided when both are there.
func compareThere[T any](a, b *T) (order int, decided bool) {
	return compareBool(a != nil, b != nil), a == nil || b == nil
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}
