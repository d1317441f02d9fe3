// Package record holds the plain values that pass between the pipeline and the store:
// what arrived, what was read of it, and what an evaluation is made from. It has no
// behaviour beyond small helpers, so that the pipeline and the store can share it
// without knowing each other.
package record

import (
	"errors"
	"time"

	"underbond/ingest/custody"
	"underbond/parsers"
	"underbond/qc"
	"underbond/qc/method"
	"underbond/qc/register"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// Errors on which the pipeline decides.
var (
	// ErrFenced: the claim was taken over by another worker; what this one did is void.
	ErrFenced = errors.New("the claim on the file was taken over")
	// ErrStale: something that an evaluation was made from has changed; evaluate again.
	ErrStale = errors.New("the batch or a result it uses has changed meanwhile")
)

// RejectedError: the database refuses what was read from a file as it is; trying again
// will not help.
type RejectedError struct {
	Code string // SQLSTATE
	Err  error
}

// Error implements error.
func (e *RejectedError) Error() string { return e.Err.Error() }

// Unwrap gives the database's error.
func (e *RejectedError) Unwrap() error { return e.Err }

// Hash is a SHA-256.
type Hash = custody.Hash

// ParseHash reads a hexadecimal SHA-256.
func ParseHash(text string) (Hash, error) { return custody.ParseHash(text) }

// What a watched folder holds.
const (
	HoldsExports   = "exports"
	HoldsDocuments = "documents"
)

// Arrival is one file in custody.
type Arrival struct {
	Daemon      string
	Journal     int64
	Root        string
	Instrument  string
	Holds       string
	Path        []byte // below the root, byte for byte
	PathText    string // printable
	SourceMtime time.Time
	Object      Hash
	Size        int64
	Archive     string // id of the archive
	EndProof    string
	Incomplete  string // why it was taken without its end proof; empty when whole
	TakenAt     time.Time
}

// Claim is an arrival that one worker has leased.
type Claim struct {
	Arrival
	ID       int64
	Fence    int64
	Attempts int // including this one
	// Documents is the number of the newest document when the file was claimed: what
	// is looked up for this file must be at least that new.
	Documents int64

	// Filled in when acquisitions are recorded: the batches concerned by name, and what the
	// file waits for when there are none.
	Batches    []string
	WaitingFor string
}

// What a file can wait for.
const (
	WaitWorklist = "worklist"
	WaitProfile  = "profile"
	WaitMethod   = "method"
)

// Acquisition is one acquisition as read from a file, ready to be recorded.
type Acquisition struct {
	Instrument string
	Key        string
	Record     int
	Digest     Hash
	Header     parsers.Header
	File       string // base name of the export
	Started    parsers.Started
	Problems   []parsers.Problem
	Reductions []Reduction
}

// Reduction says where the archive keeps a reduction.
type Reduction struct {
	Plan   Hash
	Engine string
	Object Hash
	Size   int64
}

// Document is one version of a document, read and ready to be recorded. Exactly the
// field of its kind is set (none for a profile).
type Document struct {
	Kind, Name, Version string
	Author, Reason      string
	Object              Hash
	Body                []byte // canonical JSON
	Method              *method.Method
	Worklist            *worklist.Worklist
	Register            *register.Register
	Standards           *standard.List
}

// DocumentConflict refuses a document whose version exists with other content, or
// that contradicts what is registered.
type DocumentConflict struct{ Code, Message string }

// Error implements error.
func (c *DocumentConflict) Error() string { return c.Message }

// StoredDocument is a recorded document.
type StoredDocument struct {
	Name, Version string
	Object        Hash
	Body          []byte
}

// Snapshot is what a batch was when its evaluation began.
type Snapshot struct {
	Batch   int64
	Version int64
	Plan    Hash
	// Input is complete but for the members' reductions.
	Input qc.Input
	// Sources say, for each member of Input that has an acquisition, where its reduction
	// is or what it can be made from; nil for the others.
	Sources []*Source
	// Previous is the digest of the input evaluated last; zero when there is none.
	Previous Hash
}

// Source is where a member's reduction comes from.
type Source struct {
	Revision  int64 // surrogate of the acquisition revision
	Arrival   Arrival
	Record    int
	Reduction *Hash // object of the stored reduction, if there is one for the plan
}

// Evaluated is an evaluation with the digests that pin it.
type Evaluated struct {
	Evaluation   *qc.Evaluation
	Input        Hash
	InputSize    int64
	Output       Hash
	Archive      string
	Architecture string
}

// LedgerHead is the newest ledger entry.
type LedgerHead struct {
	Seq  int64
	Hash Hash
}
