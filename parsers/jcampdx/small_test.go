package jcampdx

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers"
)

func TestReadStart(t *testing.T) {
	for name, c := range map[string]struct {
		long, date, clock string
		local, offset     string
	}{
		"absent":                    {},
		"long date":                 {long: "2001/02/14 15:15:42 +0100", local: "2001-02-14T15:15:42", offset: "+01:00"},
		"long date, no space":       {long: "2023/10/08 11:01:32-0400", local: "2023-10-08T11:01:32", offset: "-04:00"},
		"long date, fraction":       {long: "1997/08/29  16:47:44.00  +0500", local: "1997-08-29T16:47:44", offset: "+05:00"},
		"long date and time":        {long: "2007/12/12", clock: "07:47:06", local: "2007-12-12T07:47:06"},
		"ISO":                       {long: "2021-06-10T02:22:36.494243", local: "2021-06-10T02:22:36.494243"},
		"ISO, UTC":                  {long: "2021-06-10T02:22:36Z", local: "2021-06-10T02:22:36", offset: "Z"},
		"year over 31":              {date: "97/01/28", clock: "10:00:00", local: "1997-01-28T10:00:00"},
		"padded with blanks":        {date: "81/ 1/ 3", clock: "10:40:41", local: "1981-01-03T10:40:41"},
		"year last, decided by day": {date: "12/31/97", clock: "10:00", local: "1997-12-31T10:00:00"},
		"two digits, ambiguous":     {date: "01/02/03", clock: "10:00:00"},
		"two digits, all the same":  {date: "05/05/05", clock: "10:00:00", local: "2005-05-05T10:00:00"},
		"four digits last":          {date: "25/12/2019", clock: "10:00:00", local: "2019-12-25T10:00:00"},
		"four digits, ambiguous":    {date: "03/04/2019", clock: "10:00:00"},
		"points: day first":         {date: "03.04.2019", clock: "10:00:00", local: "2019-04-03T10:00:00"},
		"month name":                {date: "01 Jun 2009 09:15:48", local: "2009-06-01T09:15:48"},
		"C library":                 {date: "Mon Feb 01 15:24:11 2021", local: "2021-02-01T15:24:11"},
		"C library, UTC":            {date: "Thu Mar 28 10:10:00 UTC 2013", local: "2013-03-28T10:10:00", offset: "Z"},
		"month name, weekday":       {long: "Friday, 01-Mar-2024 09:15:48", local: "2024-03-01T09:15:48"},
		"month name, short year":    {date: "14-FEB-99", clock: "10:00:00", local: "1999-02-14T10:00:00"},
		"month name, two readings":  {date: "14-FEB-12", clock: "10:00:00"},
		"month first":               {date: "March 5, 2024 10:11:12 PM", local: "2024-03-05T22:11:12"},
		"month first, weekday":      {date: "Tue, Mar 5, 2024", clock: "10:11:12", local: "2024-03-05T10:11:12"},
		"year first, month name":    {long: "2024-Mar-05 10:11:12", local: "2024-03-05T10:11:12"},
		"no such month name":        {date: "05-Mai-2024 10:11:12"},
		"digits only":               {long: "20240305T101112Z", local: "2024-03-05T10:11:12", offset: "Z"},
		"digits only, no seconds":   {long: "20240305 1011", local: "2024-03-05T10:11:00"},
		"offset of hours":           {long: "2024/03/05 10:11:12 +01", local: "2024-03-05T10:11:12", offset: "+01:00"},
		"long date, four decimals":  {long: "2024/03/05 10:11:12.5000 -0930", local: "2024-03-05T10:11:12.5", offset: "-09:30"},
		"zone abbreviation":         {date: "Thu Mar 28 10:10:00 CET 2013"},
		"twelve hours":              {date: "2010/09/22", clock: "2:56:01 PM", local: "2010-09-22T14:56:01"},
		"midnight, twelve hours":    {date: "2010/09/22", clock: "12:05:00 am", local: "2010-09-22T00:05:00"},
		"no time of day":            {date: "2010/09/22"},
		"year only":                 {date: "1964"},
		"text":                      {date: "Not specified, most likely prior to 1970"},
		"no such day":               {date: "2010/02/30", clock: "10:00:00"},
		"no such time":              {date: "2010/02/20", clock: "25:00:00"},
		"time not readable":         {date: "91/06/18", clock: "10:24.56"},
	} {
		t.Run(name, func(t *testing.T) {
			start, why := readStart(c.long, c.date, c.clock)
			if start.Local != c.local || start.Offset != c.offset {
				t.Errorf("got %+v", start)
			}
			written := c.long+c.date != ""
			if (start.Text != "") != written {
				t.Errorf("text %q", start.Text)
			}
			if (why != "") != (written && c.local == "") {
				t.Errorf("why: %q", why)
			}
		})
	}
}

