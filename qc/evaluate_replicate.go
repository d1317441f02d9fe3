package qc

import (
	"fmt"

	"underbond/qc/rule"
	"underbond/qc/table"
)

// FindingReplicates is the code of replicates that lie further apart than the method expects.
const FindingReplicates = "replicate-spread"

// meanOf gives the mean of the replicates of one acquisition. Empty cells take no part. Replicates
// of which some have a number and others none have no mean; those that all lie below
// or above a limit lie beyond the one that claims least.
func meanOf(replicates []reading) reading {
	var there []reading
	for _, r := range replicates {
		if !r.empty {
			there = append(there, r)
		}
	}
	if len(there) == 0 {
		return replicates[0]
	}
	out := there[0]
	values := make([]float64, 0, len(replicates))
	for _, r := range there {
		switch {
		case r.state == readNothing:
			return r
		case r.state != out.state:
			return nothing("of %d replicates some have a number and others have none (%s)", len(there), firstReason(there))
		case r.unit != out.unit:
			return nothing("replicates are in %q and in %q", out.unit, r.unit)
		case r.state == readBelow && r.value > out.value, r.state == readAbove && r.value < out.value:
			out = r
		}
		values = append(values, r.value)
	}
	if out.state == readFound {
		summary := table.Summarise(values)
		summary.Missing += len(replicates) - len(there)
		out.value, out.replicates = summary.Mean, &summary
	}
	return out
}

func firstReason(readings []reading) string {
	for _, r := range readings {
		if r.reason != "" {
			return r.reason
		}
	}
	return ""
}

// replicateFindings lists the replicates whose relative standard deviation is above what
// the method expects. They hold nothing: whether that matters, duplicates and check
// standards show.
func (e *evaluator) replicateFindings() {
	for _, m := range e.entries {
		if m.State != MemberRecorded {
			continue
		}
		for i := range e.method.Analytes {
			a := &e.method.Analytes[i]
			if a.Source.Table == nil || a.Source.Table.ReplicateRSD == nil {
				continue
			}
			high := *a.Source.Table.ReplicateRSD
			r := read(m.Reduction, a.Source, a.CAS)
			if r.replicates == nil || rule.AtMost(r.replicates.RSD, high) {
				continue
			}
			spread := "not to be had"
			if rsd := number(&r.replicates.RSD); rsd != nil {
				spread = besideLimits(*rsd, nil, &high) + " %"
			}
			e.find(FindingReplicates, fmt.Sprintf("position %d", m.Line.Position), "the %s, %s: the RSD of %d replicates is %s (limit %s %%)",
				m.name(), a.Name, r.replicates.N, spread, between(nil, &high))
		}
	}
}
