// Package migrations holds the schema of the record and brings a database to it.
// Migrations run as the owner role; the daemon runs as the service role and only
// checks that it knows the schema.
package migrations

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"regexp"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/database"
	"github.com/pressly/goose/v3/lock"
)

//go:embed files/*.sql
var files embed.FS

// DefaultPrefix starts the names of the database roles. Roles belong to a whole
// cluster: two installations in one cluster need two prefixes.
const DefaultPrefix = "underbond"

// versionTable is where the applied migrations are listed.
const versionTable = "core.migration"

var prefixForm = regexp.MustCompile(`^[a-z][a-z0-9_]{0,40}$`)

// ErrSchema is the error of a database whose schema this program does not know.
var ErrSchema = errors.New("unknown database schema")

// ServiceRole is the role that the daemon runs as.
func ServiceRole(prefix string) string { return prefix + "_service" }

// roles are the group roles; none can log in by itself.
var roles = []string{"owner", "service", "lims", "qa", "classifier"}

// Up brings the database at url to this program's schema and returns the versions
// before and after. The login of url must be allowed to create roles and schemas.
func Up(ctx context.Context, url, prefix string) (before, after int64, err error) {
	if !prefixForm.MatchString(prefix) {
		return 0, 0, fmt.Errorf("role prefix %q: use lower-case letters, digits and _, starting with a letter", prefix)
	}
	if err := bootstrap(ctx, url, prefix); err != nil {
		return 0, 0, err
	}
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return 0, 0, fmt.Errorf("read the database URL: %w", err)
	}
	config.AfterConnect = func(ctx context.Context, conn *pgx.Conn) error {
		_, err := conn.Exec(ctx, "set role "+pgx.Identifier{prefix + "_owner"}.Sanitize()+"; set lock_timeout = '5s'")
		return err
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return 0, 0, fmt.Errorf("connect to migrate: %w", err)
	}
	defer pool.Close()
	db := stdlib.OpenDBFromPool(pool)
	defer func() { err = errors.Join(err, db.Close()) }()

	store, err := database.NewStore(database.DialectPostgres, versionTable)
	if err != nil {
		return 0, 0, fmt.Errorf("prepare the table of migrations: %w", err)
	}
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 60))
	if err != nil {
		return 0, 0, fmt.Errorf("prepare the lock of migrations: %w", err)
	}
	source, err := fs.Sub(files, "files")
	if err != nil {
		return 0, 0, fmt.Errorf("open the migrations: %w", err)
	}
	provider, err := goose.NewProvider(goose.DialectCustom, db, prefixed{source, prefix},
		goose.WithStore(store), goose.WithSessionLocker(locker), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return 0, 0, fmt.Errorf("read the migrations: %w", err)
	}
	before, err = provider.GetDBVersion(ctx)
	if err != nil {
		return 0, 0, fmt.Errorf("read the schema version: %w", err)
	}
	if before > Latest() {
		return before, before, fmt.Errorf("%w: the database is at version %d, this program knows versions up to %d; use a newer program", ErrSchema, before, Latest())
	}
	if _, err := provider.Up(ctx); err != nil {
		return before, 0, fmt.Errorf("migrate from version %d: %w", before, err)
	}
	after, err = provider.GetDBVersion(ctx)
	if err != nil {
		return before, 0, fmt.Errorf("read the schema version after migrating: %w", err)
	}
	return before, after, nil
}

