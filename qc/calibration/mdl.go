package calibration

import (
	"fmt"
	"math"
	"slices"
)

// MDL of 40 CFR 136, Appendix B, revision 2: the least amount that differs from method
// blanks with 99 % confidence. All amounts in one unit.
type MDL struct {
	// Spiked is t(n-1, 0.99) s of the amounts found in spiked samples, Blank the same from
	// method blanks (NaN: no blank gave a number), and MDL the greater of the two.
	Spiked, Blank, MDL float64
}

// minimumSpikes is the least number of spiked samples, and of blanks, that the procedure takes.
const minimumSpikes = 7

// MethodDetectionLimit computes the MDL from the amounts found in at least seven spiked
// samples and, where there are any, from method blanks. A blank of nil gave no number
// at all; a result of zero or below is a number.
//
// MDL_s = t(n-1, 0.99) · S_s. MDL_b: not applicable when no blank gave a number; when
// some did, the highest of them, or of 100 blanks and more the value of rank 0.99 n
// (rounded); when all did, mean + t(n-1, 0.99) · S_b with a negative mean taken as zero.
// The rules for blanks are to be compared with the text in force before a method cites them.
//
// Errors: ErrTooFew, ErrNotFinite.
func MethodDetectionLimit(spikes []float64, blanks []*float64) (*MDL, error) {
	spiked, err := scatterLimit(spikes)
	if err != nil {
		return nil, fmt.Errorf("method detection limit from spiked samples: %w", err)
	}
	m := &MDL{Spiked: spiked, Blank: math.NaN(), MDL: spiked}
	if m.Blank, err = blankLimit(blanks); err != nil {
		return nil, fmt.Errorf("method detection limit from blanks: %w", err)
	}
	if m.Blank > m.MDL {
		m.MDL = m.Blank
	}
	return m, nil
}

func blankLimit(blanks []*float64) (float64, error) {
	var found []float64
	for _, b := range blanks {
		if b != nil {
			found = append(found, *b)
		}
	}
	if !finite(found...) {
		return 0, ErrNotFinite
	}
	slices.Sort(found)
	switch {
	case len(found) == 0:
		return math.NaN(), nil
	case len(found) < len(blanks):
		if len(blanks) < 100 {
			return found[len(found)-1], nil
		}
		rank := int(math.Round(0.99 * float64(len(blanks)))) // among all blanks, those without number lowest
		if at := rank - 1 - (len(blanks) - len(found)); at >= 0 {
			return found[at], nil
		}
		return math.NaN(), nil
	}
	scatter, err := scatterLimit(found)
	return max(mean(found), 0) + scatter, err
}

// scatterLimit is t(n-1, 0.99) times the standard deviation.
func scatterLimit(values []float64) (float64, error) {
	if len(values) < minimumSpikes {
		return 0, fmt.Errorf("%w: %d, needed are %d", ErrTooFew, len(values), minimumSpikes)
	}
	s, err := standardDeviation(values)
	if err != nil {
		return 0, err
	}
	return PooledMDL(s, len(values)-1), nil
}

// PooledMDL is t(df, 0.99) · s for a standard deviation with df degrees of freedom, such
// as one pooled over two series of spiked samples.
func PooledMDL(s float64, df int) float64 { return studentsT(0.99, df) * s }
