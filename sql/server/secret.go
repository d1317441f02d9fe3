package server

import (
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"regexp"
	"strings"
)

// secrets keeps the passwords of a cluster, one 0600 file a role.
type secrets struct {
	folder *folder
	home   string // the major version's folder
}

func (s secrets) name(role string) string { return path.Join(s.home, "passwords", role) }

var passwordPattern = regexp.MustCompile(`^[0-9a-f]{32}$`)

// read returns a role's password; fs.ErrNotExist when it has none yet.
func (s secrets) read(role string) (string, error) {
	text, err := s.folder.root.ReadFile(s.name(role))
	if err != nil {
		return "", fmt.Errorf("read the password of role %s: %w", role, err)
	}
	password := strings.TrimSpace(string(text))
	if !passwordPattern.MatchString(password) {
		return "", fmt.Errorf("read the password of role %s: file %s does not hold 32 hex digits", role, s.folder.abs(s.name(role)))
	}
	return password, nil
}

// ensure returns a role's password and makes one when there is none.
func (s secrets) ensure(role string) (string, error) {
	password, err := s.read(role)
	if !errors.Is(err, fs.ErrNotExist) {
		return password, err
	}
	var b [16]byte
	rand.Read(b[:])
	password = hex.EncodeToString(b[:])
	if err := s.folder.mkdir(path.Join(s.home, "passwords")); err != nil {
		return "", err
	}
	if err := s.folder.write(s.name(role), password+"\n"); err != nil {
		return "", fmt.Errorf("keep the password of role %s: %w", role, err)
	}
	return password, nil
}

// pgpass writes all passwords in the form that libpq reads.
func (s secrets) pgpass() error {
	entries, err := fs.ReadDir(s.folder.root.FS(), path.Join(s.home, "passwords"))
	if err != nil {
		return fmt.Errorf("list the passwords: %w", err)
	}
	var b strings.Builder
	for _, e := range entries {
		if !rolePattern.MatchString(e.Name()) {
			continue
		}
		password, err := s.read(e.Name())
		if err != nil {
			return err
		}
		fmt.Fprintf(&b, "*:*:*:%s:%s\n", e.Name(), password)
	}
	if err := s.folder.write(path.Join(s.home, "pgpass"), b.String()); err != nil {
		return fmt.Errorf("write the password file for psql: %w", err)
	}
	return nil
}

// write replaces a file of the account durably: whoever reads it sees the old text or the new.
func (f *folder) write(name, text string) error {
	next := name + ".next"
	if err := f.root.Remove(next); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	file, err := f.root.OpenFile(next, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = file.WriteString(text)
	err = errors.Join(err, f.owner.give(file), file.Sync(), file.Close())
	if err == nil {
		err = f.root.Rename(next, name)
	}
	if err != nil {
		return err
	}
	return f.sync(path.Dir(name))
}

// scramVerifier is what Postgres stores for a password (RFC 5803, RFC 7677).
// Sending it instead of the password keeps the password out of the server's log.
func scramVerifier(password string, salt []byte) (string, error) {
	const rounds = 4096
	salted, err := pbkdf2.Key(sha256.New, password, salt, rounds, sha256.Size)
	if err != nil {
		return "", fmt.Errorf("derive the key of a password: %w", err)
	}
	sign := func(text string) []byte {
		h := hmac.New(sha256.New, salted)
		h.Write([]byte(text))
		return h.Sum(nil)
	}
	stored := sha256.Sum256(sign("Client Key"))
	enc := base64.StdEncoding.EncodeToString
	return fmt.Sprintf("SCRAM-SHA-256$%d:%s$%s:%s", rounds, enc(salt), enc(stored[:]), enc(sign("Server Key"))), nil
}
