package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"sync"

	"underbond/sql/server/internal/testmode"
)

// AdminRole is the superuser of the private cluster.
const AdminRole = "underbond_admin"

const defaultConnections = 40

// Options say where and how the private server runs.
type Options struct {
	// Dir is the daemon's state folder; the cluster lies in <Dir>/pg.
	Dir string
	// BinDir holds postgres and initdb; empty means look for them.
	BinDir string
	// Account runs the server when the daemon is root; empty means the owner
	// of an existing cluster, else postgres, else nobody.
	Account string
	// Log receives each line that the server writes; it must not block. May be nil.
	Log func(line string)
	// MaxConnections limits the sessions; 0 means 40.
	MaxConnections int
	// Testing gives up durability. Only the tests of this folder and package
	// servertest can make another value than zero.
	Testing testmode.Mode
}

// Server is a running private server.
type Server struct {
	cluster  *cluster
	process  *process
	lock     *lock
	password string
	warnings []string

	exited   chan error
	stopping chan struct{}
	once     sync.Once
	stopErr  error
	pgpassMu sync.Mutex
}

// Start makes the cluster if there is none, starts the server and returns when
// it takes connections. ctx bounds the start only; the server runs until Stop.
//
// Errors that a caller may tell apart: NotInstalledError, TooOldError,
// MajorMismatchError, DataFolderError, InUseError, TraverseError, AccountError,
// OwnerError, ProgramError. After any of them nothing runs, and a data folder
// that was refused is as it was.
func Start(ctx context.Context, o Options) (*Server, error) {
	if o.Dir == "" {
		return nil, errors.New("start the private database: no folder was given")
	}
	dir, err := filepath.Abs(o.Dir)
	if err != nil {
		return nil, fmt.Errorf("start the private database: %w", err)
	}
	installs, err := machine().find(ctx, o.BinDir)
	if err != nil {
		return nil, err
	}
	base := filepath.Join(dir, "pg")
	owner, warnings, err := chooseAccount(o.Account, base)
	if err != nil {
		return nil, err
	}
	// Only root needs to let another account pass.
	perm := os.FileMode(0o700)
	if owner.Other {
		perm = 0o711
	}
	if err := os.MkdirAll(dir, perm); err != nil {
		return nil, fmt.Errorf("make the folder of the private database: %w", err)
	}
	lock, err := takeLock(dir, base)
	if err != nil {
		return nil, err
	}
	s := &Server{lock: lock, warnings: warnings, exited: make(chan error, 1), stopping: make(chan struct{})}
	if err := s.start(ctx, o, base, owner, installs); err != nil {
		return nil, errors.Join(err, s.close())
	}
	go s.watch()
	return s, nil
}

// start does what needs the lock.
func (s *Server) start(ctx context.Context, o Options, base string, owner account, installs []Install) error {
	f, err := openFolder(base, owner)
	if err != nil {
		return err
	}
	c := &cluster{folder: f, owner: owner, volatile: o.Testing.IsVolatile(), connections: o.MaxConnections, log: o.Log}
	s.cluster = c
	if c.connections == 0 {
		c.connections = defaultConnections
	}
	if c.install, err = f.choose(installs); err != nil {
		return err
	}
	c.home = strconv.Itoa(c.install.Major)
	c.secrets = secrets{folder: f, home: c.home}
	if err := c.reachable(); err != nil {
		return err
	}
	exists, err := f.inspect(c.install)
	if err != nil {
		return err
	}
	if exists {
		s.password, err = c.secrets.read(AdminRole)
		if errors.Is(err, fs.ErrNotExist) {
			return &DataFolderError{Folder: c.data(), Reason: "the password of its administrator is missing", Err: err}
		}
	} else {
		s.password, err = c.create(ctx)
	}
	if err != nil {
		return err
	}
	if err := c.endOrphan(ctx); err != nil {
		return err
	}
	if err := c.secrets.pgpass(); err != nil {
		return err
	}
	s.process, err = c.run(ctx, s.password)
	return err
}

// create makes a new cluster and returns its administrator's password.
func (c *cluster) create(ctx context.Context) (string, error) {
	if err := c.folder.mkdir(c.home); err != nil {
		return "", err
	}
	password, err := c.secrets.ensure(AdminRole)
	if err != nil {
		return "", err
	}
	return password, c.initdb(ctx)
}

// watch reports a server that ends without having been asked to.
func (s *Server) watch() {
	defer close(s.exited)
	<-s.process.done
	select {
	case <-s.stopping:
		return
	default:
	}
	err := s.process.err
	if err == nil {
		err = errEnded
	}
	s.exited <- &ProgramError{Doing: "the private database ended by itself", Err: err, Log: s.process.tail()}
}

// Exited receives one error when the server ends by itself. It is closed once
// the server has ended, so after Stop it yields nil.
func (s *Server) Exited() <-chan error { return s.exited }

// Stop ends the server: politely for 30 s, then without a checkpoint, then by
// force. When ctx ends it goes on to the harder ways at once. It returns when
// the server has ended and the folder is free; later calls return the same. The
// error says that committed work is safe but the next start has to recover.
func (s *Server) Stop(ctx context.Context) error {
	s.once.Do(func() {
		close(s.stopping)
		var err error
		if last := stop(ctx, s.process); last != fast {
			err = &ProgramError{
				Doing: "stop the private database",
				Err:   errors.New("it did not end in time and was stopped hard; the next start recovers"),
				Log:   s.process.tail(),
			}
		}
		s.stopErr = errors.Join(err, s.close())
	})
	return s.stopErr
}

// close gives back what a server that does not run holds.
func (s *Server) close() error {
	var err error
	if c := s.cluster; c != nil {
		err = errors.Join(c.dropSocketFolder(), c.folder.close())
	}
	return errors.Join(err, s.lock.release())
}

// Warnings say what a person should change about how the server runs; often none.
func (s *Server) Warnings() []string { return s.warnings }

// Install says which programs run the server; pg_dump lies in the same folder.
func (s *Server) Install() Install { return s.cluster.install }

// DataFolder is the path of the cluster's data folder.
func (s *Server) DataFolder() string { return s.cluster.data() }

// PgpassFile is the path of the password file that psql and pg_dump read when PGPASSFILE names it.
func (s *Server) PgpassFile() string { return s.cluster.pgpassFile() }

// AdminURL connects the superuser to database postgres.
func (s *Server) AdminURL() string { return s.AdminURLFor("postgres") }

// AdminURLFor connects the superuser to a database.
func (s *Server) AdminURLFor(database string) string {
	return s.URL(AdminRole, s.password, database)
}

// URL is a connection URL for pgx and libpq that depends on nothing in the environment.
func (s *Server) URL(user, password, database string) string {
	return s.cluster.url(user, password, database)
}
