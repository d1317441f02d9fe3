package watch

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"

	"underbond/ingest/custody"
	"underbond/ingest/custody/faultpoint"
)

// verdict is what a look into a quiet file gave.
type verdict struct {
	proof Proof
	why   string // why it is not complete; empty when it is
}

// nulRun is how many zero bytes in a row no text has, in any encoding in use:
// UTF-16 and UTF-32 have up to three.
const nulRun = 16

// check looks whether the quiet file is complete. An error says that it cannot
// be told for now.
func (r *root) check(ctx context.Context, rel string, id custody.Identity) (v verdict, err error) {
	source := custody.Source{Root: r.Path, Path: filepath.FromSlash(rel), Want: id}
	f, _, err := source.Open()
	if err != nil {
		return verdict{}, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if why, err := r.unwritten(ctx, f, rel, id.Size); why != "" || err != nil {
		return verdict{proof: ProofFailed, why: why}, err
	}
	if r.opts.Prover == nil || faultpoint.Off("end-proof") {
		return verdict{proof: ProofNone}, nil
	}
	proof, why, err := r.opts.Prover.EndProof(ctx, r.Name, custody.Printable([]byte(rel)), f, id.Size)
	if err != nil {
		return verdict{}, fmt.Errorf("look for the end mark of %s: %w", source, err)
	}
	switch proof {
	case ProofHeld, ProofNone:
		return verdict{proof: proof}, nil
	case ProofFailed:
		if why == "" {
			why = "the end mark is missing"
		}
		return verdict{proof: proof, why: why}, nil
	default:
		return verdict{}, fmt.Errorf("look for the end mark of %s: unknown answer %q", source, proof)
	}
}

// unwritten says why the file looks as if its place was made but not filled.
func (r *root) unwritten(ctx context.Context, f *os.File, rel string, size int64) (why string, err error) {
	if size == 0 {
		return "the file is empty", nil
	}
	if faultpoint.Off("nul-check") {
		return "", nil
	}
	if at, found := firstHole(f, size); found {
		return fmt.Sprintf("space is set aside but not written from byte %d on", at), nil
	}
	if matches(r.Binary, path.Base(rel)) {
		return "", nil
	}
	at, found, err := findNULs(ctx, io.NewSectionReader(f, 0, size))
	if err != nil {
		return "", fmt.Errorf("look for zero bytes: %w", err)
	}
	if found {
		return fmt.Sprintf("a run of zero bytes at byte %d, which no text has", at), nil
	}
	return "", nil
}

// findNULs gives where the first run of nulRun zero bytes starts.
func findNULs(ctx context.Context, r io.Reader) (at int64, found bool, err error) {
	var run [nulRun]byte
	block := make([]byte, 128<<10)
	kept, offset := 0, int64(0) // bytes kept from the last block, and where block starts
	for {
		if err := ctx.Err(); err != nil {
			return 0, false, err
		}
		n, err := r.Read(block[kept:])
		filled := block[:kept+n]
		if i := bytes.Index(filled, run[:]); i >= 0 {
			return offset + int64(i), true, nil
		}
		if errors.Is(err, io.EOF) {
			return 0, false, nil
		}
		if err != nil {
			return 0, false, err
		}
		keep := min(len(filled), nulRun-1)
		offset += int64(len(filled) - keep)
		kept = copy(block, filled[len(filled)-keep:])
	}
}
