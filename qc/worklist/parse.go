package worklist

import (
	"cmp"
	"slices"
	"strings"

	"underbond/parsers/located"
	"underbond/qc/document"
	"underbond/qc/unit"
)

var layout = document.Layout{
	Kind:     document.KindWorklist,
	Identity: []string{"method", "instrument"},
	Columns: []string{"position", "run", "prep_batch", "prep_id", "file", "vial", "sample", "role",
		"standards", "nominal", "dilution", "parent"},
	Required: []string{"position", "run", "role"},
}

var roles = []string{RoleStandard, RoleCalBlank, RoleMethodBlank, RoleCheck, RoleInitialCheck, RoleControl,
	RoleReference, RoleDuplicate, RoleSpike, RoleSample}

// Parse reads and checks one worklist document. Lines come in the order of their
// positions. The error is a document.Errors with every fault found.
func Parse(file string, data []byte) (*Worklist, error) {
	t, err := document.ReadTable(file, data, layout)
	if err != nil {
		return nil, err
	}
	w := &Worklist{
		Name: t.Identity["name"], Version: t.Identity["version"],
		Method: t.Identity["method"], Instrument: t.Identity["instrument"],
		Author: t.Identity["author"], Reason: t.Identity["reason"],
	}
	if !located.IsName(w.Method) {
		t.IdentityFault("method", located.NameHint, "method is %q", w.Method)
	}
	if len(t.Rows) == 0 {
		t.IdentityFault("document", "", "the worklist has no lines")
	}
	c := checker{byPosition: map[int]*entry{}, taken: map[[2]string]int{}}
	for i := range t.Rows {
		c.line(&t.Rows[i])
	}
	c.parents()
	if err := t.Err(); err != nil {
		return nil, err
	}
	for _, e := range c.entries {
		w.Lines = append(w.Lines, e.line)
	}
	slices.SortFunc(w.Lines, func(a, b Line) int { return cmp.Compare(a.Position, b.Position) })
	return w, nil
}

type entry struct {
	line Line
	row  *document.Row
}

// checker knows the lines read so far.
type checker struct {
	entries    []*entry
	byPosition map[int]*entry
	taken      map[[2]string]int // file and vial to line in the file
}

// line reads one row.
func (c *checker) line(r *document.Row) {
	l := Line{
		Run: r.Need("run"), PrepBatch: r.Text("prep_batch"), PrepID: r.Text("prep_id"),
		File: r.Text("file"), Vial: r.Text("vial"), Sample: r.Text("sample"),
		Standards: r.List("standards"), Nominals: nominals(r), Dilution: 1, Row: r.Line,
	}
	r.Need("role")
	l.Role = r.OneOf("role", roles...)
	r.Need("position")
	l.Position = r.Count("position")
	if d := r.Number("dilution"); d != nil {
		if !(*d > 0) {
			r.Fault("dilution", "a factor: 10 for one part in ten", "dilution is %v, not above zero", *d)
		}
		l.Dilution = *d
	}
	l.Parent = r.Count("parent")
	e := &entry{l, r}
	c.entries = append(c.entries, e)
	if before, twice := c.byPosition[l.Position]; twice && l.Position > 0 {
		r.Fault("position", "give each line its own position", "position %d is already that of line %d", l.Position, before.line.Row)
	} else {
		c.byPosition[l.Position] = e
	}
	c.place(e)
	amounts(e)
}

