package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// rolePattern keeps role names usable as file names and without quotes.
var rolePattern = regexp.MustCompile(`^[a-z_][a-z0-9_]{0,62}$`)

// SQLSTATE codes that mean "it is there already".
const (
	duplicateDatabase = "42P04"
	duplicateObject   = "42710"
)

// EnsureLogin makes a role that can log in, has no rights of its own and is a
// member of the given roles, which must exist. Its random password is kept
// beside the cluster; the database is made to agree with the kept one. It
// returns the password, for URL.
func (s *Server) EnsureLogin(ctx context.Context, role string, memberOf ...string) (password string, err error) {
	if !rolePattern.MatchString(role) || role == AdminRole {
		return "", fmt.Errorf("ensure login %q: a role name has small letters, digits and underscores, and is not %s", role, AdminRole)
	}
	// One writer of the password files at a time.
	s.pgpassMu.Lock()
	defer s.pgpassMu.Unlock()
	if password, err = s.cluster.secrets.ensure(role); err != nil {
		return "", err
	}
	if err := s.cluster.secrets.pgpass(); err != nil {
		return "", err
	}
	salt := make([]byte, 16)
	rand.Read(salt)
	verifier, err := scramVerifier(password, salt)
	if err != nil {
		return "", err
	}
	name := pgx.Identifier{role}.Sanitize()
	err = s.admin(ctx, func(conn *pgx.Conn) error {
		if err := execUnless(ctx, conn, duplicateObject, "create role "+name); err != nil {
			return err
		}
		// The verifier is base64 and needs no escaping.
		_, err := conn.Exec(ctx, "alter role "+name+" login nosuperuser nocreatedb nocreaterole noreplication nobypassrls password '"+verifier+"'")
		if err != nil || len(memberOf) == 0 {
			return err
		}
		groups := make([]string, len(memberOf))
		for i, m := range memberOf {
			groups[i] = pgx.Identifier{m}.Sanitize()
		}
		_, err = conn.Exec(ctx, "grant "+strings.Join(groups, ", ")+" to "+name)
		return err
	})
	if err != nil {
		return "", fmt.Errorf("ensure login %s: %w", role, err)
	}
	return password, nil
}

// EnsureDatabase makes a database unless it exists, and sees to it that owner, a role that exists, owns it.
func (s *Server) EnsureDatabase(ctx context.Context, name, owner string) error {
	database, role := pgx.Identifier{name}.Sanitize(), pgx.Identifier{owner}.Sanitize()
	err := s.admin(ctx, func(conn *pgx.Conn) error {
		if err := execUnless(ctx, conn, duplicateDatabase, "create database "+database+" owner "+role+" template template0"); err != nil {
			return err
		}
		_, err := conn.Exec(ctx, "alter database "+database+" owner to "+role)
		return err
	})
	if err != nil {
		return fmt.Errorf("ensure database %s: %w", name, err)
	}
	return nil
}

// admin runs do on a superuser connection.
func (s *Server) admin(ctx context.Context, do func(*pgx.Conn) error) error {
	conn, err := pgx.Connect(ctx, s.AdminURL())
	if err != nil {
		return err
	}
	return errors.Join(do(conn), conn.Close(context.WithoutCancel(ctx)))
}

// execUnless runs a statement and takes the given SQLSTATE as success.
func execUnless(ctx context.Context, conn *pgx.Conn, fine, statement string) error {
	_, err := conn.Exec(ctx, statement)
	var pg *pgconn.PgError
	if errors.As(err, &pg) && pg.Code == fine {
		return nil
	}
	return err
}
