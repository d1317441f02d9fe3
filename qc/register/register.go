// Package register holds the sample register: the bottles, what is known of them and
// what their labels claim.
package register

// Register is one version of a register document.
type Register struct {
	Name    string   `json:"name"`
	Version string   `json:"version"`
	Author  string   `json:"author,omitempty"`
	Reason  string   `json:"reason,omitempty"`
	Samples []Sample `json:"samples"`
}

// Sample is one registered sample. Times and dates are as written (RFC 3339 or a
// date); empty is unknown.
type Sample struct {
	ID                string `json:"sample_id"`
	Lot               string `json:"lot,omitempty"`
	Category          string `json:"category"` // "cider spirit", "perry spirit", …
	ReceivedAt        string `json:"received_at,omitempty"`
	Producer          string `json:"producer,omitempty"`
	Seal              string `json:"seal,omitempty"`
	Storage           string `json:"storage,omitempty"`
	OpenedAt          string `json:"opened_at,omitempty"`
	ReferenceMaterial bool   `json:"reference_material"`
	Claim             Claim  `json:"claim"`
	Row               int    `json:"row"`
}

// Claim is what the label or the producer states. Claims never reach evaluation.
type Claim struct {
	AgeYears  *float64    `json:"age_years,omitempty"`
	CaskWood  string      `json:"cask_wood,omitempty"`
	CaskHeld  string      `json:"cask_held,omitempty"` // the cask's former contents
	Feedstock string      `json:"feedstock,omitempty"`
	Still     string      `json:"still,omitempty"`
	Origin    []Component `json:"origin,omitempty"` // shares sum to 100 % or are all undisclosed
	Additions string      `json:"additions,omitempty"`
	Status    string      `json:"status,omitempty"` // "declared", "documented" or "witnessed"
}

// Component is one origin of a blend. A nil share is undisclosed.
type Component struct {
	Origin string   `json:"origin"`
	Share  *float64 `json:"share_percent,omitempty"`
}
