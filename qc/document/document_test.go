package document

import (
	"strings"
	"testing"
)

func TestDetect(t *testing.T) {
	for name, c := range map[string]struct {
		data string
		want Kind
		err  string
	}{
		"method":                 {"# a comment\nkind: method\nname: m\n", KindMethod, ""},
		"profile":                {"name: p\nkind: profile\n", KindProfile, ""},
		"worklist":               {"document,worklist,name,x\n", KindWorklist, ""},
		"register with BOM":      {"\ufeffdocument,register,name,x\r\n", KindRegister, ""},
		"standards, quoted":      {"\"document\",\"standards\",name,x\n", KindStandards, ""},
		"one row":                {"document,worklist", KindWorklist, ""},
		"configuration":          {"folders:\n  - path: exports\n", KindConfiguration, ""},
		"configuration by kind":  {"kind: configuration\n", KindConfiguration, ""},
		"unknown CSV document":   {"document,worklst,name,x\n", "", "f:1:10: document kind \"worklst\" is not known here\n    hint: did you mean \"worklist\"?"},
		"unknown YAML document":  {"kind: recipe\n", "", `document kind "recipe" is not known here`},
		"a table":                {"a,b\n1,2\n", "", "f:1:1: the document must be a mapping"},
		"a mapping without kind": {"name: x\n", "", "the document does not say what it is"},
		"empty":                  {"", "", "the document is empty"},
		"binary":                 {"\x00\x01", "", "control character U+0000"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Detect("f", []byte(c.data))
			switch {
			case c.err == "" && (err != nil || got != c.want):
				t.Errorf("got %q, %v", got, err)
			case c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)):
				t.Errorf("got %q, %v", got, err)
			}
		})
	}
}

func TestReadTableKeepsPlaces(t *testing.T) {
	layout := Layout{Kind: "worklist", Columns: []string{"a", "b", "c"}, Required: []string{"a"}}
	table, err := ReadTable("f.csv", []byte("document,worklist,name,n,version,1,,\nb,a\n\"x\ny\", 5 \n,\n1,2\n"), layout)
	if err != nil {
		t.Fatal(err)
	}
	if len(table.Rows) != 2 || table.Rows[1].Line != 6 {
		t.Fatalf("rows %+v", table.Rows)
	}
	r := &table.Rows[0]
	if r.Text("b") != "x\ny" || r.Count("a") != 5 || r.Text("c") != "" {
		t.Errorf("cells %q, %q, %q", r.Text("b"), r.Text("a"), r.Text("c"))
	}
	r.Fault("a", "do", "first")
	r.Fault("c", "", "absent column")
	if got, want := table.Err().Error(), "f.csv:3:1: absent column\nf.csv:4:4: first\n    hint: do"; got != want {
		t.Errorf("got %q", got)
	}
}
