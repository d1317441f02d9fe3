package ingest

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/rs/zerolog"

	"underbond/ingest/record"
	"underbond/parsers/delimited"
	"underbond/qc/document"
	"underbond/qc/method"
)

// profileCache holds the recorded profiles, newest version of each name.
type profileCache struct {
	pipeline *Pipeline
	mu       sync.Mutex
	list     []*delimited.Profile
	fresh    bool
	upTo     int64 // the list has all profiles up to this document
}

// known gives what was loaded last, without asking the database.
func (c *profileCache) known() []*delimited.Profile {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.list
}

// forget makes the next load ask again.
func (c *profileCache) forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.fresh = false
}

// load gives all profiles up to that document, and maybe later ones.
func (c *profileCache) load(ctx context.Context, upTo int64) ([]*delimited.Profile, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fresh && c.upTo >= upTo {
		return c.list, nil
	}
	stored, err := c.pipeline.opt.Store.Documents(ctx, string(document.KindProfile))
	if err != nil {
		return nil, err
	}
	newest := map[string]int{}
	var list []*delimited.Profile
	for _, d := range stored {
		data, err := c.pipeline.opt.Archive.ReadBytes(ctx, d.Object, maxDocument)
		if err != nil {
			return nil, fmt.Errorf("read profile %s version %s from the archive: %w", d.Name, d.Version, err)
		}
		profile, err := delimited.ParseProfile(d.Name, data)
		if err != nil {
			return nil, fmt.Errorf("read profile %s version %s as recorded: %w", d.Name, d.Version, err)
		}
		if i, seen := newest[d.Name]; seen {
			list[i] = profile
			continue
		}
		newest[d.Name] = len(list)
		list = append(list, profile)
	}
	// The order of arrival must not decide which of two fitting profiles is taken.
	slices.SortFunc(list, func(a, b *delimited.Profile) int { return strings.Compare(a.Name, b.Name) })
	c.list, c.fresh, c.upTo = list, true, upTo
	return list, nil
}

// methodsFor gives the methods that acquisitions of an instrument may be evaluated by.
// Others are reduced for later, when a batch asks.
func (p *Pipeline) methodsFor(ctx context.Context, instrument, configured string) ([]*method.Method, error) {
	stored, err := p.opt.Store.MethodsFor(ctx, instrument)
	if err != nil {
		return nil, err
	}
	if configured != "" {
		all, err := p.opt.Store.Documents(ctx, string(document.KindMethod))
		if err != nil {
			return nil, err
		}
		for _, d := range all {
			if d.Name == configured {
				stored = append(stored, d)
			}
		}
	}
	list := []*method.Method{}
	for _, d := range stored {
		var m method.Method
		if err := json.Unmarshal(d.Body, &m); err != nil {
			return nil, fmt.Errorf("read method %s version %s as recorded: %w", d.Name, d.Version, err)
		}
		list = append(list, &m)
	}
	return list, nil
}

// event begins a log line about a file.
func (p *Pipeline) event(c *record.Claim) *zerolog.Event {
	return p.opt.Log.Info().Str("root", c.Root).Str("file", c.PathText).Stringer("sha256", c.Object)
}
