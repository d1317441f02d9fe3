package catalogue

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

func TestNormalise(t *testing.T) {
	for name, same := range map[string][]string{
		"case, dashes and spaces": {"2-Methyl-1-propanol", "2-methyl-1-propanol", "2–methyl–1–propanol", "2 methyl 1 propanol", " 2_METHYL_1_PROPANOL ", "2‑methyl‑1‑propanol", "2-methyl-1-pro\u00adpanol"},
		"diacritics":              {"Méthanol", "methanol", "Me\u0301thanol"},
		"Greek":                   {"β-damascenone", "beta-Damascenone", "Β damascenone"},
		"superscripts":            {"δ¹³C", "δ13C", "delta 13C", "Δ13C"},
		"locants":                 {"1,1-diethoxyethane", "1.1-Diethoxyethane", "1, 1-diethoxyethane"},
		"brackets":                {"[2H3]vanillin", "(2H3)vanillin"},
		"signs":                   {"D-(−)-fructose", "d-(-)-Fructose"},
		"apostrophe":              {"acétate d’éthyle", "acetate d'ethyle", "acétate d´éthyle"},
		"registry number":         {"67-56-1", "67–56–1", "67 56 1"},
		"micro":                   {"µ", "μ", "mu"},
	} {
		t.Run(name, func(t *testing.T) {
			for _, text := range same {
				if got := Normalise(text); got != Normalise(same[0]) {
					t.Errorf("%q becomes %q, %q becomes %q", text, got, same[0], Normalise(same[0]))
				}
			}
		})
	}
	for name, pair := range map[string][2]string{
		"locants are not one number": {"1-2-x", "12-x"},
		"comma is not hyphen":        {"1,2-propanediol", "1-2-propanediol"},
		"prefix":                     {"n-propanol", "propanol"},
		"iso":                        {"isopropanol", "propanol"},
		"cis and trans":              {"cis-oak lactone", "trans-oak lactone"},
		"sign":                       {"(+)-x", "(−)-x"},
		"prime":                      {"4'-x", "4-x"},
		"asterisk":                   {"CIE a*", "CIE a"},
	} {
		t.Run(name, func(t *testing.T) {
			if Normalise(pair[0]) == Normalise(pair[1]) {
				t.Errorf("%q and %q are one name", pair[0], pair[1])
			}
		})
	}
}

func TestFind(t *testing.T) {
	for text, want := range map[string]string{
		"methanol": "methanol", "METHANOL": "methanol", "Methylalkohol": "methanol", "alcool méthylique": "methanol",
		"67-56-1": "methanol", "CAS 67-56-1": "methanol", "CAS-Nr.: 67-56-1": "methanol", "CAS RN 67-56-1": "methanol",
		"OKKJLVBELUTLKV-UHFFFAOYSA-N": "methanol",
		"isobutanol":                  "2-methyl-1-propanol",
		"3-Methylbutan-1-ol":          "3-methyl-1-butanol",
		"isoamyl alcohol":             "3-methyl-1-butanol",
		"Essigester":                  "ethyl acetate",
		"1.1-Diethoxyethan":           "acetal",
		"3-pentanol":                  "pentan-3-ol",
		"1135-24-6":                   "ferulic acid",
		"HMF":                         "5-hydroxymethylfurfural",
		"Cu 63":                       "copper", "63Cu": "copper", "Kupfer": "copper",
		"d13C": "δ13C of ethanol", "δ¹³C": "δ13C of ethanol",
		"87Sr/86Sr": "87Sr/86Sr", "⁸⁷Sr/⁸⁶Sr": "87Sr/86Sr",
		"L*": "CIE L*", "ABV": "strength", "alcoholic strength": "strength",
		"2-/3-methyl-1-butanol": "2- and 3-methyl-1-butanol",
	} {
		e, err := Shipped().Find(text)
		if err != nil || e.Name != want {
			t.Errorf("%q is %q, %v; want %q", text, e.Name, err, want)
		}
	}
}

