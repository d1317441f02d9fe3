package qc

import (
	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// InputSchema is the version of the Input document.
const InputSchema = 1

// Input is the one value that Evaluate sees: a batch and everything outside it that
// may matter, each pinned by revision. Nothing else may influence an evaluation.
type Input struct {
	Schema    int                 `json:"schema"`
	Method    method.Method       `json:"method"`
	Documents []DocumentRef       `json:"documents"` // method, worklist, registers, standards lists used
	Batch     Batch               `json:"batch"`
	Members   []Member            `json:"members"`   // in worklist order
	Unlisted  []Unlisted          `json:"unlisted"`  // acquisitions of the run that no line names
	Samples   []SampleFacts       `json:"samples"`   // register facts of the samples named; no claims
	Standards []standard.Standard `json:"standards"` // the standards named that the lists know
	Related   []Related           `json:"related"`   // results of other batches, pinned by revision
}

// DocumentRef names one version of a document.
type DocumentRef struct {
	Kind    string `json:"kind"`
	Name    string `json:"name"`
	Version string `json:"version"`
	SHA256  string `json:"sha256"`
}

// Batch is the batch's own state.
type Batch struct {
	Name       string `json:"name"`
	Instrument string `json:"instrument"`
	Closed     bool   `json:"closed"`
	// Cause of closing: "worklist complete", "signature" or "time".
	Cause string `json:"closed_cause,omitempty"`
}

// Member states.
const (
	MemberRecorded  = "recorded"  // one acquisition is bound to the line
	MemberAwaited   = "awaited"   // no acquisition yet
	MemberAmbiguous = "ambiguous" // more than one acquisition claims the line; a person decides
)

// Member is one worklist line with the acquisition bound to it.
type Member struct {
	Line        worklist.Line   `json:"line"`
	State       string          `json:"state"`
	Acquisition *AcquisitionRef `json:"acquisition,omitempty"`
	Started     parsers.Started `json:"started"`
	Reduction   *Reduction      `json:"reduction,omitempty"`
	// Claimants are the acquisitions of an ambiguous line.
	Claimants []AcquisitionRef `json:"claimants,omitempty"`
}

// AcquisitionRef pins one revision of an acquisition.
type AcquisitionRef struct {
	Instrument string `json:"instrument"`
	Key        string `json:"key"`      // native key, or root and path
	Revision   string `json:"revision"` // digest of its content
	File       string `json:"file"`     // printable path of the arrival
}

// Unlisted is an acquisition that no worklist line names.
type Unlisted struct {
	Acquisition AcquisitionRef  `json:"acquisition"`
	Started     parsers.Started `json:"started"`
}

// SampleFacts are the register facts that evaluation may use.
type SampleFacts struct {
	ID       string `json:"sample_id"`
	Category string `json:"category"`
}

// Related is a result of another batch that this one uses.
type Related struct {
	Quantity string `json:"quantity"` // "strength"
	Kind     string `json:"kind,omitempty"`
	Sample   string `json:"sample"`
	// Result and Revision pin the result: its public id and the digest of its content.
	Result   string  `json:"result"`
	Revision string  `json:"revision"`
	Value    float64 `json:"value"`
	Unit     string  `json:"unit"`
	// Uncertainty is the combined standard uncertainty of Value, in Unit.
	Uncertainty *float64 `json:"standard_uncertainty,omitempty"`
}
