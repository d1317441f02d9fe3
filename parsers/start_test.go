package parsers

import (
	"testing"
	"time"
	_ "time/tzdata"
)

// TestResolve reads wall clocks near clock changes of several zones, and at plain hours.
func TestResolve(t *testing.T) {
	for name, c := range map[string]struct {
		zone, local, offset string
		status              StartStatus
		at                  string // UTC
	}{
		"plain":                               {"Europe/Berlin", "2026-01-15T12:00:00", "", StartZoned, "2026-01-15T11:00:00Z"},
		"summer":                              {"Europe/Berlin", "2026-07-15T12:00:00", "", StartZoned, "2026-07-15T10:00:00Z"},
		"fraction of a second":                {"Europe/Berlin", "2026-07-15T12:00:00.125", "", StartZoned, "2026-07-15T10:00:00.125Z"},
		"last second before spring":           {"Europe/Berlin", "2026-03-29T01:59:59", "", StartZoned, "2026-03-29T00:59:59Z"},
		"skipped, first second":               {"Europe/Berlin", "2026-03-29T02:00:00", "", StartImpossible, ""},
		"skipped, last second":                {"Europe/Berlin", "2026-03-29T02:59:59.999", "", StartImpossible, ""},
		"first second after spring":           {"Europe/Berlin", "2026-03-29T03:00:00", "", StartZoned, "2026-03-29T01:00:00Z"},
		"last second before the double hour":  {"Europe/Berlin", "2026-10-25T01:59:59", "", StartZoned, "2026-10-24T23:59:59Z"},
		"twice, first second":                 {"Europe/Berlin", "2026-10-25T02:00:00", "", StartAmbiguous, ""},
		"twice, last second":                  {"Europe/Berlin", "2026-10-25T02:59:59", "", StartAmbiguous, ""},
		"first second after the double hour":  {"Europe/Berlin", "2026-10-25T03:00:00", "", StartZoned, "2026-10-25T02:00:00Z"},
		"twice, and the offset is stated":     {"Europe/Berlin", "2026-10-25T02:30:00", "+01:00", StartStated, "2026-10-25T01:30:00Z"},
		"skipped, and the offset is stated":   {"Europe/Berlin", "2026-03-29T02:30:00", "Z", StartStated, "2026-03-29T02:30:00Z"},
		"London, skipped":                     {"Europe/London", "2026-03-29T01:30:00", "", StartImpossible, ""},
		"London, twice":                       {"Europe/London", "2026-10-25T01:30:00", "", StartAmbiguous, ""},
		"New York, skipped":                   {"America/New_York", "2026-03-08T02:30:00", "", StartImpossible, ""},
		"New York, twice":                     {"America/New_York", "2026-11-01T01:30:00", "", StartAmbiguous, ""},
		"New York, no change that day":        {"America/New_York", "2026-03-29T02:30:00", "", StartZoned, "2026-03-29T06:30:00Z"},
		"half-hour zone with changes":         {"America/St_Johns", "2026-07-01T12:00:00", "", StartZoned, "2026-07-01T14:30:00Z"},
		"half-hour zone, skipped":             {"America/St_Johns", "2026-03-08T02:30:00", "", StartImpossible, ""},
		"half-hour zone, twice":               {"America/St_Johns", "2026-11-01T01:30:00", "", StartAmbiguous, ""},
		"half-hour zone without changes":      {"Asia/Kolkata", "2026-03-29T02:30:00", "", StartZoned, "2026-03-28T21:00:00Z"},
		"three quarters of an hour":           {"Asia/Kathmandu", "2026-01-01T00:00:00", "", StartZoned, "2025-12-31T18:15:00Z"},
		"southern spring, skipped":            {"Australia/Sydney", "2026-10-04T02:30:00", "", StartImpossible, ""},
		"southern autumn, twice":              {"Australia/Sydney", "2026-04-05T02:30:00", "", StartAmbiguous, ""},
		"southern summer":                     {"Australia/Sydney", "2026-01-15T12:00:00", "", StartZoned, "2026-01-15T01:00:00Z"},
		"southern half-hour, skipped":         {"Australia/Adelaide", "2026-10-04T02:15:00", "", StartImpossible, ""},
		"southern half-hour, twice":           {"Australia/Adelaide", "2026-04-05T02:15:00", "", StartAmbiguous, ""},
		"change of half an hour, skipped":     {"Australia/Lord_Howe", "2026-10-04T02:15:00", "", StartImpossible, ""},
		"change of half an hour, not skipped": {"Australia/Lord_Howe", "2026-10-04T02:30:00", "", StartZoned, "2026-10-03T15:30:00Z"},
		"change of half an hour, twice":       {"Australia/Lord_Howe", "2026-04-05T01:45:00", "", StartAmbiguous, ""},
		"change of half an hour, once":        {"Australia/Lord_Howe", "2026-04-05T01:29:59", "", StartZoned, "2026-04-04T14:29:59Z"},
		"Chatham Islands, skipped":            {"Pacific/Chatham", "2026-09-27T02:50:00", "", StartImpossible, ""},
		"Chatham Islands, twice":              {"Pacific/Chatham", "2026-04-05T02:50:00", "", StartAmbiguous, ""},
		"change at midnight, skipped":         {"America/Santiago", "2026-09-06T00:30:00", "", StartImpossible, ""},
		"change at midnight, twice":           {"America/Santiago", "2026-04-04T23:30:00", "", StartAmbiguous, ""},
		"a whole day skipped":                 {"Pacific/Apia", "2011-12-30T12:00:00", "", StartImpossible, ""},
		"the day after":                       {"Pacific/Apia", "2011-12-31T00:00:00", "", StartZoned, "2011-12-30T10:00:00Z"},
		"a zone that gave up changes":         {"Europe/Moscow", "2014-10-26T01:30:00", "", StartAmbiguous, ""},
		"UTC has no changes":                  {"UTC", "2026-03-29T02:30:00", "", StartZoned, "2026-03-29T02:30:00Z"},
		"no day in February":                  {"UTC", "2026-02-30T02:30:00", "", StartUnreadable, ""},
		"offset out of range":                 {"UTC", "2026-02-03T02:30:00", "+99:00", StartUnreadable, ""},
	} {
		t.Run(name, func(t *testing.T) {
			zone, err := time.LoadLocation(c.zone)
			if err != nil {
				t.Fatal(err)
			}
			got := Start{Text: "as written", Local: c.local, Offset: c.offset}.Resolve(zone)
			at := ""
			if got.At != nil {
				at = got.At.Format(time.RFC3339Nano)
			}
			if got.Status != c.status || at != c.at || got.Local != c.local {
				t.Errorf("got %s, %q, local %q; want %s, %q", got.Status, at, got.Local, c.status, c.at)
			}
			wantZone := c.zone
			if c.status == StartStated {
				wantZone = c.offset
			}
			if got.Zone != wantZone {
				t.Errorf("zone %q, want %q", got.Zone, wantZone)
			}
		})
	}
}

