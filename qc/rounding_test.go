package qc_test

import (
	"errors"
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/qc"
)

func ptr[T any](v T) *T { return &v }

func TestRoundDecimals(t *testing.T) {
	tests := map[string]struct {
		value    float64
		decimals int
		want     string
	}{
		"keeps zeros":                 {12, 1, "12.0"},
		"tie to even, down":           {0.5, 0, "0"},
		"tie to even, up":             {1.5, 0, "2"},
		"tie to even, even stays":     {2.5, 0, "2"},
		"tie at two decimals":         {0.125, 2, "0.12"},
		"tie at two decimals, up":     {0.375, 2, "0.38"},
		"the double lies below":       {2.675, 2, "2.67"},
		"the double lies above":       {1.005000000000001, 2, "1.01"},
		"negative tie":                {-2.5, 0, "-2"},
		"negative":                    {-1.26, 1, "-1.3"},
		"zero":                        {0, 2, "0.00"},
		"negative zero":               {math.Copysign(0, -1), 1, "0.0"},
		"rounds to zero from below":   {-0.004, 2, "0.00"},
		"carries":                     {9.996, 2, "10.00"},
		"large without exponent":      {1234567890123, 0, "1234567890123"},
		"very large without exponent": {1e22, 0, "10000000000000000000000"},
		"small":                       {0.000012345, 6, "0.000012"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got, err := qc.Round(tt.value, &tt.decimals, nil); err != nil || got != tt.want {
				t.Errorf("Round(%v, %d decimals) = %q, %v; want %q", tt.value, tt.decimals, got, err, tt.want)
			}
		})
	}
}

func TestRoundSignificant(t *testing.T) {
	tests := map[string]struct {
		value       float64
		significant int
		want        string
	}{
		"keeps zeros":            {12, 4, "12.00"},
		"exactly as many":        {123, 3, "123"},
		"places before point":    {1234, 2, "1200"},
		"carries":                {9.996, 3, "10.0"},
		"carries past the point": {99.96, 3, "100"},
		"below one":              {0.0012345, 3, "0.00123"},
		"carries below one":      {0.09996, 3, "0.100"},
		"tie to even":            {2.5, 1, "2"},
		"tie to even, up":        {3.5, 1, "4"},
		"tie of an integer":      {125, 2, "120"},
		"negative":               {-0.4567, 2, "-0.46"},
		"zero":                   {0, 3, "0"},
		"negative zero":          {math.Copysign(0, -1), 3, "0"},
		"all digits":             {0.1, 17, "0.10000000000000001"},
		"tiny":                   {5e-324, 1, "0." + strings.Repeat("0", 323) + "5"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got, err := qc.Round(tt.value, nil, &tt.significant); err != nil || got != tt.want {
				t.Errorf("Round(%v, %d significant) = %q, %v; want %q", tt.value, tt.significant, got, err, tt.want)
			}
		})
	}
}

func TestRoundRefuses(t *testing.T) {
	tests := map[string]struct {
		value                 float64
		decimals, significant *int
		want                  error
	}{
		"NaN":                {math.NaN(), ptr(1), nil, qc.ErrNotFinite},
		"infinity":           {math.Inf(1), nil, ptr(3), qc.ErrNotFinite},
		"both":               {1, ptr(1), ptr(1), qc.ErrDigits},
		"neither":            {1, nil, nil, qc.ErrDigits},
		"negative decimals":  {1, ptr(-1), nil, qc.ErrDigits},
		"many decimals":      {1, ptr(31), nil, qc.ErrDigits},
		"no digit":           {1, nil, ptr(0), qc.ErrDigits},
		"more than a double": {1, nil, ptr(18), qc.ErrDigits},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got, err := qc.Round(tt.value, tt.decimals, tt.significant); !errors.Is(err, tt.want) || got != "" {
				t.Errorf("got %q, %v; want %v", got, err, tt.want)
			}
		})
	}
}

// roundExactly is the oracle: nearest multiple of 10^-decimals, ties to even, in rational arithmetic.
func roundExactly(value float64, decimals int) *big.Rat {
	scale := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(decimals, -decimals))), nil))
	if decimals < 0 {
		scale.Inv(scale)
	}
	scaled := new(big.Rat).Mul(new(big.Rat).SetFloat64(value), scale)
	floor := new(big.Int).Div(scaled.Num(), scaled.Denom()) // Euclidean: towards minus infinity
	rest := new(big.Rat).Sub(scaled, new(big.Rat).SetInt(floor))
	if c := rest.Cmp(big.NewRat(1, 2)); c > 0 || c == 0 && floor.Bit(0) == 1 {
		floor.Add(floor, big.NewInt(1))
	}
	return new(big.Rat).Quo(new(big.Rat).SetInt(floor), scale)
}

func TestRoundAgainstExactArithmetic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-1e6, 1e6).Draw(t, "value")
		if rapid.Bool().Draw(t, "dyadic, so that ties occur") {
			value = float64(rapid.IntRange(-4000, 4000).Draw(t, "n")) / 32
		}
		decimals := rapid.IntRange(0, 8).Draw(t, "decimals")
		text, err := qc.Round(value, &decimals, nil)
		if err != nil {
			t.Fatal(err)
		}
		checkRounded(t, text, roundExactly(value, decimals))
		if _, fraction, _ := strings.Cut(text, "."); len(fraction) != decimals {
			t.Fatalf("%q has not %d decimals", text, decimals)
		}
		if value == 0 {
			return
		}
		significant := rapid.IntRange(1, 8).Draw(t, "significant")
		// The leading digit's place, before rounding moves it.
		place := 0
		for size := new(big.Rat).Abs(new(big.Rat).SetFloat64(value)); size.Cmp(big.NewRat(10, 1)) >= 0; place++ {
			size.Quo(size, big.NewRat(10, 1))
		}
		for size := new(big.Rat).Abs(new(big.Rat).SetFloat64(value)); size.Cmp(big.NewRat(1, 1)) < 0; place-- {
			size.Mul(size, big.NewRat(10, 1))
		}
		text, err = qc.Round(value, nil, &significant)
		if err != nil {
			t.Fatal(err)
		}
		checkRounded(t, text, roundExactly(value, significant-1-place))
	})
}

func checkRounded(t *rapid.T, text string, want *big.Rat) {
	got, ok := new(big.Rat).SetString(text)
	if !ok || got.Cmp(want) != 0 || strings.ContainsAny(text, "eE") || strings.HasPrefix(text, "-0") && want.Sign() == 0 {
		t.Fatalf("got %q, want %v", text, want)
	}
}
