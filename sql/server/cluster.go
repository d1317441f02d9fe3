package server

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// cluster is one data folder together with the programs and the account that serve it.
type cluster struct {
	folder      *folder
	owner       account
	install     Install
	home        string // the major version: the cluster's folder inside folder
	secrets     secrets
	volatile    bool
	connections int
	log         func(string)

	host string // socket folder, or loopback address
	port int
}

// data is the path of the data folder.
func (c *cluster) data() string { return c.folder.abs(path.Join(c.home, "data")) }

func (c *cluster) say(line string) {
	if c.log != nil {
		c.log(line)
	}
}

// url is a connection URL that leaves nothing to the environment.
func (c *cluster) url(user, password, database string) string {
	u := url.URL{Scheme: "postgres", User: url.UserPassword(user, password), Path: "/" + database}
	q := url.Values{"sslmode": {"disable"}}
	if filepath.IsAbs(c.host) {
		q.Set("host", c.host)
		q.Set("port", strconv.Itoa(c.port))
	} else {
		u.Host = fmt.Sprintf("%s:%d", c.host, c.port)
	}
	// libpq does not read a plus sign as a space.
	u.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
	return u.String()
}

// settings go on the command line, where neither a configuration file nor
// ALTER SYSTEM can overrule them.
func (c *cluster) settings() ([]string, error) {
	listen, err := c.listenArgs()
	if err != nil {
		return nil, err
	}
	durable, memory := "on", "128MB"
	if c.volatile {
		durable, memory = "off", "32MB"
	}
	all := append(listen,
		"fsync="+durable, "full_page_writes="+durable, "synchronous_commit="+durable,
		"shared_buffers="+memory,
		fmt.Sprintf("max_connections=%d", c.connections),
		"timezone=UTC", "log_timezone=UTC",
		"logging_collector=off", "log_destination=stderr",
		"cluster_name=underbond",
	)
	var args []string
	for _, s := range all {
		args = append(args, "-c", s)
	}
	return args, nil
}

// run starts the server and waits until it answers. A crashed server's
// children may hold its shared memory for a moment: then it tries again.
func (c *cluster) run(ctx context.Context, password string) (*process, error) {
	settings, err := c.settings()
	if err != nil {
		return nil, err
	}
	giveUp := time.Now().Add(20 * time.Second)
	for {
		p, err := c.runOnce(ctx, settings, password)
		if err == nil || time.Now().After(giveUp) || !strings.Contains(err.Error(), "pre-existing shared memory block") {
			return p, err
		}
		if err := pause(ctx, 200*time.Millisecond); err != nil {
			return nil, err
		}
	}
}

func (c *cluster) runOnce(ctx context.Context, settings []string, password string) (*process, error) {
	cmd := exec.Command(program(c.install.Dir, "postgres"), append([]string{"-D", c.data()}, settings...)...)
	c.prepare(cmd)
	p, err := launch(cmd, c.log)
	if err != nil {
		return nil, &ProgramError{Doing: "start the private database", Err: err}
	}
	if err := c.ready(ctx, p, password); err != nil {
		stop(context.WithoutCancel(ctx), p)
		return nil, &ProgramError{Doing: "start the private database", Err: err, Log: p.tail()}
	}
	return p, nil
}

// silence is how long a starting server may give no answer at all. One that
// says it is recovering may take longer, as long as the caller's context allows.
const silence = 60 * time.Second

var errEnded = errors.New("it ended")

// ready waits until the server takes connections and proves that it is our child that answers.
func (c *cluster) ready(ctx context.Context, p *process, password string) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	go func() {
		select {
		case <-p.done:
			cancel(errEnded)
		case <-ctx.Done():
		}
	}()
	giveUp := time.Now().Add(silence)
	var last error
	for {
		up, sign, err := c.probe(ctx, password, &last)
		switch {
		case err != nil:
			return err
		case up:
			return c.isOurs(p)
		case sign:
			giveUp = time.Now().Add(silence)
		case time.Now().After(giveUp):
			return fmt.Errorf("it gave no answer for %v: %w", silence, last)
		}
		if err := pause(ctx, 10*time.Millisecond); err != nil {
			if errors.Is(err, errEnded) {
				return fmt.Errorf("it ended before it took connections (%v)", p.cmd.ProcessState)
			}
			return err
		}
	}
}

// probe tries one connection. A server that is still recovering gives a sign
// of life. It notes in last what it met; err is what no waiting can mend.
func (c *cluster) probe(ctx context.Context, password string, last *error) (up, sign bool, err error) {
	conn, err := pgx.Connect(ctx, c.url(AdminRole, password, "postgres"))
	if err == nil {
		return true, false, conn.Close(ctx)
	}
	*last = err
	var pg *pgconn.PgError
	if !errors.As(err, &pg) {
		return false, false, nil
	}
	const cannotConnectNow, invalidPassword = "57P03", "28P01"
	switch pg.Code {
	case cannotConnectNow:
		return false, true, nil
	case invalidPassword:
		return false, false, fmt.Errorf("the kept password of %s is not that of the database: %w", AdminRole, err)
	default:
		return false, false, nil
	}
}

// isOurs compares the server's own note of its process with our child.
func (c *cluster) isOurs(p *process) error {
	text, err := c.folder.root.ReadFile(path.Join(c.home, "data", "postmaster.pid"))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("check which server answers: %w", err)
	}
	if pid, ok := postmasterPID(string(text)); !ok || pid != p.pid() {
		return fmt.Errorf("another server (process %d) answers in its place", pid)
	}
	return nil
}
