package qc

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// InputError: a value is no Input that could be evaluated. What the measurements say
// is never an InputError but a verdict.
type InputError struct {
	Where string // the part of the input, such as "position 7" or "method, analyte methanol"
	What  string
}

// Error implements error.
func (e *InputError) Error() string {
	return fmt.Sprintf("evaluation input: %s: %s", e.Where, e.What)
}

func faulty(where, format string, args ...any) *InputError {
	return &InputError{Where: where, What: fmt.Sprintf(format, args...)}
}

// Ordered gives a copy of the input in its one order: members by position, everything
// else by its identity. Inputs that differ only in the order of their parts have the
// same ordered form, and InputSHA256 of an evaluation is the digest of that form.
func (in *Input) Ordered() *Input {
	out := *in
	out.Documents = sorted(in.Documents, func(a, b *DocumentRef) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Name, b.Name), cmp.Compare(a.Version, b.Version), cmp.Compare(a.SHA256, b.SHA256))
	})
	out.Members = sorted(in.Members, func(a, b *Member) int { return cmp.Compare(a.Line.Position, b.Line.Position) })
	for i := range out.Members {
		if len(out.Members[i].Claimants) > 0 {
			out.Members[i].Claimants = sorted(out.Members[i].Claimants, compareAcquisitions)
		}
	}
	out.Unlisted = sorted(in.Unlisted, func(a, b *Unlisted) int { return compareAcquisitions(&a.Acquisition, &b.Acquisition) })
	out.Samples = sorted(in.Samples, func(a, b *SampleFacts) int { return cmp.Compare(a.ID, b.ID) })
	out.Standards = sorted(in.Standards, func(a, b *standard.Standard) int { return cmp.Compare(a.ID, b.ID) })
	out.Related = sorted(in.Related, func(a, b *Related) int {
		return cmp.Or(cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.Sample, b.Sample), cmp.Compare(a.Kind, b.Kind),
			cmp.Compare(a.Result, b.Result), cmp.Compare(a.Revision, b.Revision))
	})
	return &out
}

// sorted copies and sorts; an absent list becomes an empty one, which is the same input.
// What compares equal keeps its order. The items may be large, so places are sorted
// and each item is moved once.
func sorted[T any](list []T, compare func(a, b *T) int) []T {
	places := make([]int, len(list))
	for i := range places {
		places[i] = i
	}
	slices.SortFunc(places, func(i, j int) int {
		if c := compare(&list[i], &list[j]); c != 0 {
			return c
		}
		return i - j
	})
	out := make([]T, len(list))
	for i, from := range places {
		out[i] = list[from]
	}
	return out
}

// arranged sorts items of which no two compare equal, and moves each once.
func arranged[T any](items []*T, compare func(a, b *T) int) []T {
	slices.SortFunc(items, compare)
	out := make([]T, len(items))
	for i, item := range items {
		out[i] = *item
	}
	return out
}

func compareAcquisitions(a, b *AcquisitionRef) int {
	return cmp.Or(cmp.Compare(a.Instrument, b.Instrument), cmp.Compare(a.Key, b.Key), cmp.Compare(a.Revision, b.Revision), cmp.Compare(a.File, b.File))
}

// validate looks for what makes an ordered input unusable.
func (in *Input) validate() error {
	if in.Schema != InputSchema {
		return faulty("schema", "is %d, this engine reads %d", in.Schema, InputSchema)
	}
	if in.Batch.Name == "" {
		return faulty("batch", "has no name")
	}
	if err := validateMethod(&in.Method); err != nil {
		return err
	}
	if id, twice := repeated(in.Standards, func(s standard.Standard) string { return s.ID }); twice {
		return faulty("standards", "%s is there twice", id)
	}
	if id, twice := repeated(in.Samples, func(s SampleFacts) string { return s.ID }); twice {
		return faulty("samples", "%s is there twice", id)
	}
	return in.validateMembers()
}

func repeated[T any](list []T, key func(T) string) (string, bool) {
	seen := make(map[string]bool, len(list))
	for _, item := range list {
		if k := key(item); seen[k] {
			return k, true
		} else {
			seen[k] = true
		}
	}
	return "", false
}

func (in *Input) validateMembers() error {
	positions := make(map[int]bool, len(in.Members))
	bound := map[AcquisitionRef]int{}
	var first *Member // recorded
	for i := range in.Members {
		m := &in.Members[i]
		where := fmt.Sprintf("position %d", m.Line.Position)
		if m.Line.Position < 1 {
			return faulty(where, "positions count from 1")
		}
		if positions[m.Line.Position] {
			return faulty(where, "is there twice")
		}
		positions[m.Line.Position] = true
		if err := validateMember(m, where); err != nil {
			return err
		}
		if m.State != MemberRecorded {
			continue
		}
		if first == nil {
			first = m
		}
		if m.Reduction.Plan != first.Reduction.Plan || m.Reduction.Engine != first.Reduction.Engine {
			return faulty(where, "is reduced by engine %s and plan %s, position %d by engine %s and plan %s",
				m.Reduction.Engine, m.Reduction.Plan, first.Line.Position, first.Reduction.Engine, first.Reduction.Plan)
		}
		// The same content of one instrument and key is one acquisition wherever its file lies.
		identity := AcquisitionRef{Instrument: m.Acquisition.Instrument, Key: m.Acquisition.Key}
		if other, taken := bound[identity]; taken {
			return faulty(where, "acquisition %s is bound to position %d too", m.Acquisition.Key, other)
		}
		bound[identity] = m.Line.Position
	}
	for i := range in.Members {
		line := &in.Members[i].Line
		where := fmt.Sprintf("position %d", line.Position)
		needsParent := line.Role == worklist.RoleDuplicate || line.Role == worklist.RoleSpike
		switch {
		case line.Parent == 0 && needsParent:
			return faulty(where, "a %s names its parent's position", line.Role)
		case line.Parent == 0:
		case line.Parent == line.Position:
			return faulty(where, "is its own parent")
		case !positions[line.Parent]:
			return faulty(where, "its parent, position %d, is not in the batch", line.Parent)
		}
	}
	return nil
}

var roles = []string{
	worklist.RoleStandard, worklist.RoleCalBlank, worklist.RoleMethodBlank, worklist.RoleCheck, worklist.RoleInitialCheck,
	worklist.RoleControl, worklist.RoleReference, worklist.RoleDuplicate, worklist.RoleSpike, worklist.RoleSample,
}

func validateMember(m *Member, where string) error {
	if !slices.Contains(roles, m.Line.Role) {
		return faulty(where, "unknown role %q", m.Line.Role)
	}
	if m.Line.Role == worklist.RoleSample && m.Line.Sample == "" {
		return faulty(where, "names no sample")
	}
	if !(m.Line.Dilution > 0) || math.IsInf(m.Line.Dilution, 0) {
		return faulty(where, "dilution is %v, it is a factor above 0", m.Line.Dilution)
	}
	switch m.State {
	case MemberRecorded:
		if m.Acquisition == nil || m.Reduction == nil {
			return faulty(where, "is recorded without acquisition or reduction")
		}
	case MemberAmbiguous:
		if len(m.Claimants) < 2 {
			return faulty(where, "is ambiguous with %d claimants", len(m.Claimants))
		}
	case MemberAwaited:
	default:
		return faulty(where, "unknown state %q", m.State)
	}
	return nil
}

// sameName compares names as documents and exports write them.
func sameName(a, b string) bool {
	return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}
