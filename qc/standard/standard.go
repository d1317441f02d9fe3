// Package standard holds the standards list: calibration, check and reference
// materials with lot, certificate, values and dates.
package standard

// List is one version of a standards list.
type List struct {
	Name      string     `json:"name"`
	Version   string     `json:"version"`
	Author    string     `json:"author,omitempty"`
	Reason    string     `json:"reason,omitempty"`
	Standards []Standard `json:"standards"`
}

// Standard is one prepared or bought material. Dates are "2006-01-02"; empty is unknown.
type Standard struct {
	ID          string  `json:"standard_id"`
	Lot         string  `json:"lot"`
	Maker       string  `json:"maker,omitempty"`
	Certificate string  `json:"certificate,omitempty"`
	Parent      string  `json:"parent,omitempty"`
	PreparedBy  string  `json:"prepared_by,omitempty"`
	PreparedOn  string  `json:"prepared_on,omitempty"`
	Opened      string  `json:"opened,omitempty"`
	Expires     string  `json:"expires"` // the last day of use; empty is unknown and fails
	Values      []Value `json:"values"`
}

// Value is a standard's value for one analyte.
type Value struct {
	Analyte     string   `json:"analyte"`
	Value       float64  `json:"value"`
	Unit        string   `json:"unit"`
	Uncertainty *float64 `json:"uncertainty,omitempty"` // expanded, in Unit
	K           *float64 `json:"k,omitempty"`           // coverage factor
	Purity      *float64 `json:"purity,omitempty"`      // mass fraction
	Row         int      `json:"row"`
}
