package qc

import (
	"math"
	"strings"
	"testing"
)

func TestReplicates(t *testing.T) {
	lead := func(text, mark string, v float64) CellValue {
		c := CellValue{Meaning: "Pb", Unit: "ug/L", Text: text, Mark: mark}
		if mark == "" {
			c.Value = &v
		}
		return c
	}
	found := func(v float64) CellValue { return lead("n", "", v) }
	below, empty, absent := lead("<0.05", "below", 0), lead("", "empty", 0), lead("n.d.", "not found", 0)
	mean := (2.4 + 2.5 + 2.9) / 3
	tests := map[string]struct {
		cells    []CellValue // of lead
		reported string
		finding  string // empty: none
		reason   string // of the hold
	}{
		"mean of three":         {[]CellValue{found(2.45), found(2.5), found(2.55)}, "2.50", "", ""},
		"far apart":             {[]CellValue{found(2.4), found(2.5), found(2.9)}, "2.60", "lead: the RSD of 3 replicates is 10.2 % (limit at most 5 %)", ""},
		"one left empty":        {[]CellValue{found(2.45), empty, found(2.55)}, "2.50", "", ""},
		"a single one":          {[]CellValue{found(2.5), empty, empty}, "2.50", "lead: the RSD of 1 replicates is not to be had", ""},
		"all empty":             {[]CellValue{empty, empty}, "", "", "empty"},
		"all below":             {[]CellValue{below, lead("<0.08", "below", 0)}, "< 0.10", "", ""},
		"none found":            {[]CellValue{absent, absent}, "< 0.10", "", ""},
		"some below":            {[]CellValue{found(2.5), below, found(2.5)}, "", "", `of 3 replicates some have a number and others have none (line 4 says "<0.05")`},
		"one is not a number":   {[]CellValue{found(2.5), lead("ERR", "not a number", 0)}, "", "", "not a number"},
		"in two units":          {[]CellValue{found(2.5), {Meaning: "Pb", Unit: "mg/L", Text: "n", Value: &mean}}, "", "", `replicates are in "ug/L" and in "mg/L"`},
		"about zero, no RSD":    {[]CellValue{found(-0.2), found(0.2)}, "< 0.10", "lead: the RSD of 2 replicates is not to be had", ""},
		"just at the RSD limit": {[]CellValue{found(100 - 5/math.Sqrt2), found(100 + 5/math.Sqrt2)}, "100.00", "", ""},
	}
	for name, tt := range tests {
		for _, form := range []string{"columns", "rows"} {
			t.Run(name+" in "+form, func(t *testing.T) {
				copper := CellValue{Meaning: "Cu", Unit: "ug/L", Text: "310", Value: ptr(310.0)}
				b := plainBatch(t)
				source := b.in.Method.Analytes[1].Source.Table
				source.Replicates, source.ReplicateRSD = true, ptr(5.0)
				if form == "columns" {
					b.member(1).Reduction.Rows[0].Values = append([]CellValue{copper}, tt.cells...)
				} else {
					source.Match = []string{"Pb"}
					b.in.Method.Analytes[0].Source.Table.Match = []string{"Cu"}
					rows := []TableRow{{Line: 3, Name: "Cu", Values: []CellValue{copper}}}
					for _, c := range tt.cells {
						rows = append(rows, TableRow{Line: 4, Name: "pb", Values: []CellValue{c}})
					}
					b.member(1).Reduction.Rows = rows
				}
				ev := b.evaluate()
				r := ev.result(1, "lead", BasisAsIs)
				if r.Reported != tt.reported || (r.Disposition == Held) != (tt.reason != "") {
					t.Errorf("%q, %s by %q; want %q", r.Reported, r.Disposition, r.HeldBy, tt.reported)
				}
				if tt.reason != "" && (len(r.HeldBy) != 1 || !strings.Contains(ev.check(r.HeldBy[0]).Reason, tt.reason)) {
					t.Errorf("held by %q, want the reason %q", r.HeldBy, tt.reason)
				}
				var findings []string
				for _, f := range ev.Findings {
					if f.Code == FindingReplicates {
						findings = append(findings, f.Text)
					}
				}
				if tt.finding == "" && len(findings) > 0 || tt.finding != "" && (len(findings) != 1 || !strings.Contains(findings[0], tt.finding)) {
					t.Errorf("findings %q, want %q", findings, tt.finding)
				}
			})
		}
	}
}

// Repeated rows or columns that the method does not call replicates stay a fault, and what
// the method calls so may still be of one substance only.
func TestReplicatesNotAskedFor(t *testing.T) {
	cell := CellValue{Meaning: "Pb", Unit: "ug/L", Text: "2.5", Value: ptr(2.5)}
	b := plainBatch(t, cell, cell)
	if r := b.evaluate().result(1, "lead", BasisAsIs); r.Reported != "" || r.Disposition != Held {
		t.Errorf("%q, %s", r.Reported, r.Disposition)
	}
	b = plainBatch(t)
	a := &b.in.Method.Analytes[1]
	a.CAS, a.Source.Table.Match, a.Source.Table.Replicates = "7439-92-1", []string{"Pb"}, true
	b.member(1).Reduction.Rows = []TableRow{
		{Line: 4, Name: "Pb", CAS: "7439-92-1", Values: []CellValue{cell}},
		{Line: 5, Name: "Pb", CAS: "7440-50-8", Values: []CellValue{cell}},
	}
	if r := b.evaluate().result(1, "lead", BasisAsIs); r.Reported != "" || r.Disposition != Held {
		t.Errorf("%q, %s", r.Reported, r.Disposition)
	}
}