func TestResolveWithoutDate(t *testing.T) {
	for name, c := range map[string]struct {
		start Start
		want  StartStatus
	}{
		"nothing":        {Start{}, StartAbsent},
		"not a date":     {Start{Text: "yesterday"}, StartUnreadable},
		"offset without": {Start{Text: "noon", Offset: "Z"}, StartUnreadable},
	} {
		if got := c.start.Resolve(time.UTC); got.Status != c.want || got.At != nil {
			t.Errorf("%s: got %+v", name, got)
		}
	}
}

// TestResolveEveryQuarter walks two years of each zone: a wall clock that the zone shows
// once gives that instant, one shown twice is ambiguous, one never shown impossible.
func TestResolveEveryQuarter(t *testing.T) {
	for _, name := range []string{"Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns", "America/Santiago", "Asia/Kolkata"} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		shown := map[string][]time.Time{}
		const step = 15 * time.Minute
		from := time.Date(2025, 12, 30, 0, 0, 0, 0, time.UTC)
		until := time.Date(2028, 1, 3, 0, 0, 0, 0, time.UTC)
		for at := from; at.Before(until); at = at.Add(step) {
			wall := at.In(zone).Format(LocalLayout)
			shown[wall] = append(shown[wall], at)
		}
		counts := map[StartStatus]int{}
		for wall := from.Add(48 * time.Hour); wall.Before(until.Add(-48 * time.Hour)); wall = wall.Add(step) {
			local := wall.Format(LocalLayout)
			got := Start{Local: local}.Resolve(zone)
			want := []StartStatus{StartImpossible, StartZoned, StartAmbiguous}[len(shown[local])]
			if got.Status != want || want == StartZoned && !got.At.Equal(shown[local][0]) {
				t.Fatalf("%s in %s: %s at %v, want %s at %v", local, name, got.Status, got.At, want, shown[local])
			}
			counts[got.Status]++
		}
		if changes := name != "Asia/Kolkata"; (counts[StartAmbiguous] > 0) != changes || (counts[StartImpossible] > 0) != changes {
			t.Errorf("%s: %v", name, counts)
		}
	}
}
