package demo

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/cmd/underbond/scenario"
	"underbond/sql/server/servertest"
)

// requireServer skips the test on a machine without Postgres.
func requireServer(t *testing.T) {
	t.Helper()
	servertest.New(t)
}

func TestMain(m *testing.M) { servertest.Main(m) }

// TestDemo runs the whole demo twice in the same folder and compares what readers see
// with the generator's truth: every planted trouble is held or refused for the right
// reason, and nothing else is.
func TestDemo(t *testing.T) {
	requireServer(t)
	if testing.Short() {
		t.Skip("runs the whole daemon")
	}
	base, err := servertest.Dir()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(base) })
	folder := filepath.Join(base, "demo")
	for run, seed := range []uint64{1, 2} {
		t.Run(fmt.Sprintf("run %d seed %d", run+1, seed), func(t *testing.T) {
			var report bytes.Buffer
			judged := false
			err := Run(t.Context(), Options{Folder: folder, Seed: seed, Once: true, Build: "test", Report: &report, Progress: io.Discard,
				Done: func(ctx context.Context, s *scenario.Scenario, o *Outcome) error {
					judged = true
					judge(t, s, o)
					return nil
				}})
			if err != nil {
				t.Fatal(err)
			}
			if !judged {
				t.Fatal("the demo ended without an outcome")
			}
			for _, want := range []string{"Released: ", "Held: ", "Refused: 1 files", "Safety notices", "not proof of fraud", "psql"} {
				if !strings.Contains(report.String(), want) {
					t.Errorf("the report lacks %q:\n%s", want, report.String())
				}
			}
		})
	}
}

// judge compares an outcome with what the scenario says must come.
func judge(t *testing.T, s *scenario.Scenario, o *Outcome) {
	t.Helper()
	judgeFiles(t, s, o)
	truth := map[string]scenario.Truth{}
	for _, x := range s.Truth {
		truth[name(x.Batch, x.Key)] = x
	}
	held := map[string]scenario.Held{}
	for _, h := range s.Held() {
		held[name(h.Batch, h.Key)] = h
	}
	unfinished := map[string]bool{}
	for _, x := range s.Troubles {
		for _, f := range x.Unfinished {
			unfinished[f.Batch+"|"+f.Sample] = true
		}
	}
	released := judgeReleased(t, o, truth, held)
	judgeHeld(t, o, held)
	for key, x := range truth {
		if _, bond := held[key]; !bond && !released[key] && !unfinished[x.Batch+"|"+x.Sample] {
			t.Errorf("%s is neither released nor expected to be held", key)
		}
	}
	judgeFeed(t, s, o)
}

func name(batch string, k scenario.Key) string {
	return strings.Join([]string{batch, k.Sample, k.Analyte, k.Basis}, "|")
}

func judgeReleased(t *testing.T, o *Outcome, truth map[string]scenario.Truth, held map[string]scenario.Held) map[string]bool {
	t.Helper()
	released := map[string]bool{}
	for _, r := range o.Released {
		key := name(r.Batch, scenario.Key{Sample: r.Sample, Analyte: r.Analyte, Basis: r.Basis})
		released[key] = true
		x, known := truth[key]
		switch _, bond := held[key]; {
		case bond:
			t.Errorf("%s is released and must be held", key)
		case !known:
			t.Errorf("%s is released and the generator does not know it", key)
		case r.Unit != x.Unit:
			t.Errorf("%s is in %s, want %s", key, r.Unit, x.Unit)
		case r.Value == nil && !x.Censored:
			t.Errorf("%s has no number (%s), truth is %g", key, r.Reported, x.Value)
		case r.Value != nil && !(math.Abs(*r.Value-x.Value) <= x.Tolerance):
			t.Errorf("%s is %g, truth %g ± %g %s", key, *r.Value, x.Value, x.Tolerance, x.Unit)
		}
		if r.Authoriser == "" || r.Reported == "" {
			t.Errorf("%s is released without authoriser or text: %+v", key, r)
		}
	}
	return released
}

func judgeHeld(t *testing.T, o *Outcome, held map[string]scenario.Held) {
	t.Helper()
	rules := map[string][]string{}
	for _, h := range o.Held {
		key := name(h.Batch, scenario.Key{Sample: h.Sample, Analyte: h.Analyte, Basis: h.Basis})
		rules[key] = append(rules[key], h.Rule)
		if h.Reason == "" {
			t.Errorf("%s is held without a reason", key)
		}
	}
	for key, h := range held {
		if !slices.Contains(rules[key], h.Rule) {
			t.Errorf("%s must be held by %q, is held by %q", key, h.Rule, rules[key])
		}
	}
	for key, by := range rules {
		if _, want := held[key]; !want {
			t.Errorf("%s is held by %q and no trouble was planted there", key, by)
		}
	}
}

