package scenario

import (
	"hash/fnv"
	"math/rand/v2"
)

// noise draws the scenario's chance. Each subject has its own stream, so that a change
// to one batch leaves all others as they were.
type noise struct{ r *rand.Rand }

func newNoise(seed uint64, subject string) noise {
	h := fnv.New64a()
	h.Write([]byte(subject)) // never returns an error
	return noise{rand.New(rand.NewPCG(seed, h.Sum64()))}
}

// cut is where normal noise is cut off, in standard deviations.
const cut = 2.5

// normal draws from a normal distribution cut off at ±cut standard deviations.
func (n noise) normal(sd float64) float64 {
	for {
		if x := n.r.NormFloat64(); x >= -cut && x <= cut {
			return x * sd
		}
	}
}

// scatter draws a factor near 1 with the relative standard deviation rsd.
func (n noise) scatter(rsd float64) float64 { return 1 + n.normal(rsd) }
