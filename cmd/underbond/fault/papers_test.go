package fault

import (
	"fmt"
	"slices"
	"strings"
)

// The documents of the laboratory; people, limits and materials are invented.

const methodHead = `kind: method
name: %s
version: "1"
title: %s
citation: in-house procedure (invented)
approved_by: Ida Morrow (invented)
effective_from: 2026-01-15T00:00:00Z
invented: true
input: {format: delimited, profile: %s}
release:
  standing:
    authorised_by: Tomas Vell (invented)
    signed_on: 2026-01-16T00:00:00Z
    statement: Results whose quality control has passed may be released. Invented.
`

var congenerMethod = fmt.Sprintf(methodHead, "congeners-fault", "Two congeners", "gc-peak-table") + `internal_standard:
  name: pentan-3-ol
  cas: 584-02-1
  amount: 400
  unit: mg/L
  source: {table: {match: ["Pentan-3-ol"], value: area}}
analytes:
  - name: ethyl acetate
    cas: 141-78-6
    unit: mg/L
    source: {table: {match: ["Ethyl acetate"], value: area}}
    calibration: {model: straight line, weighting: 1/x}
    lod: 3.75
    loq: 12.5
    report: {unit: mg/L, significant: 3, per_alcohol: {unit: g/hL p.a., significant: 3}}
  - name: methanol
    cas: 67-56-1
    unit: mg/L
    source: {table: {match: ["Methanol"], value: area}}
    calibration: {model: straight line, weighting: 1/x}
    lod: 9
    loq: 30
    report: {unit: mg/L, significant: 3, per_alcohol: {unit: g/hL p.a., significant: 3}}
rules:
  - {rule: calibration acceptance, source: "common practice, no source", min_levels: 5, min_r2: 0.995, back_calculated_percent: 15, back_calculated_lowest_percent: 20}
  - {rule: internal standard response, source: "common practice, no source", low: 70, high: 130}
  - {rule: method blank, source: "common practice, no source", loq_fraction: 0.5}
  - {rule: check standard recovery, source: "common practice, no source", low: 90, high: 110, brackets: both sides}
  - {rule: duplicate precision, source: "common practice, no source", statistic: RSD, high: 8}
  - {rule: working range, source: lowest and highest calibrant of the run}
`

var strengthMethod = fmt.Sprintf(methodHead, "strength-fault", "Strength", "density-log") + `analytes:
  - name: strength
    unit: "% vol"
    quantity: strength
    strength_kind: real
    source: {table: {value: strength}}
    calibration: {model: none, range_low: 0, range_high: 100}
    report: {unit: "% vol", decimals: 2}
rules:
  - {rule: check standard recovery, source: "common practice, no source", low: 99.5, high: 100.5, brackets: both sides}
  - {rule: duplicate precision, source: "common practice, no source", statistic: relative percent difference, high: 0.5, covers: parent}
  - {rule: working range, source: range of the densimeter (invented)}
`

const register = `document,register,name,fault-register,version,1,author,Sunniva Reck (invented)
sample_id,lot,category,received_at,producer,seal,storage,opened_at,reference_material
S-1,L-1,cider spirit,2026-02-16T10:30:00+01:00,Brundle & Daughter (invented),intact,dark,2026-03-02T07:40:00+01:00,no
S-2,L-2,perry spirit,2026-02-16T10:30:00+01:00,Hollow Pear Stillhouse (invented),intact,dark,2026-03-02T07:40:00+01:00,no
`

const worklistHead = "position,run,prep_batch,prep_id,file,vial,sample,role,standards,nominal,dilution,parent\n"

const congenerWorklist = "document,worklist,name,GC-F-001,version,1,method,congeners-fault,instrument,GC-1,author,Runa Falk (invented)\n" + worklistHead +
	`1,GC-F-001,,,GC-F-001.csv,1,,calibration standard,CAL-1,,,
2,GC-F-001,,,GC-F-001.csv,2,,calibration standard,CAL-2,,,
3,GC-F-001,,,GC-F-001.csv,3,,calibration standard,CAL-3,,,
4,GC-F-001,,,GC-F-001.csv,4,,calibration standard,CAL-4,,,
5,GC-F-001,,,GC-F-001.csv,5,,calibration standard,CAL-5,,,
6,GC-F-001,P,P-06,GC-F-001.csv,6,,method blank,,,,
7,GC-F-001,,,GC-F-001.csv,7,,check standard,CCV,,,
8,GC-F-001,P,P-08,GC-F-001.csv,8,S-1,sample,,,,
9,GC-F-001,P,P-09,GC-F-001.csv,9,S-2,sample,,,,
10,GC-F-001,P,P-10,GC-F-001.csv,10,S-1,duplicate,,,,8
11,GC-F-001,,,GC-F-001.csv,11,,check standard,CCV,,,
`

const strengthWorklist = "document,worklist,name,DM-F-001,version,1,method,strength-fault,instrument,DM-1,author,Runa Falk (invented)\n" + worklistHead +
	`1,DM-F-001,,,DM-F-001.csv,1,,check standard,EW-40,,,
2,DM-F-001,D,D-02,DM-F-001.csv,2,S-1,sample,,,,
3,DM-F-001,D,D-03,DM-F-001.csv,3,S-2,sample,,,,
4,DM-F-001,D,D-04,DM-F-001.csv,4,S-1,duplicate,,,,2
5,DM-F-001,,,DM-F-001.csv,5,,check standard,EW-40,,,
`

func standardsList() []byte {
	var out strings.Builder
	out.WriteString("document,standards,name,fault-standards,version,1,author,Runa Falk (invented)\n" +
		"standard_id,lot,maker,certificate,parent,prepared_by,prepared_on,opened,expires,analyte,value,unit,uncertainty,k,purity\n")
	names := make([]string, 0, len(congenerStandards))
	for name := range congenerStandards {
		names = append(names, name)
	}
	slices.Sort(names)
	row := func(name, analyte string, value float64, unit string) {
		lot := "N-1"
		if strings.HasPrefix(name, "CAL") {
			lot = "H-1"
		}
		fmt.Fprintf(&out, "%s,%s,Norrholt Reference Materials (invented),N-0001 (invented),,,,2026-02-27,2026-09-30,%s,%v,%s,%v,2,\n", name, lot, analyte, value, unit, value/1000)
	}
	for _, name := range names {
		row(name, "ethyl acetate", congenerStandards[name].ethylAcetate, "mg/L")
		row(name, "methanol", congenerStandards[name].methanol, "mg/L")
	}
	row("EW-40", "strength", 40, "% vol")
	return []byte(out.String())
}
