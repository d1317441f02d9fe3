// Package api is the daemon's HTTP door. It answers whether the daemon is alive and
// ready, and what the watched folders are doing.
package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"
)

// Subject is what the door speaks of.
type Subject interface {
	// Health tells whether the database answers and can be used.
	Health(ctx context.Context) error
	// Halted says why nothing is released; empty when all is well.
	Halted() string
	// State is a snapshot that encodes to JSON.
	State() any
}

// Server is a listening door.
type Server struct {
	subject  Subject
	listener net.Listener
	http     *http.Server
}

// patience bounds how long a health check waits for the database.
const patience = 2 * time.Second

// Listen opens the door at address (host:port); requests are answered once Run is called.
func Listen(address string, subject Subject) (*Server, error) {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen on http.address %s: %w; choose another port, or \"off\"", address, err)
	}
	s := &Server{subject: subject, listener: listener}
	s.http = &http.Server{Handler: s.Handler(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second,
		IdleTimeout: time.Minute, MaxHeaderBytes: 32 << 10}
	return s, nil
}

// Address is where the door listens.
func (s *Server) Address() string { return s.listener.Addr().String() }

// Run answers requests until ctx ends.
func (s *Server) Run(ctx context.Context) error {
	done := make(chan error, 1)
	go func() { done <- s.http.Serve(s.listener) }()
	select {
	case err := <-done:
		return fmt.Errorf("serve http: %w", err)
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	err := s.http.Shutdown(stop)
	if served := <-done; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}

// Handler gives the routes: GET /healthz (the process answers), /readyz (the database
// answers and results can be released) and /status (what the folders are doing).
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, http.StatusOK, map[string]string{"status": "alive"})
	})
	mux.HandleFunc("GET /readyz", s.ready)
	mux.HandleFunc("GET /status", func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, s.subject.State()) })
	return mux
}

func (s *Server) ready(w http.ResponseWriter, r *http.Request) {
	if halted := s.subject.Halted(); halted != "" {
		answer(w, http.StatusServiceUnavailable, map[string]string{"status": "halted", "reason": halted})
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), patience)
	defer cancel()
	if err := s.subject.Health(ctx); err != nil {
		answer(w, http.StatusServiceUnavailable, map[string]string{"status": "database away", "reason": err.Error()})
		return
	}
	answer(w, http.StatusOK, map[string]string{"status": "ready"})
}

func answer(w http.ResponseWriter, status int, body any) {
	encoded, err := json.MarshalIndent(body, "", "  ")
	if err != nil {
		http.Error(w, "the state cannot be encoded", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(append(encoded, '\n')) // a client that is gone needs no answer
}
