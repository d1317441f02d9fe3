package qc

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"underbond/qc/worklist"
)

// Codes of findings.
const (
	FindingRunOrder    = "run-order"    // acquisition times disagree with the worklist's positions
	FindingNoStart     = "no-start"     // an acquisition without an instant
	FindingNotRecorded = "not-recorded" // a worklist line without acquisition
	FindingUnlisted    = "unlisted"     // an acquisition that no line names
	FindingNoStandard  = "no-standard"  // a nominal amount that no standard vouches for
	FindingUncertainty = "uncertainty"  // the method asks for an uncertainty, and there is none, or not all of it
)

// inOrder gives the entries in the order of acquisition. Of equal times the position
// decides. An entry without an instant keeps its place behind the position before it.
func inOrder(byPosition []*entry) []*entry {
	var timed, first []*entry
	behind := map[*entry][]*entry{}
	var anchor *entry
	for _, m := range byPosition {
		switch {
		case m.instant() != nil:
			timed = append(timed, m)
			anchor = m
		case anchor == nil:
			first = append(first, m)
		default:
			behind[anchor] = append(behind[anchor], m)
		}
	}
	slices.SortStableFunc(timed, func(a, b *entry) int {
		return cmp.Or(a.instant().Compare(*b.instant()), cmp.Compare(a.Line.Position, b.Line.Position))
	})
	order := first
	for _, m := range timed {
		order = append(order, m)
		order = append(order, behind[m]...)
	}
	for i, m := range order {
		m.rank = i
	}
	return order
}

// runOrder is one run in the order of acquisition.
type runOrder struct {
	first     int    // rank of its first entry
	firstTest *entry // first recorded test portion, nil without one
	measured  []*entry
	checks    []*entry // check standards
}

// byRun sorts the entries, which are in the order of acquisition, into their runs.
func byRun(order []*entry) map[string]*runOrder {
	runs := map[string]*runOrder{}
	for _, m := range order {
		run := runs[m.Line.Run]
		if run == nil {
			run = &runOrder{first: m.rank}
			runs[m.Line.Run] = run
		}
		if run.firstTest == nil && m.isTest() && m.State == MemberRecorded {
			run.firstTest = m
		}
		switch {
		case m.isMeasured():
			run.measured = append(run.measured, m)
		case m.Line.Role == worklist.RoleCheck || m.Line.Role == worklist.RoleInitialCheck:
			run.checks = append(run.checks, m)
		}
	}
	return runs
}

// instant is when the acquisition started, nil when that is not known.
func (m *entry) instant() *time.Time {
	if m.State != MemberRecorded {
		return nil
	}
	return m.Started.At
}

// orderFindings lists what is remarkable about the batch's lines and acquisitions.
func (e *evaluator) orderFindings() {
	for _, m := range e.entries {
		subject := fmt.Sprintf("position %d", m.Line.Position)
		switch {
		case m.State == MemberAwaited:
			e.find(FindingNotRecorded, subject, "no acquisition is recorded for the %s", m.name())
		case m.State == MemberRecorded && m.Started.At == nil:
			e.find(FindingNoStart, subject, "the start of the %s is %s; its place in the run follows its position", m.name(), cmp.Or(string(m.Started.Status), "unknown"))
		}
		if m.State == MemberRecorded && len(m.Line.Nominals) > 0 && len(m.Line.Standards) == 0 {
			e.find(FindingNoStandard, subject, "the %s has a nominal amount and names no standard", m.name())
		}
	}
	var last *entry // the highest position so far
	for _, m := range e.order {
		if m.instant() == nil {
			continue
		}
		if last != nil && m.Line.Position < last.Line.Position {
			e.find(FindingRunOrder, fmt.Sprintf("position %d", m.Line.Position), "position %d was acquired at %s, after position %d (%s)",
				m.Line.Position, m.Started.At.UTC().Format(time.RFC3339), last.Line.Position, last.Started.At.UTC().Format(time.RFC3339))
			continue
		}
		last = m
	}
	for _, u := range e.in.Unlisted {
		when := cmp.Or(u.Started.Local, "unknown time")
		e.find(FindingUnlisted, u.Acquisition.Key, "no worklist line names acquisition %s of %s (%s, %s)", u.Acquisition.Key, u.Acquisition.Instrument, u.Acquisition.File, when)
	}
}

// findOnce is find for what several results have in common.
func (e *evaluator) findOnce(code, subject, format string, args ...any) {
	f := Finding{Code: code, Subject: subject, Text: fmt.Sprintf(format, args...)}
	if !e.found[f] {
		e.found[f] = true
		e.findings = append(e.findings, f)
	}
}

func (e *evaluator) find(code, subject, format string, args ...any) {
	e.findings = append(e.findings, Finding{Code: code, Subject: subject, Text: fmt.Sprintf(format, args...)})
}
