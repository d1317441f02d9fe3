package catalogue

import (
	"os"
	"reflect"
	"testing"

	"underbond/parsers/parserstest"
)

func TestParseBad(t *testing.T) {
	parserstest.Bad(t, os.DirFS("testdata/bad"), func(file string, data []byte) error {
		_, err := Parse(file, data)
		return err
	})
}

func TestExtendRefuses(t *testing.T) {
	before := Shipped().Digest()
	parserstest.Bad(t, os.DirFS("testdata/conflict"), func(file string, data []byte) error {
		x, err := Parse(file, data)
		if err != nil {
			t.Fatalf("the document by itself: %v", err)
		}
		_, err = Shipped().Extend(x)
		return err
	})
	if Shipped().Digest() != before {
		t.Error("a refused document changed the catalogue")
	}
}

func TestSchema(t *testing.T) {
	schema, err := os.ReadFile("catalogue.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	parserstest.Schema(t, schema, reflect.TypeFor[Document]())
}

func good(t testing.TB) *Extension {
	t.Helper()
	data, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	x, err := Parse("good.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func TestExtend(t *testing.T) {
	before := Shipped().Digest()
	c, err := Shipped().Extend(good(t))
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"ET-CINN":                "ethyl cinnamate",
		"Zimtsaureethylester":    "ethyl cinnamate",
		"103-36-6":               "ethyl cinnamate",
		"amyl alcohols":          "2- and 3-methyl-1-butanol", // settled
		"AmOH (sum)":             "2- and 3-methyl-1-butanol",
		"peak-3 MeOH":            "methanol",
		"ethyl esters C6 to C12": "ethyl esters C6 to C12",
	} {
		if e, err := c.Find(text); err != nil || e.Name != want {
			t.Errorf("%q is %q, %v; want %q", text, e.Name, err, want)
		}
	}
	if _, err := c.Find("Alcools amyliques"); err == nil {
		t.Error("a name that was not settled is")
	}
	if _, err := c.Find("cinnamate"); err == nil {
		t.Error("the ambiguous name is not")
	}
	if len(c.Entries()) != len(Shipped().Entries())+3 {
		t.Errorf("%d entries", len(c.Entries()))
	}
	if Shipped().Digest() != before || c.Digest() == before {
		t.Error("digests")
	}
	if _, err := Shipped().Find("amyl alcohols"); err == nil {
		t.Error("extending changed the shipped catalogue")
	}
	again, err := Shipped().Extend(good(t))
	if err != nil || again.Digest() != c.Digest() {
		t.Errorf("the same again: %v", err)
	}
	if _, err := c.Extend(good(t)); err == nil {
		t.Error("the same document twice")
	}
}

// TestExtendWithoutFile: a document made in Go is checked like one that was read.
func TestExtendWithoutFile(t *testing.T) {
	x := &Extension{Document: Document{Name: "made", Entries: []Entry{{Name: "x", Class: "wood", Unit: "mg/L", CAS: "1-2-3"}}}}
	if _, err := Shipped().Extend(x); err == nil || err.Error()[:5] != "made:" {
		t.Errorf("got %v", err)
	}
	x.Entries[0].CAS = ""
	if _, err := Shipped().Extend(x); err != nil {
		t.Error(err)
	}
}

// TestDigest: the order of joining and of names does not matter, everything else does.
func TestDigest(t *testing.T) {
	ext := func(of string, names ...string) *Extension {
		return &Extension{Document: Document{Additions: []Addition{{Of: of, Names: Names{Export: names}}}}}
	}
	join := func(list ...*Extension) string {
		c := Shipped()
		for _, x := range list {
			var err error
			if c, err = c.Extend(x); err != nil {
				t.Fatal(err)
			}
		}
		return c.Digest()
	}
	one := join(ext("methanol", "p1", "p2"), ext("ethanol", "p3"))
	if other := join(ext("ethanol", "p3"), ext("methanol", "p2"), ext("methanol", "p1")); other != one {
		t.Error("the order matters")
	}
	if other := join(ext("methanol", "p1"), ext("ethanol", "p3", "p2")); other == one {
		t.Error("the owner of a name does not matter")
	}
}

func FuzzParse(f *testing.F) {
	parserstest.Seeds(f, os.DirFS("testdata"))
	f.Fuzz(func(t *testing.T, data []byte) {
		x, err := Parse("f", data)
		if (x == nil) != (err != nil) {
			t.Fatalf("%v, %v", x, err)
		}
		if err != nil {
			return
		}
		c, err := Shipped().Extend(x)
		if (c == nil) != (err != nil) {
			t.Fatalf("%v, %v", c, err)
		}
		if c == nil {
			return
		}
		for _, e := range x.Entries {
			if got, err := c.Find(e.Name); err != nil || got.Name != e.Name {
				t.Fatalf("entry %q is found as %q, %v", e.Name, got.Name, err)
			}
		}
	})
}
