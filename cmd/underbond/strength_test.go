package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

func TestStrength(t *testing.T) {
	schema := schemaOf(t, "strength.schema.json")
	for name, c := range map[string]struct {
		args []string
		want strengthReport
	}{
		"by density":              {[]string{"--density", "948.0451529", "--temperature", "20"}, strengthReport{40, 948.0451529, 20, 0.3329964278}},
		"by density, 20 °C alone": {[]string{"--density", "930.1418719"}, strengthReport{50, 930.1418719, 20, 0.4242573886}},
		"by density, warm":        {[]string{"--density", "944.6652017", "--temperature", "25"}, strengthReport{40, 944.6652017, 25, 0.3329964278}},
		"by strength":             {[]string{"--abv", "96"}, strengthReport{96, 807.4196325, 20, 0.9383838687}},
		"by strength, cool":       {[]string{"--abv", "40", "--temperature", "15"}, strengthReport{40, 951.3285845, 15, 0.3329964278}},
		"water":                   {[]string{"--abv", "0"}, strengthReport{0, 998.20123, 20, 0}},
		"below zero":              {[]string{"--abv", "0", "--temperature=-20"}, strengthReport{0, 993.5671167, -20, 0}},
	} {
		t.Run(name, func(t *testing.T) {
			r := runs(t, append([]string{"strength", "--json"}, c.args...)...)
			if r.code != exitOK || r.err != "" {
				t.Fatalf("%+v", r)
			}
			var got strengthReport
			if err := json.Unmarshal([]byte(r.out), &got); err != nil {
				t.Fatal(err)
			}
			if !(math.Abs(got.ABV-c.want.ABV) <= 5e-8 && math.Abs(got.Density-c.want.Density) <= 1e-7 && got.Temperature == c.want.Temperature && math.Abs(got.MassFraction-c.want.MassFraction) <= 5e-10) {
				t.Errorf("%+v, want %+v", got, c.want)
			}
			var value any
			if err := json.Unmarshal([]byte(r.out), &value); err != nil {
				t.Fatal(err)
			}
			conforms(t, "", schema, schema, value)
		})
	}
	r := runs(t, "strength", "--density", "948.05")
	if r.code != exitOK || !strings.HasPrefix(r.out, "39.9970 % vol at 20 °C, mass fraction 0.332970, density 948.0500 kg/m³ at 20 °C\n") || !strings.Contains(r.out, "apparent and too low") {
		t.Errorf("%+v", r)
	}
	if help := runs(t, "strength", "--help"); !strings.Contains(strings.Join(strings.Fields(help.out), " "), "the strength is apparent and too low") {
		t.Errorf("%+v", help)
	}
}

func TestStrengthRefused(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"too cold":     {[]string{"--density", "948", "--temperature=-20.5"}, exitFailed, "-20 to 40 °C"},
		"too warm":     {[]string{"--abv", "40", "--temperature", "41"}, exitFailed, "-20 to 40 °C"},
		"in g/cm³":     {[]string{"--density", "0.948"}, exitFailed, "kg/m³"},
		"above 100":    {[]string{"--abv", "101"}, exitFailed, "0 to 100 % vol"},
		"not a number": {[]string{"--abv", "NaN"}, exitFailed, "NaN"},
		"neither":      {nil, exitUsage, "--density"},
		"both":         {[]string{"--abv", "40", "--density", "948"}, exitUsage, "--density"},
		"a word":       {[]string{"--abv", "strong"}, exitUsage, "strong"},
	} {
		t.Run(name, func(t *testing.T) {
			r := runs(t, append([]string{"strength", "--json"}, c.args...)...)
			if r.code != c.code || r.out != "" || !strings.Contains(r.err, c.says) {
				t.Errorf("%+v", r)
			}
		})
	}
}
