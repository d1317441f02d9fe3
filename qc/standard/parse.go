package standard

import (
	"underbond/qc/document"
	"underbond/qc/unit"
)

// facts are the columns that all rows of one standard share.
var facts = []string{"lot", "maker", "certificate", "parent", "prepared_by", "prepared_on", "opened", "expires"}

var layout = document.Layout{
	Kind: document.KindStandards,
	Columns: []string{"standard_id", "lot", "maker", "certificate", "parent", "prepared_by", "prepared_on", "opened", "expires",
		"analyte", "value", "unit", "uncertainty", "k", "purity"},
	Required: []string{"standard_id", "lot", "expires", "analyte", "value", "unit"},
}

// Parse reads and checks one standards list: a row for each standard and analyte,
// standards in the order of their first rows. The error is a document.Errors with
// every fault found.
func Parse(file string, data []byte) (*List, error) {
	t, err := document.ReadTable(file, data, layout)
	if err != nil {
		return nil, err
	}
	if len(t.Rows) == 0 {
		t.IdentityFault("document", "", "the list has no standards")
	}
	list := &List{Name: t.Identity["name"], Version: t.Identity["version"], Author: t.Identity["author"], Reason: t.Identity["reason"]}
	index, first := map[string]int{}, map[string]*document.Row{}
	for i := range t.Rows {
		r := &t.Rows[i]
		id := r.Need("standard_id")
		if id == "" {
			continue
		}
		k, known := index[id]
		if !known {
			k = len(list.Standards)
			index[id], first[id] = k, r
			list.Standards = append(list.Standards, material(r, id))
		}
		for _, column := range facts {
			if a, b := r.Text(column), first[id].Text(column); a != b {
				r.Fault(column, "the rows of one standard differ in analyte, value, unit, uncertainty, k and purity only",
					"%s of standard %q is %q, and %q on line %d", column, id, a, b, first[id].Line)
			}
		}
		s := &list.Standards[k]
		v := value(r)
		for _, before := range s.Values {
			if before.Analyte == v.Analyte && v.Analyte != "" {
				r.Fault("analyte", "keep one of the two", "standard %q already has a value for %q on line %d", id, v.Analyte, before.Row)
			}
		}
		s.Values = append(s.Values, v)
	}
	for _, s := range list.Standards {
		parent(list, index, first[s.ID], &s)
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	return list, nil
}

func material(r *document.Row, id string) Standard {
	s := Standard{
		ID: id, Lot: r.Need("lot"), Maker: r.Text("maker"), Certificate: r.Text("certificate"),
		Parent: r.Text("parent"), PreparedBy: r.Text("prepared_by"), PreparedOn: r.Date("prepared_on"),
		Opened: r.Date("opened"), Expires: r.Date("expires"),
	}
	for _, column := range []string{"prepared_on", "opened"} {
		// Dates in this form sort as text.
		if date := r.Text(column); s.Expires != "" && date > s.Expires {
			r.Fault("expires", "", "standard %q expires on %s, before %s %s", id, s.Expires, column, date)
		}
	}
	return s
}

func value(r *document.Row) Value {
	v := Value{
		Analyte: r.Need("analyte"), Unit: r.Need("unit"),
		Uncertainty: r.Number("uncertainty"), K: r.Number("k"), Purity: r.Number("purity"), Row: r.Line,
	}
	r.Need("value")
	if x := r.Number("value"); x != nil {
		v.Value = *x
	}
	if v.Unit != "" {
		if _, err := unit.Parse(v.Unit); err != nil {
			r.Fault("unit", document.UnitHint(err), "unit %q is not known", v.Unit)
		}
	}
	if v.Uncertainty != nil && !(*v.Uncertainty >= 0) {
		r.Fault("uncertainty", "", "uncertainty is %v, below zero", *v.Uncertainty)
	}
	if v.K != nil && !(*v.K > 0) {
		r.Fault("k", "the coverage factor is mostly 2", "k is %v, not above zero", *v.K)
	}
	if (v.K == nil) != (v.Uncertainty == nil) {
		r.Fault("k", "an expanded uncertainty needs its coverage factor", "uncertainty and k go together; one of them is empty")
	}
	if v.Purity != nil && !(*v.Purity > 0 && *v.Purity <= 1) {
		r.Fault("purity", "a mass fraction: 0.995", "purity is %v, not above 0 and at most 1", *v.Purity)
	}
	return v
}

// parent checks that what a standard was made from is in the list and not made from it.
func parent(list *List, index map[string]int, r *document.Row, s *Standard) {
	if s.Parent == "" {
		return
	}
	if _, known := index[s.Parent]; !known {
		r.Fault("parent", "list the material that it was made from", "parent: the list has no standard %q", s.Parent)
		return
	}
	up := s.Parent
	for range list.Standards {
		if up == s.ID {
			r.Fault("parent", "", "standard %q descends from itself", s.ID)
			return
		}
		i, known := index[up]
		if !known {
			return
		}
		up = list.Standards[i].Parent
	}
}