func judgeFiles(t *testing.T, s *scenario.Scenario, o *Outcome) {
	t.Helper()
	want := map[string]bool{}
	for _, x := range s.Troubles {
		for _, f := range x.Unfinished {
			want[strings.ToLower(f.Instrument)+"/"+f.Name] = true
		}
	}
	for _, f := range o.Refused {
		if !want[f.Root+"/"+f.Path] {
			t.Errorf("%s/%s is refused (%s) and nothing is wrong with it", f.Root, f.Path, f.Text)
		}
		if f.Code != "incomplete" || f.Where == "" || f.Text == "" {
			t.Errorf("%s/%s is refused with code %q, place %q, reason %q", f.Root, f.Path, f.Code, f.Where, f.Text)
		}
		delete(want, f.Root+"/"+f.Path)
	}
	for file := range want {
		t.Errorf("%s was broken off and is not refused", file)
	}
	for _, f := range o.Waiting {
		t.Errorf("%s/%s waits for %s", f.Root, f.Path, f.Text)
	}
}

// judgeFeed replays the feed: it must lead to what is released now, and the corrected
// results must have been released with the first value, withdrawn, and released again.
func judgeFeed(t *testing.T, s *scenario.Scenario, o *Outcome) {
	t.Helper()
	current := map[string]int{}
	values := map[string][]float64{}
	kinds := map[string][]string{}
	last := int64(0)
	for _, e := range o.Feed {
		if e.Seq < last {
			t.Errorf("feed goes back from %d to %d", last, e.Seq)
		}
		last = e.Seq
		switch e.Kind {
		case "released", "corrected":
			current[e.Result] = e.Revision
		case "withdrawn":
			delete(current, e.Result)
		}
		key := name(e.Batch, scenario.Key{Sample: e.Sample, Analyte: e.Analyte, Basis: e.Basis})
		kinds[key] = append(kinds[key], e.Kind)
		if e.Value != nil {
			values[key] = append(values[key], *e.Value)
		}
	}
	now := map[string]int{}
	for _, r := range o.Released {
		now[r.Result] = r.Revision
	}
	if fmt.Sprint(now) != fmt.Sprint(current) {
		t.Errorf("the feed leads to %d released results, %d are released", len(current), len(now))
	}
	notices := map[string]bool{}
	for _, x := range s.Troubles {
		for _, c := range x.Corrected {
			key := name(c.Batch, c.Key)
			if !slices.Equal(kinds[key], []string{"released", "withdrawn", "released"}) {
				t.Errorf("%s went through %v", key, kinds[key])
			}
			if len(values[key]) > 0 && !(math.Abs(values[key][0]-c.First) <= c.Tolerance) {
				t.Errorf("%s was first released as %g, want %g ± %g", key, values[key][0], c.First, c.Tolerance)
			}
		}
		for _, k := range x.Notices {
			notices[strings.Join([]string{k.Sample, k.Analyte, k.Basis}, "|")] = true
		}
	}
	judgeNotices(t, o, notices)
}

func judgeNotices(t *testing.T, o *Outcome, want map[string]bool) {
	t.Helper()
	given := map[string]bool{}
	for _, r := range o.Released {
		for _, n := range r.Notices {
			if strings.HasPrefix(n.Outcome, "above") {
				given[strings.Join([]string{r.Sample, r.Analyte, r.Basis}, "|")] = true
			}
		}
	}
	if fmt.Sprint(given) != fmt.Sprint(want) {
		t.Errorf("notices above a limit: %v, want %v", given, want)
	}
}

func TestAForeignFolderIsLeftAlone(t *testing.T) {
	folder := t.TempDir()
	precious := filepath.Join(folder, "thesis.txt")
	if err := os.WriteFile(precious, []byte("ten years"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := Run(t.Context(), Options{Folder: folder, Seed: 1, Once: true, Report: io.Discard, Progress: io.Discard})
	if err == nil || !strings.Contains(err.Error(), "was not made by the demo") {
		t.Errorf("error is %v", err)
	}
	if content, err := os.ReadFile(precious); err != nil || string(content) != "ten years" {
		t.Errorf("the file there is now %q, %v", content, err)
	}
}
