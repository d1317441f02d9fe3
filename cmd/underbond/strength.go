package main

import (
	"fmt"

	"underbond/qc/strength"
)

type strengthCommand struct {
	Density     *float64 `name:"density" xor:"given" help:"Density in kg/m³ at the temperature." placeholder:"KG/M3"`
	ABV         *float64 `name:"abv" xor:"given" help:"Strength in % vol at 20 °C." placeholder:"%VOL"`
	Temperature float64  `name:"temperature" default:"20" help:"Temperature of the density in °C, −20 to 40."`
	JSON        bool     `name:"json" help:"Print JSON, at full precision."`
}

// strengthReport is what strength prints.
type strengthReport struct {
	ABV          float64 `json:"abv"`
	Density      float64 `json:"density"`
	Temperature  float64 `json:"temperature"`
	MassFraction float64 `json:"mass_fraction"`
}

// Help says what the figures are good for.
func (c *strengthCommand) Help() string {
	return "Gives the strength of a mixture of ethanol and water from its density, or the density from the strength, by the general formula of OIML R 22.\n\n" + strengthCaution
}

const strengthCaution = "The strength is real only for the distillate or for a spirit without extract. Sugar, wood extract and other dissolved matter raise the density: " +
	"read from it without distillation, the strength is apparent and too low."

// Run computes strength or density.
func (c *strengthCommand) Run(io streams) error {
	r := strengthReport{Temperature: c.Temperature}
	var err error
	switch {
	case c.Density != nil:
		r.Density = *c.Density
		if r.MassFraction, err = strength.MassFraction(r.Density, r.Temperature); err == nil {
			r.ABV, err = strength.ByVolume(r.MassFraction)
		}
	case c.ABV != nil:
		r.ABV = *c.ABV
		if r.MassFraction, err = strength.MassFractionOf(r.ABV); err == nil {
			r.Density, err = strength.Density(r.MassFraction, r.Temperature)
		}
	default:
		return &usageError{"give --density in kg/m³ or --abv in % vol"}
	}
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(io.out, r)
	}
	_, err = fmt.Fprintf(io.out, "%.4f %% vol at 20 °C, mass fraction %.6f, density %.4f kg/m³ at %v °C\n%s\n", r.ABV, r.MassFraction, r.Density, r.Temperature, strengthCaution)
	return err
}
