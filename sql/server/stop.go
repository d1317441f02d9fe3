package server

import (
	"context"
	"time"
)

// stopSteps are the ways to end a server in order, and how long each may take.
var stopSteps = []struct {
	how  how
	wait time.Duration
}{
	{fast, 30 * time.Second},
	{immediate, 10 * time.Second},
	{kill, 10 * time.Second},
}

// stop ends a child and returns when it has ended, with the way that did it.
// When ctx ends, each step gives way to the next at once: a caller in a hurry
// gets a harder stop, never a server left running.
func stop(ctx context.Context, p *process) (last how) {
	for _, step := range stopSteps {
		last = step.how
		// An error means that the process cannot be reached that way; the next way is tried.
		if err := p.signal(step.how); err != nil {
			continue
		}
		limit := time.NewTimer(step.wait)
		hurry := ctx.Done()
		if step.how != fast {
			hurry = nil
		}
		select {
		case <-p.done:
			limit.Stop()
			return last
		case <-limit.C:
		case <-hurry:
			limit.Stop()
		}
	}
	<-p.done
	return last
}
