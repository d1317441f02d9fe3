// Package store keeps the record in Postgres: arrivals, documents, acquisitions,
// evaluations and results, each written in one short transaction that ends with its
// ledger entry. It implements the store that the pipeline declares.
package store

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/rs/zerolog"

	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/sql/migrations"
)

// Options configure a store.
type Options struct {
	// URL of the database. The login must be a member of the service role.
	URL string
	// Prefix of the role names; see migrations.DefaultPrefix.
	Prefix string
	// Actor names the service in the ledger, with its build and configuration hash.
	Actor string
	// Timeout bounds every transaction; 0 means 30 s.
	Timeout time.Duration
	Log     zerolog.Logger
}

// Store is a pool of connections that run as the service role.
type Store struct {
	pool    *pgxpool.Pool
	actor   string
	timeout time.Duration
	log     zerolog.Logger

	claims  sync.Mutex
	working map[int64]int64 // fence of each claim given out and not ended, by arrival
}

// Open prepares connections; it does not wait for the database. Every connection becomes
// the service role and refuses a schema that this program does not know
// (migrations.ErrSchema). See Check.
func Open(ctx context.Context, opt Options) (*Store, error) {
	if opt.Prefix == "" {
		opt.Prefix = migrations.DefaultPrefix
	}
	if opt.Timeout == 0 {
		opt.Timeout = 30 * time.Second
	}
	config, err := pgxpool.ParseConfig(opt.URL)
	if err != nil {
		return nil, fmt.Errorf("read database.url: %w", err)
	}
	config.AfterConnect = func(ctx context.Context, conn *pgx.Conn) error {
		_, err := conn.Exec(ctx, "set role "+pgx.Identifier{migrations.ServiceRole(opt.Prefix)}.Sanitize()+
			"; set search_path = ''; set lock_timeout = '10s'; set idle_in_transaction_session_timeout = '60s'")
		var pgErr *pgconn.PgError
		if errors.As(err, &pgErr) && (pgErr.Code == "22023" || pgErr.Code == "42704") {
			return fmt.Errorf("%w: there is no role %s; run \"underbond migrate\" first", migrations.ErrSchema, migrations.ServiceRole(opt.Prefix))
		}
		if err != nil {
			return fmt.Errorf("become the service role: %w", err)
		}
		return migrations.Check(ctx, conn)
	}
	config.ConnConfig.RuntimeParams["application_name"] = "underbond"
	dialer := &net.Dialer{KeepAlive: 15 * time.Second, Timeout: 10 * time.Second}
	config.ConnConfig.DialFunc = func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := dialer.DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		return counted{conn}, nil
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	return &Store{pool: pool, actor: opt.Actor, timeout: opt.Timeout, log: opt.Log, working: map[int64]int64{}}, nil
}

// Close gives the connections back.
func (s *Store) Close() { s.pool.Close() }

// Check tells whether the database answers and has the schema that this program knows.
func (s *Store) Check(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	return s.pool.Ping(ctx)
}

// counted marks each write to the database as a durable step, for crash tests.
type counted struct{ net.Conn }

func (c counted) Write(b []byte) (int, error) {
	defer faultpoint.Before("database write").After()
	return c.Conn.Write(b)
}

// rejected marks an error that lies in the values written: data exceptions (class 22)
// and violated constraints (class 23). All other errors are the database's or the
// program's and say nothing about a file.
func rejected(err error) error {
	var pgErr *pgconn.PgError
	if errors.As(err, &pgErr) && (strings.HasPrefix(pgErr.Code, "22") || strings.HasPrefix(pgErr.Code, "23")) {
		return &record.RejectedError{Code: pgErr.Code, Err: err}
	}
	return err
}

// contended tells that another transaction was in the way.
func contended(err error) bool {
	var pgErr *pgconn.PgError
	return errors.As(err, &pgErr) && (pgErr.Code == "40001" || pgErr.Code == "40P01")
}