// place checks how the line finds its acquisition.
func (c *checker) place(e *entry) {
	l, r := e.line, e.row
	if strings.ContainsAny(l.File, `/\`) {
		r.Fault("file", "give the name of the export without its folder", "file is %q", l.File)
	}
	if l.File == "" && l.Vial == "" {
		r.Fault("file", "name the export's file, the vial or both", "the line names neither file nor vial")
		return
	}
	key := [2]string{l.File, l.Vial}
	if before, twice := c.taken[key]; twice {
		r.Fault("vial", "two lines cannot share one acquisition", "file %q, vial %q is already that of line %d", l.File, l.Vial, before)
		return
	}
	c.taken[key] = l.Row
}

// amounts checks that a role has the standards or nominal amounts that it needs.
func amounts(e *entry) {
	l, r := e.line, e.row
	given := len(l.Standards) > 0 || len(l.Nominals) > 0
	switch l.Role {
	case RoleStandard, RoleCheck, RoleInitialCheck, RoleControl, RoleReference, RoleSpike:
		if !given {
			r.Fault("standards", "name a standard of the standards list, or nominal amounts as methanol=100 mg/L; acetal=5 mg/L", "a %s needs standards or nominal", l.Role)
		}
	case RoleSample, RoleDuplicate, RoleMethodBlank:
		if given {
			r.Fault("standards", "leave standards and nominal empty, or correct the role", "a %s has no standards and no nominal amounts", l.Role)
		}
	}
	if l.Role == RoleSample && l.Sample == "" {
		r.Fault("sample", "give the sample's id in the register", "a sample line names no sample")
	}
	seen := map[string]bool{}
	for _, id := range l.Standards {
		if seen[id] {
			r.Fault("standards", "", "standard %q is named twice", id)
		}
		seen[id] = true
	}
}

// parents checks duplicates and spikes against the lines that they belong to.
func (c *checker) parents() {
	for _, e := range c.entries {
		l, r := &e.line, e.row
		child := l.Role == RoleDuplicate || l.Role == RoleSpike
		if !child {
			if r.Text("parent") != "" && l.Role != "" {
				r.Fault("parent", "only a duplicate or a matrix spike has a parent", "parent is given for a %s", l.Role)
			}
			continue
		}
		if r.Text("parent") == "" {
			r.Fault("parent", "give the position of the line that it repeats", "a %s needs a parent", l.Role)
			continue
		}
		p, ok := c.byPosition[l.Parent]
		switch {
		case l.Parent == 0: // said already
		case !ok:
			r.Fault("parent", "", "parent: the worklist has no position %d", l.Parent)
		case p == e:
			r.Fault("parent", "", "position %d is its own parent", l.Parent)
		case p.line.Role == RoleDuplicate || p.line.Role == RoleSpike:
			r.Fault("parent", "name the first of them", "the parent at position %d is itself a %s", l.Parent, p.line.Role)
		case l.Sample == "":
			l.Sample = p.line.Sample
		case l.Sample != p.line.Sample:
			r.Fault("sample", "", "sample %q differs from the parent's, %q at position %d", l.Sample, p.line.Sample, l.Parent)
		}
	}
}

// nominals reads "methanol=100 mg/L; acetal=5 mg/L".
func nominals(r *document.Row) []Nominal {
	const form = "write methanol=100 mg/L; acetal=5 mg/L"
	var list []Nominal
	seen := map[string]bool{}
	for _, item := range r.List("nominal") {
		i := strings.LastIndexByte(item, '=')
		if i < 0 {
			r.Fault("nominal", form, "nominal: %q has no =", item)
			continue
		}
		name, rest := strings.TrimSpace(item[:i]), strings.TrimSpace(item[i+1:])
		amount, unitText, _ := strings.Cut(rest, " ")
		unitText = strings.TrimSpace(unitText)
		v, err := located.Number(amount)
		switch {
		case name == "":
			r.Fault("nominal", form, "nominal: %q names no analyte", item)
			continue
		case err != nil:
			r.Fault("nominal", form, "nominal: %q: %v", item, err)
			continue
		case !(v >= 0):
			r.Fault("nominal", "", "nominal: %q is below zero", item)
		case seen[name]:
			r.Fault("nominal", "keep one of the two", "nominal names %q twice", name)
		}
		if _, err := unit.Parse(unitText); err != nil {
			r.Fault("nominal", document.UnitHint(err), "nominal: %q: unit %q is not known", item, unitText)
		}
		seen[name] = true
		list = append(list, Nominal{Analyte: name, Value: v, Unit: unitText})
	}
	return list
}
