package watch

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"underbond/ingest/custody"
)

// Proof is what a format's end mark says about a file.
type Proof string

const (
	// ProofHeld: the end mark is there.
	ProofHeld Proof = "held"
	// ProofNone: the format has no end mark, or is not known.
	ProofNone Proof = "none"
	// ProofFailed: the format has an end mark and it is not there.
	ProofFailed Proof = "failed"
)

// EndProver looks for a format's end mark.
type EndProver interface {
	// EndProof reads what it needs of the size bytes of r. root names the root; path is only for
	// messages. why explains a failed proof. An error says that the file could not
	// be read or recognised for now, and is tried again; a file of unknown format
	// is no error but ProofNone.
	EndProof(ctx context.Context, root, path string, r io.ReaderAt, size int64) (proof Proof, why string, err error)
}

// Candidate is a file that is ready to be taken.
type Candidate struct {
	Root       string
	Instrument string
	RootPath   string
	Path       []byte // relative to the root, with slashes, bytes as the file system gave them
	Identity   custody.Identity
	EndProof   Proof
	// Incomplete, when not empty, says why the file is handed over although it
	// is not complete.
	Incomplete string
	// Previous is what was last taken from this path, zero when nothing was.
	Previous custody.Hash
}

// Source is where to read the file, bound to what was found ready.
func (c Candidate) Source() custody.Source {
	return custody.Source{Root: c.RootPath, Path: filepath.FromSlash(string(c.Path)), Want: c.Identity}
}

// Arrival is the journal entry for the file once the archive has given a receipt.
func (c Candidate) Arrival(daemon string, r custody.Receipt, takenAt time.Time) custody.Arrival {
	return custody.Arrival{
		Daemon: daemon, Root: c.Root, Path: c.Path, PathText: custody.Printable(c.Path),
		SourceMtime: r.Source.ModTime(), Size: r.Size, SHA256: r.Hash,
		EndProof: string(c.EndProof), Incomplete: c.Incomplete, TakenAt: takenAt,
	}
}

// Known is what was last taken from a path, as far as it is known after a restart.
type Known struct {
	Root  string
	Path  []byte
	Size  int64     // bytes
	Mtime time.Time // the source's
	Hash  custody.Hash
}

// KnownFrom reads the journal for what was last taken from each path.
func KnownFrom(j *custody.Journal) ([]Known, error) {
	at := map[[2]string]int{}
	var known []Known
	for record, err := range j.Records(1) {
		if err != nil {
			return nil, fmt.Errorf("list what was taken before: %w", err)
		}
		a := record.Arrival
		if a == nil {
			continue
		}
		key := [2]string{a.Root, string(a.Path)}
		i, seen := at[key]
		if !seen {
			i = len(known)
			at[key] = i
			known = append(known, Known{})
		}
		known[i] = Known{Root: a.Root, Path: a.Path, Size: a.Size, Mtime: a.SourceMtime, Hash: a.SHA256}
	}
	return known, nil
}

// EventKind says what an event is about.
type EventKind string

const (
	// EventVanished: a file was seen and was gone before it could be taken.
	EventVanished EventKind = "vanished before custody"
	// EventSpecial: a link, pipe, socket or device was passed over.
	EventSpecial EventKind = "not a regular file"
	// EventOffline: a root cannot be read, or is not the folder it was.
	EventOffline EventKind = "root offline"
	// EventOnline: a root can be read.
	EventOnline EventKind = "root online"
	// EventOverflow: notifications were lost; a scan follows.
	EventOverflow EventKind = "notifications lost"
	// EventPolling: a root is scanned at intervals only.
	EventPolling EventKind = "polling"
	// EventSilentChange: bytes changed under the same size and times.
	EventSilentChange EventKind = "changed without a sign"
	// EventClockSkew: a source's times lie in the future.
	EventClockSkew EventKind = "source clock ahead"
)

// Event is something that should not pass silently.
type Event struct {
	Kind   EventKind
	Root   string
	Path   []byte // relative to the root; empty when it is about the root
	Detail string
	At     time.Time
}
