package parsers

import "time"

// Start is an acquisition's start as the content gives it.
type Start struct {
	// Text is the date and time as written.
	Text string `json:"text,omitempty"`
	// Local is the wall clock reading as "2006-01-02T15:04:05.999999999"; empty when absent
	// or not readable as one date.
	Local string `json:"local,omitempty"`
	// Offset is the offset from UTC if the content states one: "+01:00" or "Z".
	Offset string `json:"offset,omitempty"`
}

// StartStatus says how a start became an instant.
type StartStatus string

const (
	StartStated     StartStatus = "stated"       // the content states the offset
	StartZoned      StartStatus = "zoned"        // wall clock read in the configured zone
	StartAmbiguous  StartStatus = "ambiguous"    // the hour came twice that night
	StartImpossible StartStatus = "impossible"   // the hour was skipped that night
	StartAbsent     StartStatus = "absent"       // the content has no date and time
	StartUnreadable StartStatus = "not readable" // a date is there and cannot be read as one instant
)

// Started is a start resolved to an instant where that is possible.
type Started struct {
	Local  string      `json:"started_local,omitempty"`
	Zone   string      `json:"zone,omitempty"`
	At     *time.Time  `json:"started_at,omitempty"` // UTC; nil unless Status is stated or zoned
	Status StartStatus `json:"status"`
}

// LocalLayout is the layout of Start.Local for time.Parse.
const LocalLayout = "2006-01-02T15:04:05.999999999"

// Resolve turns a start into an instant, reading a wall clock without offset in zone
// (the configured zone of the instrument PC). An hour that a clock change makes
// ambiguous or impossible is marked, never picked.
func (s Start) Resolve(zone *time.Location) Started {
	out := Started{Local: s.Local, Zone: zone.String()}
	switch {
	case s.Local == "" && s.Text == "":
		out.Status = StartAbsent
		return out
	case s.Local == "":
		out.Status = StartUnreadable
		return out
	}
	if s.Offset != "" {
		at, err := time.Parse(LocalLayout+"Z07:00", s.Local+s.Offset)
		if err != nil {
			out.Status = StartUnreadable
			return out
		}
		at = at.UTC()
		out.Zone, out.At, out.Status = s.Offset, &at, StartStated
		return out
	}
	wall, err := time.Parse(LocalLayout, s.Local)
	if err != nil {
		out.Status = StartUnreadable
		return out
	}
	candidates := instants(wall, zone)
	switch len(candidates) {
	case 0:
		out.Status = StartImpossible
	case 1:
		at := candidates[0].UTC()
		out.At, out.Status = &at, StartZoned
	default:
		out.Status = StartAmbiguous
	}
	return out
}

// instants lists the instants at which clocks in zone showed wall. Offsets in force
// a day before and after cover every clock change near it.
func instants(wall time.Time, zone *time.Location) []time.Time {
	var found []time.Time
	seen := map[int]bool{}
	for _, hours := range []int{-26, 0, 26} {
		_, offset := wall.Add(time.Duration(hours) * time.Hour).In(zone).Zone()
		if seen[offset] {
			continue
		}
		seen[offset] = true
		at := wall.Add(-time.Duration(offset) * time.Second)
		if _, in := at.In(zone).Zone(); in == offset {
			found = append(found, at)
		}
	}
	return found
}
