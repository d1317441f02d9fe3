package register

import (
	"math"
	"strings"

	"underbond/parsers/located"
	"underbond/qc/document"
)

var layout = document.Layout{
	Kind: document.KindRegister,
	Columns: []string{"sample_id", "lot", "category", "received_at", "producer", "seal", "storage", "opened_at",
		"reference_material", "claim_age_years", "claim_cask_wood", "claim_cask_held", "claim_feedstock", "claim_still",
		"claim_origin", "claim_additions", "claim_status"},
	Required: []string{"sample_id", "category"},
}

// Parse reads and checks one register document. The error is a document.Errors with
// every fault found.
func Parse(file string, data []byte) (*Register, error) {
	t, err := document.ReadTable(file, data, layout)
	if err != nil {
		return nil, err
	}
	reg := &Register{Name: t.Identity["name"], Version: t.Identity["version"], Author: t.Identity["author"], Reason: t.Identity["reason"]}
	if len(t.Rows) == 0 {
		t.IdentityFault("document", "", "the register has no samples")
	}
	lines := map[string]int{}
	for i := range t.Rows {
		r := &t.Rows[i]
		s := sample(r)
		if before, twice := lines[s.ID]; twice && s.ID != "" {
			r.Fault("sample_id", "give each sample its own id", "sample %q is already on line %d", s.ID, before)
		}
		lines[s.ID] = r.Line
		reg.Samples = append(reg.Samples, s)
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	return reg, nil
}

func sample(r *document.Row) Sample {
	s := Sample{
		ID: r.Need("sample_id"), Lot: r.Text("lot"), Category: r.Need("category"),
		ReceivedAt: r.Moment("received_at"), Producer: r.Text("producer"), Seal: r.Text("seal"),
		Storage: r.Text("storage"), OpenedAt: r.Moment("opened_at"),
		ReferenceMaterial: r.OneOf("reference_material", "yes", "no") == "yes",
		Claim: Claim{
			AgeYears: r.Number("claim_age_years"), CaskWood: r.Text("claim_cask_wood"), CaskHeld: r.Text("claim_cask_held"),
			Feedstock: r.Text("claim_feedstock"), Still: r.Text("claim_still"), Origin: origin(r),
			Additions: r.Text("claim_additions"), Status: r.OneOf("claim_status", "declared", "documented", "witnessed"),
		},
		Row: r.Line,
	}
	if age := s.Claim.AgeYears; age != nil && !(*age >= 0) {
		r.Fault("claim_age_years", "", "claim_age_years is %v, below zero", *age)
	}
	return s
}

const undisclosed = "undisclosed"

// origin reads "Westmark 60 %; Lower Ostel 40 %" or "Westmark undisclosed; Ostel undisclosed".
func origin(r *document.Row) []Component {
	const column, form = "claim_origin", "write Westmark 60 %; Lower Ostel 40 %, or Westmark undisclosed; Ostel undisclosed"
	items := r.List(column)
	var list []Component
	sum, shares := 0.0, 0
	seen := map[string]bool{}
	for _, item := range items {
		name, share, ok := component(item)
		switch {
		case !ok:
			r.Fault(column, form, "claim_origin: %q is neither an origin with its share nor undisclosed", item)
			return nil
		case seen[name]:
			r.Fault(column, "keep one of the two", "claim_origin names %q twice", name)
		case share != nil && !(*share > 0 && *share <= 100):
			r.Fault(column, "", "claim_origin: the share of %q is %v %%", name, *share)
		}
		seen[name] = true
		if share != nil {
			sum += *share
			shares++
		}
		list = append(list, Component{Origin: name, Share: share})
	}
	switch {
	case shares != 0 && shares != len(items):
		r.Fault(column, form, "claim_origin discloses some shares and not others in %q", r.Text(column))
	case shares != 0 && !(math.Abs(sum-100) <= 1e-6):
		r.Fault(column, "the shares of a blend add up to 100 %", "the shares in %q add up to %.6g %%", r.Text(column), sum)
	}
	return list
}

// component cuts "Lower Ostel 40 %" or "Ostel undisclosed" into origin and share.
func component(item string) (name string, share *float64, ok bool) {
	if text, closed := strings.CutSuffix(item, undisclosed); closed {
		name = strings.TrimSpace(text)
		return name, nil, name != "" && name != text
	}
	text, percent := strings.CutSuffix(item, "%")
	text = strings.TrimSpace(text)
	i := strings.LastIndexByte(text, ' ')
	if !percent || i < 0 {
		return "", nil, false
	}
	v, err := located.Number(text[i+1:])
	name = strings.TrimSpace(text[:i])
	return name, &v, err == nil && name != ""
}