// bootstrap makes the group roles and the schema that holds the list of migrations.
func bootstrap(ctx context.Context, url, prefix string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return fmt.Errorf("connect to prepare roles: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	// Granting and making schemas do not bear a second one at the same time. Closing the connection unlocks.
	if _, err := conn.Exec(ctx, "select pg_advisory_lock(hashtextextended('underbond roles', 0))"); err != nil {
		return fmt.Errorf("wait for another migration: %w", err)
	}
	for _, role := range roles {
		name := prefix + "_" + role
		var there bool
		if err := conn.QueryRow(ctx, "select exists (select from pg_roles where rolname = $1)", name).Scan(&there); err != nil {
			return fmt.Errorf("look for role %s: %w", name, err)
		}
		if there {
			continue
		}
		_, err := conn.Exec(ctx, "create role "+pgx.Identifier{name}.Sanitize()+" nologin")
		var pgErr *pgconn.PgError
		if errors.As(err, &pgErr) && (pgErr.Code == "42710" || pgErr.Code == "23505") {
			continue // another migration made it meanwhile
		}
		if err != nil {
			return fmt.Errorf("create role %s: %w", name, err)
		}
	}
	owner := pgx.Identifier{prefix + "_owner"}.Sanitize()
	var database string
	if err := conn.QueryRow(ctx, "select current_database()").Scan(&database); err != nil {
		return fmt.Errorf("read the database's name: %w", err)
	}
	statements := "grant " + owner + " to current_user;" +
		"grant create on database " + pgx.Identifier{database}.Sanitize() + " to " + owner + ";" +
		"create schema if not exists core authorization " + owner
	if _, err := conn.Exec(ctx, statements); err != nil {
		return fmt.Errorf("prepare the owner role %s_owner: %w", prefix, err)
	}
	return nil
}

// Querier is the part of a connection that Check needs.
type Querier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// Check refuses a database whose schema is not exactly this program's, with ErrSchema.
func Check(ctx context.Context, db Querier) error {
	var version *int64
	err := db.QueryRow(ctx, "select max(version_id) from "+versionTable+" where is_applied").Scan(&version)
	var pgErr *pgconn.PgError
	switch {
	case errors.As(err, &pgErr) && (pgErr.Code == "42P01" || pgErr.Code == "3F000" || pgErr.Code == "42501"):
		return fmt.Errorf("%w: this database has not been prepared; run \"underbond migrate\" first", ErrSchema)
	case err != nil:
		return fmt.Errorf("read the schema version: %w", err)
	case version == nil || *version < Latest():
		found := int64(0)
		if version != nil {
			found = *version
		}
		return fmt.Errorf("%w: the database is at version %d, this program needs %d; run \"underbond migrate\" first", ErrSchema, found, Latest())
	case *version > Latest():
		return fmt.Errorf("%w: the database is at version %d, this program knows %d; use a newer program", ErrSchema, *version, Latest())
	}
	return nil
}

// Latest is the newest version that this program knows.
func Latest() int64 {
	names, err := fs.Glob(files, "files/*.sql")
	if err != nil || len(names) == 0 {
		panic("the migrations are not embedded in this build")
	}
	last, err := goose.NumericComponent(names[len(names)-1])
	if err != nil {
		panic(err)
	}
	return last
}

// prefixed gives the migrations with the role prefix filled in.
type prefixed struct {
	fs.FS
	prefix string
}

// Open implements fs.FS.
func (p prefixed) Open(name string) (fs.File, error) {
	f, err := p.FS.Open(name)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil || info.IsDir() {
		return f, err
	}
	defer f.Close()
	text, err := io.ReadAll(f)
	if err != nil {
		return nil, err
	}
	text = bytes.ReplaceAll(text, []byte("{prefix}"), []byte(p.prefix))
	return &filled{Reader: bytes.NewReader(text), info: filledInfo{info, int64(len(text))}}, nil
}

// ReadDir implements fs.ReadDirFS.
func (p prefixed) ReadDir(name string) ([]fs.DirEntry, error) { return fs.ReadDir(p.FS, name) }

type filled struct {
	*bytes.Reader
	info fs.FileInfo
}

func (f *filled) Stat() (fs.FileInfo, error) { return f.info, nil }
func (f *filled) Close() error               { return nil }

type filledInfo struct {
	fs.FileInfo
	size int64
}

func (i filledInfo) Size() int64        { return i.size }
func (i filledInfo) ModTime() time.Time { return time.Time{} }
