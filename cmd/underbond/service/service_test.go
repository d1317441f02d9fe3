package service

import (
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/jackc/pgx/v5"
	"github.com/rs/zerolog"

	"underbond/cmd/underbond/config"
	"underbond/ingest/custody"
	"underbond/sql/migrations"
	"underbond/sql/server/servertest"
)

func TestMain(m *testing.M) { servertest.Main(m) }

// folder is a temporary folder that the account of a private server can reach.
func folder(t *testing.T) string {
	t.Helper()
	dir, err := servertest.Dir()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// configured writes a configuration with one empty folder and loads it.
func configured(t *testing.T, dir, database string) *config.Config {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(dir, "exports"), 0o755); err != nil {
		t.Fatal(err)
	}
	text := "folders:\n  - name: gc\n    path: exports\n    instrument: GC-1\n    zone: UTC\nhttp:\n  address: 127.0.0.1:0\nwatch:\n  quiet: 100ms\n  scan_every: 100ms\n" + database
	path := filepath.Join(dir, "underbond.yaml")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func open(t *testing.T, c *config.Config) (*Service, error) {
	t.Helper()
	s, err := Open(t.Context(), c, Options{Build: "test", Log: zerolog.New(zerolog.NewTestWriter(t))})
	if err == nil {
		t.Cleanup(func() {
			if err := s.Close(); err != nil {
				t.Errorf("close: %v", err)
			}
		})
	}
	return s, err
}

func TestAnUnpreparedDatabaseIsRefused(t *testing.T) {
	url := servertest.Database(t)
	c := configured(t, folder(t), "database:\n  role_prefix: service_unprepared\n")
	c.Database.URL = url
	if _, err := open(t, c); !errors.Is(err, migrations.ErrSchema) || !strings.Contains(err.Error(), "underbond migrate") {
		t.Fatalf("error is %v", err)
	}
}

func TestANewerSchemaIsRefused(t *testing.T) {
	url := servertest.Database(t)
	if _, _, err := migrations.Up(t.Context(), url, "service_newer"); err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), "insert into core.migration (version_id, is_applied) values ($1, true)", migrations.Latest()+1); err != nil {
		t.Fatal(err)
	}
	c := configured(t, folder(t), "database:\n  role_prefix: service_newer\n")
	c.Database.URL = url
	if _, err := open(t, c); !errors.Is(err, migrations.ErrSchema) || !strings.Contains(err.Error(), "newer program") {
		t.Fatalf("error is %v", err)
	}
}

// TestCustodyNeedsNoDatabase starts with a database that does not answer: files are
// taken into custody all the same.
func TestCustodyNeedsNoDatabase(t *testing.T) {
	dir := folder(t)
	c := configured(t, dir, "")
	c.Database.URL = "host=" + dir + " user=nobody dbname=nothing connect_timeout=1"
	s, err := open(t, c)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	content := []byte("a line\n")
	if err := os.WriteFile(filepath.Join(dir, "exports", "one.csv"), content, 0o644); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the file is in the archive", func() bool {
		there, err := s.Archive.Has(custody.HashOf(content))
		return err == nil && there
	})
	if status, body := get(t, s, "/healthz"); status != http.StatusOK {
		t.Errorf("alive: %d %s", status, body)
	}
	if status, body := get(t, s, "/readyz"); status != http.StatusServiceUnavailable || !strings.Contains(body, "database away") {
		t.Errorf("ready: %d %s", status, body)
	}
	stop()
	if err := <-done; err != nil {
		t.Errorf("run: %v", err)
	}
}

// TestThePrivateServerComesBack ends the private server from outside; the daemon starts
// it again and is ready.
func TestThePrivateServerComesBack(t *testing.T) {
	servertest.New(t)
	c := configured(t, folder(t), "")
	s, err := open(t, c)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	eventually(t, "ready", func() bool { status, _ := get(t, s, "/readyz"); return status == http.StatusOK })
	before := s.private.current()
	endFromOutside(t, before.DataFolder())
	eventually(t, "a new server", func() bool { return s.private.current() != before })
	eventually(t, "ready again", func() bool { status, _ := get(t, s, "/readyz"); return status == http.StatusOK })
	stop()
	if err := <-done; err != nil {
		t.Errorf("run: %v", err)
	}
}

// endFromOutside tells the server of a data folder to end, as an operator's mistake would.
func endFromOutside(t *testing.T, data string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.SplitN(string(text), "\n", 2)[0])
	if err != nil {
		t.Fatal(err)
	}
	process, err := os.FindProcess(pid)
	if err != nil {
		t.Fatal(err)
	}
	if err := process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
}

func TestTwoDaemonsDoNotShareAnArchive(t *testing.T) {
	dir := folder(t)
	c := configured(t, dir, "")
	c.Database.URL = "host=" + dir + " user=nobody dbname=nothing connect_timeout=1"
	if _, err := open(t, c); err != nil {
		t.Fatal(err)
	}
	var locked *custody.LockedError
	if _, err := open(t, c); !errors.As(err, &locked) {
		t.Errorf("the second daemon's error is %v", err)
	}
}

// TestComposeFile checks what can be checked without a container engine: the
// configuration in it is sound, and the files it names are there.
func TestComposeFile(t *testing.T) {
	root := filepath.Join("..", "..", "..")
	data, err := os.ReadFile(filepath.Join(root, "docker-compose.yml"))
	if err != nil {
		t.Fatal(err)
	}
	var compose struct {
		Services map[string]struct {
			Build struct {
				Context    string `yaml:"context"`
				Dockerfile string `yaml:"dockerfile"`
			} `yaml:"build"`
			Command []string `yaml:"command"`
		} `yaml:"services"`
		Configs map[string]struct {
			Content string `yaml:"content"`
		} `yaml:"configs"`
	}
	if err := yaml.Unmarshal(data, &compose); err != nil {
		t.Fatal(err)
	}
	if _, err := config.Parse("docker-compose.yml", []byte(compose.Configs["underbond"].Content)); err != nil {
		t.Errorf("the configuration: %v", err)
	}
	for _, name := range []string{"migrate", "underbond"} {
		build := compose.Services[name].Build
		if _, err := os.Stat(filepath.Join(root, build.Context, build.Dockerfile)); err != nil || build.Dockerfile == "" {
			t.Errorf("service %s: dockerfile %q: %v", name, build.Dockerfile, err)
		}
	}
}

func get(t *testing.T, s *Service, path string) (int, string) {
	t.Helper()
	answer, err := http.Get("http://" + s.Address() + path)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(body)
}

// eventually polls until the condition holds; the deadline only ends a failing test.
func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	deadline := time.After(60 * time.Second)
	for !holds() {
		select {
		case <-tick.C:
		case <-deadline:
			t.Fatalf("not within a minute: %s", what)
		}
	}
}
