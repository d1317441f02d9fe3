package api

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

type subject struct {
	health  func(context.Context) error
	halted  string
	state   any
	handled context.Context // of the last health check
}

func (s *subject) Health(ctx context.Context) error {
	s.handled = ctx
	if s.health == nil {
		return nil
	}
	return s.health(ctx)
}
func (s *subject) Halted() string { return s.halted }
func (s *subject) State() any     { return s.state }

func away(context.Context) error { return errors.New("no answer") }

func TestHandler(t *testing.T) {
	cases := map[string]struct {
		subject subject
		method  string
		path    string
		status  int
		body    map[string]any
	}{
		"alive":                    {path: "/healthz", status: 200, body: map[string]any{"status": "alive"}},
		"alive without a database": {subject: subject{health: away, halted: "history was cut"}, path: "/healthz", status: 200, body: map[string]any{"status": "alive"}},
		"ready":                    {path: "/readyz", status: 200, body: map[string]any{"status": "ready"}},
		"halted":                   {subject: subject{halted: "history was cut"}, path: "/readyz", status: 503, body: map[string]any{"status": "halted", "reason": "history was cut"}},
		"database away":            {subject: subject{health: away}, path: "/readyz", status: 503, body: map[string]any{"status": "database away", "reason": "no answer"}},
		"halted and away":          {subject: subject{health: away, halted: "history was cut"}, path: "/readyz", status: 503, body: map[string]any{"status": "halted", "reason": "history was cut"}},
		"status":                   {subject: subject{state: map[string]int{"waiting": 2}}, path: "/status", status: 200, body: map[string]any{"waiting": 2.0}},
		"head":                     {method: "HEAD", path: "/readyz", status: 200},
		"no state to encode":       {subject: subject{state: math.NaN()}, path: "/status", status: 500},
		"nothing may be changed":   {method: "POST", path: "/status", status: 405},
		"no such page":             {path: "/other", status: 404},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			s := &Server{subject: &c.subject}
			w := httptest.NewRecorder()
			if c.method == "" {
				c.method = http.MethodGet
			}
			s.Handler().ServeHTTP(w, httptest.NewRequest(c.method, c.path, nil))
			if w.Code != c.status {
				t.Fatalf("status %d, want %d: %s", w.Code, c.status, w.Body)
			}
			if c.body == nil {
				return
			}
			for header, want := range map[string]string{"Content-Type": "application/json; charset=utf-8", "Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"} {
				if got := w.Header().Get(header); got != want {
					t.Errorf("%s: %q, want %q", header, got, want)
				}
			}
			var got map[string]any
			if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil {
				t.Fatal(err)
			}
			if len(got) != len(c.body) {
				t.Errorf("body %v, want %v", got, c.body)
			}
			for key, want := range c.body {
				if got[key] != want {
					t.Errorf("%s is %v, want %v", key, got[key], want)
				}
			}
		})
	}
}

// TestReadyIsBounded wants a health check to have a deadline of its own: a database that
// never answers may not hold the request.
func TestReadyIsBounded(t *testing.T) {
	s := &subject{}
	(&Server{subject: s}).Handler().ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "/readyz", nil))
	if _, bounded := s.handled.Deadline(); !bounded {
		t.Error("the health check has no deadline")
	}
}

func TestRun(t *testing.T) {
	s, err := Listen("127.0.0.1:0", &subject{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Listen(s.Address(), &subject{}); err == nil || !strings.Contains(err.Error(), "choose another port") {
		t.Errorf("a taken port: %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	response, err := http.Get("http://" + s.Address() + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(response.Body)
	if err := errors.Join(err, response.Body.Close()); err != nil {
		t.Fatal(err)
	}
	if response.StatusCode != http.StatusOK || !strings.Contains(string(body), "alive") {
		t.Errorf("%s %s", response.Status, body)
	}
	stop()
	if err := <-done; err != nil {
		t.Errorf("stopped with %v", err)
	}
	if _, err := http.Get("http://" + s.Address() + "/healthz"); err == nil {
		t.Error("the door still answers")
	}
}