func TestFindAmbiguous(t *testing.T) {
	for text, want := range map[string][]string{
		"propanol":       {"1-propanol", "2-propanol"},
		"Butanol":        {"1-butanol", "2-butanol", "2-methyl-1-propanol", "2-methyl-2-propanol"},
		"amyl alcohols":  {"2- and 3-methyl-1-butanol", "2-methyl-1-butanol", "3-methyl-1-butanol"},
		"d18O":           {"δ18O of ethanol", "δ18O of water"},
		"whisky lactone": {"cis-oak lactone", "trans-oak lactone", "oak lactones"},
	} {
		_, err := Shipped().Find(text)
		var ambiguous *AmbiguousError
		if !errors.As(err, &ambiguous) || !slices.Equal(ambiguous.Entries, want) {
			t.Errorf("%q: %v", text, err)
			continue
		}
		for _, name := range want {
			if !strings.Contains(err.Error(), name) {
				t.Errorf("%q does not name %s", err, name)
			}
		}
	}
}

func TestFindUnknown(t *testing.T) {
	for text, c := range map[string]struct {
		first string
		wrong bool
	}{
		"methnol":                       {"methanol", false},
		"ethly acetate":                 {"ethyl acetate", false}, // neighbours exchanged
		"siringaldehyde":                {"syringaldehyde", false},
		"67-56-2":                       {"methanol", true},
		"CAS 67-65-1":                   {"acetone", true},
		"75-70-0":                       {"acetaldehyde", true},
		"propanols":                     {"1-propanol", false},
		"":                              {"", false},
		" - ":                           {"", false},
		"x":                             {"", false},
		"plutonium oxide":               {"", false},
		strings.Repeat("methanol", 100): {"", false},
	} {
		_, err := Shipped().Find(text)
		var unknown *UnknownError
		if !errors.As(err, &unknown) || unknown.Text != text {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if unknown.WrongDigit != c.wrong {
			t.Errorf("%q: wrong check digit %v", text, unknown.WrongDigit)
		}
		first := ""
		if len(unknown.Candidates) > 0 {
			first = unknown.Candidates[0].Name
		}
		if first != c.first {
			t.Errorf("%q: nearest %v, want %q", text, unknown.Candidates, c.first)
		}
	}
	_, err := Shipped().Find("67-56-2")
	if want := `"67-56-2" is not in the analyte catalogue (its check digit is wrong); nearest: methanol (67-56-1)`; err.Error() != want {
		t.Errorf("got %s", err)
	}
}

// TestFindGivesCopies: what a caller does to an entry stays with the caller.
func TestFindGivesCopies(t *testing.T) {
	e, err := Shipped().Find("ferulic acid")
	if err != nil {
		t.Fatal(err)
	}
	before := Shipped().Digest()
	*e.MolarMass, e.AlsoCAS[0], e.Names.EN[0] = 1, "x", "x"
	if Shipped().Digest() != before {
		t.Error("the catalogue changed")
	}
}

func FuzzFind(f *testing.F) {
	for _, text := range []string{"methanol", "67-56-1", "propanol", "δ¹³C", "D-(−)-fructose", "1. 2", "ǰ", "İ", "a\u0301\u00b4", "(-)", ",-."} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		key := Normalise(text)
		if again := Normalise(key); again != key {
			t.Fatalf("%q becomes %q, and that %q", text, key, again)
		}
		e, err := Shipped().Find(text)
		if err == nil {
			if same, err := Shipped().Find(e.Name); err != nil || same.Name != e.Name {
				t.Fatalf("%q is %q, and that %q, %v", text, e.Name, same.Name, err)
			}
			return
		}
		var unknown *UnknownError
		var ambiguous *AmbiguousError
		if !errors.As(err, &unknown) && !errors.As(err, &ambiguous) {
			t.Fatalf("%q: %v", text, err)
		}
	})
}
