package server

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// folder is <dir>/pg. The daemon may be root while the folder belongs to a
// lesser account, so every access goes through an os.Root: a link planted in
// the folder cannot lead a write outside.
type folder struct {
	path  string
	root  *os.Root
	owner account
}

// openFolder makes <dir>/pg for the account if needed and opens it.
func openFolder(base string, a account) (*folder, error) {
	if err := os.Mkdir(base, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("make the database folder: %w", err)
	}
	root, err := os.OpenRoot(base)
	if err != nil {
		return nil, fmt.Errorf("open the database folder: %w", err)
	}
	f := &folder{path: base, root: root, owner: a}
	if err := f.claim(); err != nil {
		return nil, errors.Join(err, root.Close())
	}
	return f, nil
}

// claim hands a still empty folder to the account.
func (f *folder) claim() error {
	uid, _, err := ownerOf(f.path)
	if err != nil || !f.owner.Other || uid == f.owner.UID {
		return err
	}
	entries, err := fs.ReadDir(f.root.FS(), ".")
	if err != nil {
		return fmt.Errorf("list the database folder: %w", err)
	}
	if len(entries) > 0 {
		return &OwnerError{Folder: f.path, Owner: accountName(uid), Account: f.owner.Name}
	}
	if err := f.owner.giveName(f.root, "."); err != nil {
		return fmt.Errorf("give the database folder to %s: %w", f.owner.Name, err)
	}
	return nil
}

func (f *folder) close() error { return f.root.Close() }

// abs is the path on the machine of a slash-separated name in the folder.
func (f *folder) abs(name string) string { return filepath.Join(f.path, filepath.FromSlash(name)) }

// mkdir makes a private folder of the account unless it is there.
func (f *folder) mkdir(name string) error {
	err := f.root.Mkdir(name, 0o700)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err == nil {
		err = f.owner.giveName(f.root, name)
	}
	if err != nil {
		return fmt.Errorf("make folder %s: %w", f.abs(name), err)
	}
	return nil
}

// sync makes the names in a folder durable. Windows cannot, and does it by itself.
func (f *folder) sync(name string) error {
	d, err := f.root.Open(name)
	if err != nil {
		return fmt.Errorf("sync folder %s: %w", f.abs(name), err)
	}
	defer d.Close()
	if err := syncDir(d); err != nil {
		return fmt.Errorf("sync folder %s: %w", f.abs(name), err)
	}
	return nil
}

// clusters returns the major versions that have a data folder, lowest first.
func (f *folder) clusters() ([]int, error) {
	entries, err := fs.ReadDir(f.root.FS(), ".")
	if err != nil {
		return nil, fmt.Errorf("list the database folder: %w", err)
	}
	var majors []int
	for _, e := range entries {
		major, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		_, err = f.root.Lstat(path.Join(e.Name(), "data"))
		switch {
		case err == nil:
			majors = append(majors, major)
		case !errors.Is(err, fs.ErrNotExist):
			return nil, &DataFolderError{Folder: f.abs(path.Join(e.Name(), "data")), Reason: "it cannot be looked at", Err: err}
		}
	}
	slices.Sort(majors)
	return majors, nil
}

// choose picks the programs that fit the folder: those of the newest existing
// cluster's major version, or the preferred ones when there is no cluster. A
// newer program beside old data must not quietly begin an empty database.
func (f *folder) choose(installs []Install) (Install, error) {
	majors, err := f.clusters()
	if err != nil {
		return Install{}, err
	}
	if len(majors) == 0 {
		return installs[0], nil
	}
	want := majors[len(majors)-1]
	for _, i := range installs {
		if i.Major == want {
			return i, nil
		}
	}
	return Install{}, mismatch(f.abs(fmt.Sprintf("%d/data", want)), want, installs)
}

func mismatch(folder string, data int, installs []Install) error {
	var have []int
	for _, i := range installs {
		if !slices.Contains(have, i.Major) {
			have = append(have, i.Major)
		}
	}
	return &MajorMismatchError{Folder: folder, Data: data, Installed: have}
}

// inspect says whether the cluster exists, and refuses one that cannot be trusted. It only reads.
func (f *folder) inspect(in Install) (exists bool, err error) {
	home := strconv.Itoa(in.Major)
	data := path.Join(home, "data")
	refuse := func(reason string, err error) (bool, error) {
		return false, &DataFolderError{Folder: f.abs(data), Reason: reason, Err: err}
	}
	info, err := f.root.Stat(data)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err != nil:
		return refuse("it cannot be looked at", err)
	case !info.IsDir():
		return refuse("it is not a folder", nil)
	}
	version, err := f.root.ReadFile(path.Join(data, "PG_VERSION"))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return refuse("it is half made, PG_VERSION is missing", nil)
	case err != nil:
		return refuse("PG_VERSION cannot be read", err)
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(version)))
	if err != nil {
		return refuse(fmt.Sprintf("PG_VERSION says %q, which is no major version", strings.TrimSpace(string(version))), nil)
	}
	if major != in.Major {
		return false, mismatch(f.abs(data), major, []Install{in})
	}
	control, err := f.root.Stat(path.Join(data, "global", "pg_control"))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return refuse("it is half made, global/pg_control is missing", nil)
	case err != nil:
		return refuse("global/pg_control cannot be looked at", err)
	case control.Size() == 0:
		return refuse("it is half made, global/pg_control is empty", nil)
	}
	return true, nil
}
