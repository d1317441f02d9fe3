package demo

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"underbond/cmd/underbond/scenario"
	"underbond/sql/store"
)

// Outcome is what the demo ended with.
type Outcome struct {
	Released     []store.ReleasedResult `json:"released"`
	Held         []store.HeldResult     `json:"held"` // a line for each check that holds a result
	Refused      []store.File           `json:"refused"`
	Waiting      []store.File           `json:"waiting"`
	Feed         []store.FeedEvent      `json:"feed"`
	FirstRelease time.Duration          `json:"first_release_ns"` // from the first file written
	Folder       string                 `json:"folder"`
	Psql         string                 `json:"psql"`
}

func collect(ctx context.Context, st *store.Store) (o *Outcome, err error) {
	o = &Outcome{}
	if o.Released, err = st.Released(ctx); err != nil {
		return nil, err
	}
	if o.Held, err = st.Held(ctx); err != nil {
		return nil, err
	}
	if o.Refused, err = st.RefusedFiles(ctx); err != nil {
		return nil, err
	}
	if o.Waiting, err = st.WaitingFiles(ctx); err != nil {
		return nil, err
	}
	o.Feed, err = st.Feed(ctx)
	return o, err
}

// report prints the outcome for a newcomer.
func (o *Outcome) report(w io.Writer, s *scenario.Scenario) {
	fmt.Fprintf(w, "\nReleased: %d results (the first after %.1f s)\n", len(o.Released), o.FirstRelease.Seconds())
	for _, b := range s.Batches {
		n, samples := 0, map[string]bool{}
		for _, r := range o.Released {
			if r.Batch == b.Name {
				n++
				samples[r.Sample] = true
			}
		}
		fmt.Fprintf(w, "  %-18s %-13s %4d results of %d samples\n", b.Name, b.Method, n, len(samples))
	}
	o.reportHeld(w)
	fmt.Fprintf(w, "\nRefused: %d files\n", len(o.Refused))
	for _, f := range o.Refused {
		fmt.Fprintf(w, "  %s/%s: %s at %s: %s\n", f.Root, f.Path, f.Code, f.Where, f.Text)
	}
	if len(o.Waiting) > 0 {
		fmt.Fprintf(w, "\nWaiting: %d files\n", len(o.Waiting))
		for _, f := range o.Waiting {
			fmt.Fprintf(w, "  %s/%s: waits for %s\n", f.Root, f.Path, f.Text)
		}
	}
	o.reportWithdrawn(w)
	o.reportNotices(w)
	fmt.Fprintf(w, "\nA screen that disagrees with a claim is a reason to investigate, not proof of fraud; a notice never says that a product is safe to drink.\n"+
		"Limits and acceptance criteria of the demo's methods are examples: a laboratory's own validated method and local law decide.\n")
	fmt.Fprintf(w, "\nThe data are in %s. To look into the database while the demo runs:\n  %s\n"+
		"  select * from lims.released_result;   select * from qa.held_result;   select * from qa.failure;   select * from lims.feed;\n", o.Folder, o.Psql)
}

// reportHeld groups held results by the reason that holds them.
func (o *Outcome) reportHeld(w io.Writer) {
	type group struct{ batch, rule, reason string }
	results := map[group][]string{}
	var order []group
	distinct := map[[4]string]bool{}
	for _, h := range o.Held {
		g := group{h.Batch, h.Rule, h.Reason}
		if results[g] == nil {
			order = append(order, g)
		}
		results[g] = append(results[g], h.Sample)
		distinct[[4]string{h.Batch, h.Sample, h.Analyte, h.Basis}] = true
	}
	fmt.Fprintf(w, "\nHeld: %d results\n", len(distinct))
	for _, g := range order {
		samples := results[g]
		slices.Sort(samples)
		n := len(samples)
		fmt.Fprintf(w, "  %s: %s\n      holds %d results of %s\n", g.batch, g.reason, n, strings.Join(slices.Compact(samples), ", "))
	}
}

func (o *Outcome) reportWithdrawn(w io.Writer) {
	var withdrawn []store.FeedEvent
	for _, e := range o.Feed {
		if e.Kind == "withdrawn" || e.Kind == "corrected" {
			withdrawn = append(withdrawn, e)
		}
	}
	if len(withdrawn) == 0 {
		return
	}
	fmt.Fprintf(w, "\nWithdrawn or corrected after release: %d results\n", len(withdrawn))
	for _, e := range withdrawn {
		fmt.Fprintf(w, "  ledger %d: %s %s, %s (%s): %s\n", e.Seq, e.Sample, e.Analyte, e.Basis, e.Batch, e.Reason)
	}
}

func (o *Outcome) reportNotices(w io.Writer) {
	head := false
	for _, r := range o.Released {
		for _, n := range r.Notices {
			if !n.Toxic || !strings.HasPrefix(n.Outcome, "above") {
				continue
			}
			if !head {
				fmt.Fprintln(w, "\nSafety notices")
				head = true
			}
			fmt.Fprintf(w, "  %s: %s %s %s: %s\n", r.Sample, r.Analyte, r.Reported, r.Unit, n.Text)
		}
	}
}