// TestScanNumberRoundsCorrectly compares with strconv.
func TestScanNumberRoundsCorrectly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[+-]?([0-9]{1,25}(\.[0-9]{0,25})?|\.[0-9]{1,25})([eE][+-]?[0-9]{1,3})?`).Draw(t, "number")
		want, err := strconv.ParseFloat(text, 64)
		got, next, wrong := scanNumber([]byte(text), 0, '.', exponentAny)
		if err != nil {
			if wrong == "" {
				t.Fatalf("%s: got %g, want an error", text, got)
			}
			return
		}
		if wrong != "" || next != len(text) || math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%s: got %g %d %q, want %g", text, got, next, wrong, want)
		}
		comma := strings.ReplaceAll(text, ".", ",")
		if got, _, _ := scanNumber([]byte(comma), 0, ',', exponentAny); math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%s: got %g, want %g", comma, got, want)
		}
	})
}

func TestQuantity(t *testing.T) {
	for text, want := range map[string]parsers.Quantity{
		"1/CM":              {Name: "wavenumber", Unit: "cm-1"},
		"cm-1":              {Name: "wavenumber", Unit: "cm-1"},
		"nanometers":        {Name: "wavelength", Unit: "nm"},
		"Wavelength (nm)":   {Name: "wavelength", Unit: "nm"},
		"MICROMETERS":       {Name: "wavelength", Unit: "um"},
		"SECONDS":           {Name: "time", Unit: "s"},
		"HZ":                {Name: "frequency", Unit: "Hz"},
		"PPM":               {Name: "chemical shift", Unit: "[ppm]"},
		"ABSORBANCE":        {Name: "absorbance", Unit: "1"},
		"Transmission (%)":  {Name: "transmittance", Unit: "%"},
		"ARBITRARY  UNITS":  {Name: "intensity"},
		"Ts [°C]":           {Name: "temperature", Unit: "Cel"},
		"Logarithm epsilon": {},
		"(micromol)(x)":     {},
		"":                  {},
	} {
		want.UnitText = text
		if got := quantity(text); got != want {
			t.Errorf("%q: got %+v, want %+v", text, got, want)
		}
	}
}

func TestParseVariables(t *testing.T) {
	for text, want := range map[string]variables{
		"(X++(Y..Y))":           {even: true, x: "X", y: "Y"},
		"( x++(y..y) )":         {even: true, x: "X", y: "Y"},
		"(F2++(Y..Y)), PROFILE": {even: true, x: "F2", y: "Y"},
		"(X++(Y..Y)":            {even: true, x: "X", y: "Y", repaired: true},
		"(XY..XY)":              {members: "XY"},
		"(XYW..XYW)":            {members: "XYW"},
		"(XY..XY), PEAKS":       {members: "XY"},
		"(XYWA)":                {members: "XYWA"},
	} {
		if got, ok := parseVariables(text); !ok || got != want {
			t.Errorf("%q: got %+v, %t", text, got, ok)
		}
	}
	for _, text := range []string{"", "X++(Y..Y)", "()", "(X++(Y..Z))", "(XY..XW)", "(X++Y..Y)", "(X)", "(X++(Y..Y", "(é..é)"} {
		if got, ok := parseVariables(text); ok {
			t.Errorf("%q is taken as %+v", text, got)
		}
	}
}

func TestSniff(t *testing.T) {
	for name, c := range map[string]struct {
		head        string
		least, most int
	}{
		"usual":            {"##TITLE=a\n##JCAMP-DX=5.01\n", 95, 100},
		"title only":       {"##TITLE=a\n##DATA TYPE=X\n", 80, 95},
		"spelling, mark":   {"\xef\xbb\xbf\r\n$$ comment\r\n ##Title = a\r\n##jcamp_dx=4.24", 95, 100},
		"CR":               {"##TITLE=a\r##JCAMP-DX=5\r", 95, 100},
		"UTF-16":           {"\xff\xfe#\x00#\x00T\x00I\x00T\x00L\x00E\x00=\x00a\x00\n\x00", 80, 95},
		"stray first byte": {"x\n##TITLE=a\n##JCAMP-DX=5\n", 40, 70},
		"CSV":              {"a,b,c\n1,2,3\n", 0, 0},
		"XML":              {"<?xml version=\"1.0\"?><mzML>", 0, 0},
		"empty":            {"", 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			got := New().Sniff([]byte(c.head))
			if got.Confidence < c.least || got.Confidence > c.most || got.Reason == "" || got.Format != parsers.FormatJCAMPDX {
				t.Errorf("got %+v, want %d to %d", got, c.least, c.most)
			}
		})
	}
}

func TestEndProof(t *testing.T) {
	four := spectrumFile(fourLabels, fourTable)
	for name, c := range map[string]struct {
		content string
		held    bool
	}{
		"whole":                   {four, true},
		"comments after":          {four + "$$ printed\n\n \x1a\x00\x00", true},
		"two blocks":              {four + four, true},
		"link":                    {"##TITLE=l\n##DATA TYPE=LINK\n" + four + four + "##END=\n", true},
		"end missing inside":      {"##TITLE=l\n" + strings.Replace(four, "##END=\n", "", 1) + four + "##END=\n", true},
		"outermost end missing":   {"##TITLE=l\n##DATA TYPE=LINK\n" + four + four, false},
		"end in a comment":        {strings.Replace(four, "##END=", "$$ ##END=", 1), false},
		"text after":              {four + "x", false},
		"one end too many":        {four + "##END=\n", false},
		"nothing":                 {"", false},
		"NUL instead of the rest": {four[:60] + strings.Repeat("\x00", 200), false},
	} {
		t.Run(name, func(t *testing.T) {
			proof, why, err := New().EndProof(strings.NewReader(c.content), int64(len(c.content)))
			if err != nil || (proof == parsers.EndProofHeld) != c.held || (why == "") != c.held {
				t.Errorf("got %s, %q, %v", proof, why, err)
			}
		})
	}
}
