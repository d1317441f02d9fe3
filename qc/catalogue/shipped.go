package catalogue

import (
	"embed"
	"sync"
)

//go:embed data/*.yaml
var shippedFiles embed.FS

// shippedOrder is the order in which the files are joined: sums and ambiguous names
// refer to what comes before.
var shippedOrder = []string{
	"volatile", "wood", "caramel", "sugar", "acid", "contaminant",
	"element", "isotope-ratio", "physical", "sum", "ambiguous",
}

// Shipped gives the catalogue that the program brings along.
func Shipped() *Catalogue { return shipped() }

var shipped = sync.OnceValue(func() *Catalogue {
	c := &Catalogue{}
	for _, name := range shippedOrder {
		file := "data/" + name + ".yaml"
		data, err := shippedFiles.ReadFile(file)
		if err != nil {
			panic(err)
		}
		x, err := Parse(file, data)
		if err != nil {
			panic(err)
		}
		if c, err = c.Extend(x); err != nil {
			panic(err)
		}
	}
	return c
})
