package qc

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"underbond/qc/rule"
)

// edge is a check's coverage of one analyte (empty: all) on one basis (empty: all).
type edge struct {
	analyte   string
	basis     string
	effect    string // empty: holds
	positions []int
}

// cover names what of a position a check covers; an empty text is all.
type cover struct{ analyte, basis string }

// subject is what a check judges.
type subject struct {
	rule, scope, source string
	analyte             string
	key                 string // the subject's part of the check's id
	words               string
	acquisition         string
	positions           []int
}

// at makes a subject of an entry.
func (s subject) at(m *entry) subject {
	s.key, s.words, s.positions = strconv.Itoa(m.Line.Position), m.name(), []int{m.Line.Position}
	if m.State == MemberRecorded {
		s.acquisition = m.Acquisition.Key
	}
	return s
}

// record adds a check and what it covers.
func (e *evaluator) record(s subject, j judgement, edges ...edge) {
	c := &Check{
		ID: e.checkID(s), Rule: s.rule, Scope: s.scope, Analyte: s.analyte, Subject: s.words, Acquisition: s.acquisition,
		Positions: s.positions, Statistic: j.statistic, Observed: number(j.observed), LimitLow: j.low, LimitHigh: j.high, Unit: j.unit,
		Verdict: j.verdict, Reason: j.reason, WaitingFor: j.waiting, Covers: []Cover{}, Source: s.source,
	}
	if c.Positions == nil {
		c.Positions = []int{}
	}
	if j.waiting != "" {
		e.waits[c.ID] = j.waiting
	}
	for _, g := range edges {
		if g.effect == "" {
			g.effect = EffectHolds
		}
		c.Covers = append(c.Covers, e.ranges(g)...)
		if g.effect != EffectHolds || j.verdict == Pass || j.verdict == NotApplicable {
			continue
		}
		for _, p := range g.positions {
			e.hold(p, cover{g.analyte, g.basis}, c.ID)
		}
	}
	slices.SortFunc(c.Covers, compareCovers)
	e.checks = append(e.checks, c)
}

// hold lets a check hold a position's results. An id is new with each check, so one that
// is there already is the last.
func (e *evaluator) hold(position int, what cover, id string) {
	if e.holds[position] == nil {
		e.holds[position] = map[cover][]string{}
	}
	ids := e.holds[position][what]
	if len(ids) == 0 || ids[len(ids)-1] != id {
		e.holds[position][what] = append(ids, id)
	}
}

func compareCovers(a, b Cover) int {
	if c := strings.Compare(a.Analyte, b.Analyte); c != 0 {
		return c
	}
	if a.From != b.From {
		return a.From - b.From
	}
	return strings.Compare(a.Basis+a.Effect, b.Basis+b.Effect)
}

// checkID is rule/analyte/subject; a second entry of the method for the same is marked ~2.
func (e *evaluator) checkID(s subject) string {
	analyte := s.analyte
	if analyte == "" {
		analyte = "all"
	}
	id := joinEscaped("/", s.rule, analyte, s.key)
	e.ids[id]++
	if n := e.ids[id]; n > 1 {
		id += "~" + strconv.Itoa(n)
	}
	return id
}

// joinEscaped joins parts by a separator of one character; in the parts it and % are percent-encoded.
func joinEscaped(separator string, parts ...string) string {
	escaped := make([]string, len(parts))
	for i, p := range parts {
		escaped[i] = strings.ReplaceAll(p, "%", "%25")
		if strings.Contains(escaped[i], separator) {
			escaped[i] = strings.ReplaceAll(escaped[i], separator, fmt.Sprintf("%%%X", separator[0]))
		}
	}
	return strings.Join(escaped, separator)
}

// ranges gives an edge's positions as ranges that take in no other position of the batch.
func (e *evaluator) ranges(g edge) []Cover {
	positions := g.positions
	if !slices.IsSorted(positions) {
		positions = slices.Sorted(slices.Values(positions))
	}
	var covers []Cover
	for i, p := range positions {
		if i > 0 && p == positions[i-1] {
			continue
		}
		if i > 0 && (p == positions[i-1]+1 || e.index[p] == e.index[positions[i-1]]+1) {
			covers[len(covers)-1].To = p
			continue
		}
		covers = append(covers, Cover{Analyte: g.analyte, Basis: g.basis, From: p, To: p, Effect: g.effect})
	}
	return covers
}

// heldBy lists the checks that hold a result, sorted.
func (e *evaluator) heldBy(analyte, basis string, position int) []string {
	ids := []string{}
	holds := e.holds[position]
	if len(holds) == 0 {
		return ids
	}
	for _, a := range [2]string{"", analyte} {
		for _, b := range [2]string{"", basis} {
			ids = append(ids, holds[cover{a, b}]...)
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// number gives v, or nil when there is none that could be written.
func number(v *float64) *float64 {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return nil
	}
	return v
}

// words gives a number in a sentence: six significant digits at most.
func words(v float64) string {
	text := strconv.FormatFloat(v, 'e', 5, 64)
	if rounded, err := strconv.ParseFloat(text, 64); err == nil {
		v = rounded
	}
	if a := math.Abs(v); a != 0 && (a < 1e-4 || a >= 1e9) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// besideLimits gives an observed value in a sentence beside its limits: three significant
// digits as the trade reports recoveries and deviations, more where fewer would show it
// on the other side of a limit.
func besideLimits(v float64, low, high *float64) string {
	for digits := 3; digits < 17; digits++ {
		text := strconv.FormatFloat(v, 'e', digits-1, 64)
		shown, err := strconv.ParseFloat(text, 64)
		if err != nil {
			break
		}
		if rule.Within(shown, low, high) == rule.Within(v, low, high) && (shown < 1) == (v < 1) {
			if a := math.Abs(shown); a != 0 && (a < 1e-4 || a >= 1e9) {
				return strconv.FormatFloat(shown, 'g', -1, 64)
			}
			return strconv.FormatFloat(shown, 'f', -1, 64)
		}
	}
	return words(v)
}

// between gives limits in a sentence: "90–110", "at most 20", "at least 0.99".
func between(low, high *float64) string {
	switch {
	case low != nil && high != nil && *low < 0:
		return words(*low) + " to " + words(*high)
	case low != nil && high != nil:
		return words(*low) + "–" + words(*high)
	case high != nil:
		return "at most " + words(*high)
	case low != nil:
		return "at least " + words(*low)
	}
	return "none"
}

func positionsOf(entries []*entry) []int {
	out := make([]int, 0, len(entries))
	for _, m := range entries {
		out = append(out, m.Line.Position)
	}
	return out
}
