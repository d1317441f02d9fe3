package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"
)

type healthCommand struct {
	Address string `name:"address" default:"127.0.0.1:8470" help:"The daemon's http.address."`
	JSON    bool   `name:"json" help:"Print the daemon's answer as it is."`
}

// Run asks a running daemon whether it is ready; it fails when it is not.
func (c *healthCommand) Run(ctx context.Context, out streams) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+c.Address+"/readyz", nil)
	if err != nil {
		return &usageError{fmt.Sprintf("--address %q: %s", c.Address, err)}
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return fmt.Errorf("ask the daemon: %w", err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(io.LimitReader(answer.Body, 1<<20))
	if err != nil {
		return fmt.Errorf("read the daemon's answer: %w", err)
	}
	ready := answer.StatusCode == http.StatusOK
	switch {
	case c.JSON:
		_, err = out.out.Write(body)
	case ready:
		_, err = fmt.Fprintln(out.out, "ready")
	default:
		var reason struct{ Status, Reason string }
		if json.Unmarshal(body, &reason) != nil {
			reason.Status, reason.Reason = answer.Status, string(body)
		}
		_, err = fmt.Fprintf(out.out, "not ready, %s: %s\n", safe(reason.Status), safe(reason.Reason))
	}
	if err != nil {
		return fmt.Errorf("print the answer: %w", err)
	}
	if !ready {
		return errSilent
	}
	return nil
}
