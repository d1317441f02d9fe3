//go:build unix

package server

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// chooseAccount decides who runs the server: the caller itself, or when the
// caller is root an unprivileged account, since PostgreSQL refuses to run as
// root. An existing folder stays with its owner. The warnings say what a person
// should change.
func chooseAccount(configured, base string) (a account, warnings []string, err error) {
	owner, exists, err := ownerOf(base)
	if err != nil {
		return account{}, nil, err
	}
	if euid := os.Geteuid(); euid != 0 {
		a = account{Name: accountName(euid), UID: euid, GID: os.Getegid()}
		if configured != "" && configured != a.Name {
			warnings = append(warnings, fmt.Sprintf("the private database runs as %q: only root can run it as the configured account %q", a.Name, configured))
		}
		if exists && owner != a.UID {
			return account{}, nil, &OwnerError{Folder: base, Owner: accountName(owner), Account: a.Name}
		}
		return a, warnings, nil
	}
	warnings = append(warnings, "the daemon runs as root, which it does not need; give it an account of its own")
	switch {
	case configured != "":
		a, err = lookupAccount(configured)
	case exists && owner != 0:
		a, err = lookupAccount(accountName(owner))
	default:
		a, err = lookupAccount("postgres")
		var unknown user.UnknownUserError
		if errors.As(err, &unknown) {
			a, err = lookupAccount("nobody")
		}
	}
	if err != nil {
		return account{}, nil, err
	}
	if a.Name == "nobody" {
		warnings = append(warnings, `the private database runs as "nobody", which other services may share and so read its files; configure an account of its own`)
	}
	if exists && owner != a.UID && owner != 0 {
		return account{}, nil, &OwnerError{Folder: base, Owner: accountName(owner), Account: a.Name}
	}
	return a, warnings, nil
}

func lookupAccount(name string) (account, error) {
	u, err := user.Lookup(name)
	if err != nil {
		return account{}, &AccountError{Name: name, Err: err}
	}
	uid, errUID := strconv.Atoi(u.Uid)
	gid, errGID := strconv.Atoi(u.Gid)
	if err := errors.Join(errUID, errGID); err != nil {
		return account{}, &AccountError{Name: name, Err: err}
	}
	if uid == 0 {
		return account{}, &AccountError{Name: name, Err: errors.New("PostgreSQL refuses to run with root's rights; configure an unprivileged account")}
	}
	return account{Name: name, UID: uid, GID: gid, Other: true}, nil
}

func accountName(uid int) string {
	if u, err := user.LookupId(strconv.Itoa(uid)); err == nil {
		return u.Username
	}
	return strconv.Itoa(uid)
}

// ownerOf returns the uid that owns a folder, and whether there is one.
func ownerOf(path string) (uid int, exists bool, err error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, fmt.Errorf("look at the database folder: %w", err)
	}
	if !info.IsDir() {
		return 0, false, fmt.Errorf("look at the database folder: %s is not a folder", path)
	}
	return int(info.Sys().(*syscall.Stat_t).Uid), true, nil
}

// blocker returns the first folder above path that the account cannot pass, judged by mode bits.
func blocker(path string, a account) (string, bool) {
	for _, dir := range parents(path) {
		info, err := os.Stat(dir)
		if err != nil {
			return dir, true
		}
		st := info.Sys().(*syscall.Stat_t)
		need := fs.FileMode(0o001)
		switch {
		case int(st.Uid) == a.UID:
			need = 0o100
		case int(st.Gid) == a.GID:
			need = 0o010
		}
		if info.Mode().Perm()&need == 0 {
			return dir, true
		}
	}
	return "", false
}

// credential switches a child process to the account. The empty, non-nil group list drops root's other groups.
func (a account) credential() *syscall.Credential {
	if !a.Other {
		return nil
	}
	return &syscall.Credential{Uid: uint32(a.UID), Gid: uint32(a.GID), Groups: []uint32{}}
}
