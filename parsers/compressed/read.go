package compressed

import (
	"context"
	"errors"
	"fmt"

	"underbond/parsers"
)

// CodeIncomplete refuses data without the end mark of its format.
const CodeIncomplete = "incomplete"

// Choose names the reader of a member by its first bytes. Its error ends the reading.
type Choose func(m *Member, head []byte) (parsers.Reader, error)

// Result is what Read says beside what it gave to the sink.
type Result struct {
	// Proof is that of the member that proves least.
	Proof    parsers.EndProof
	Warnings []parsers.Problem
}

// Read gives the acquisitions of all members to the sink as if they were one file: they
// are numbered on from member to member. When there are several, each one's places and
// native keys name its member. The contract of parsers.Reader holds for the whole:
// one refused member refuses the content.
//
// An acquisition without a digest of its own gets that of its decompressed member.
func (c *Content) Read(ctx context.Context, choose Choose, opt parsers.Options, sink parsers.Sink) (Result, error) {
	opt.Limits = opt.Limits.WithDefaults()
	all := Result{Proof: parsers.EndProofHeld}
	n := &numbered{sink: sink, limit: opt.Limits.Acquisitions}
	for _, m := range c.Members {
		n.begin(m)
		warnings, proof, err := m.read(ctx, choose, opt, n)
		if proof == parsers.EndProofFailed || all.Proof == parsers.EndProofHeld {
			all.Proof = proof
		}
		if err != nil {
			return all, n.place(err)
		}
		all.Warnings = append(all.Warnings, n.problems(warnings)...)
	}
	return all, nil
}

func (m *Member) read(ctx context.Context, choose Choose, opt parsers.Options, n *numbered) ([]parsers.Problem, parsers.EndProof, error) {
	head, err := m.Head(parsers.SniffLength)
	if err != nil {
		return nil, proofOf(err), about(m, "read the head", err)
	}
	reader, err := choose(m, head)
	if err != nil {
		return nil, parsers.EndProofNone, err
	}
	proof, why, err := m.EndProof(ctx, reader)
	if err != nil {
		return nil, proofOf(err), about(m, "look for the end", err)
	}
	size := m.size
	if m.passed != nil {
		n.digest, size = m.passed.digest, m.passed.size
	}
	if proof == parsers.EndProofFailed {
		return nil, proof, parsers.Refuse(CodeIncomplete, parsers.Place{Offset: size},
			"the end mark of %s is not there: %s; the file was cut off, export it again", reader.Format(), why)
	}
	in, err := m.open()
	if err != nil {
		return nil, proof, about(m, "open", err)
	}
	defer in.Close()
	warnings, err := reader.Read(ctx, in, opt, n)
	return warnings, proof, err
}

// proofOf: data whose end is missing fails the proof; other trouble proves nothing.
func proofOf(err error) parsers.EndProof {
	if IsCut(err) {
		return parsers.EndProofFailed
	}
	return parsers.EndProofNone
}

// about says for an error of the source what was being done.
func about(m *Member, what string, err error) error {
	var refusal *parsers.Refusal
	if err == nil || errors.As(err, &refusal) || m.Name == "" {
		return err
	}
	return fmt.Errorf("%s of member %s: %w", what, m.Name, err)
}

// numbered passes acquisitions on with numbers, places and digests of the whole content.
type numbered struct {
	sink   parsers.Sink
	limit  int
	member string
	base   int // acquisitions of the members before
	count  int // acquisitions so far
	digest [32]byte
	failed error // of the sink, which knows its own places
}

// begin turns to the next member.
func (n *numbered) begin(m *Member) {
	n.member, n.base, n.digest = m.Name, n.count, [32]byte{}
}

// Begin implements parsers.Sink.
func (n *numbered) Begin(h parsers.Header) error {
	n.count++
	if n.count > n.limit {
		return parsers.Refuse(CodeLimitMembers, parsers.Place{Record: n.count - n.base}, "the members hold more than %d acquisitions together", n.limit)
	}
	h.Record += n.base
	if n.member != "" && h.NativeKey != "" {
		h.NativeKey += "!" + n.member
	}
	n.failed = n.sink.Begin(h)
	return n.failed
}

// Signal implements parsers.Sink.
func (n *numbered) Signal(s parsers.Signal) error {
	n.failed = n.sink.Signal(s)
	return n.failed
}

// End implements parsers.Sink.
func (n *numbered) End(t parsers.Trailer) error {
	if t.Digest == [32]byte{} {
		t.Digest = n.digest
	}
	t.Problems = n.problems(t.Problems)
	n.failed = n.sink.End(t)
	return n.failed
}

// problems moves problems of a member to their places in the whole.
func (n *numbered) problems(list []parsers.Problem) []parsers.Problem {
	for i := range list {
		n.move(&list[i].Where)
	}
	return list
}

func (n *numbered) move(where *parsers.Place) {
	if where.Record > 0 {
		where.Record += n.base
	}
	switch {
	case n.member == "" || where.Element == n.member:
	case where.Element == "":
		where.Element = n.member
	default:
		where.Element = n.member + "!" + where.Element
	}
}

// place moves a refusal likewise; other errors stay as they are.
func (n *numbered) place(err error) error {
	var refusal *parsers.Refusal
	if errors.As(err, &refusal) && (n.failed == nil || !errors.Is(err, n.failed)) {
		moved := *refusal
		n.move(&moved.Where)
		return &moved
	}
	return err
}

// EndProof looks at the end of every member. choose gives nil for data that no reader
// knows, of which only the compression is proved. A refusal other than that of a cut
// end proves nothing: Read will say it.
func (c *Content) EndProof(ctx context.Context, choose func(head []byte) parsers.Reader) (parsers.EndProof, string, error) {
	all := parsers.EndProofHeld
	for _, m := range c.Members {
		proof, why, err := m.endProof(ctx, choose)
		var refusal *parsers.Refusal
		switch {
		case IsCut(err):
			return parsers.EndProofFailed, err.Error(), nil
		case errors.As(err, &refusal):
			proof = parsers.EndProofNone
		case err != nil:
			return parsers.EndProofNone, "", err
		case proof == parsers.EndProofFailed:
			return proof, why, nil
		}
		if all == parsers.EndProofHeld {
			all = proof
		}
	}
	return all, "", nil
}

func (m *Member) endProof(ctx context.Context, choose func(head []byte) parsers.Reader) (parsers.EndProof, string, error) {
	head, err := m.Head(parsers.SniffLength)
	if err != nil {
		return parsers.EndProofNone, "", about(m, "read the head", err)
	}
	if reader := choose(head); reader != nil {
		proof, why, err := m.EndProof(ctx, reader)
		return proof, why, about(m, "look for the end", err)
	}
	if m.kind != Plain {
		_, err = m.pass(ctx)
	}
	return parsers.EndProofNone, "", about(m, "look for the end", err)
}
