package server

import (
	"fmt"
	"strings"
)

// NotInstalledError says that no PostgreSQL server binaries were found.
type NotInstalledError struct {
	BinDir   string   // configured folder, empty when none was configured
	Searched []string // places that were looked at
	Broken   error    // programs that were found but do not run; nil when there are none
}

func (e *NotInstalledError) Unwrap() error { return e.Broken }

func (e *NotInstalledError) Error() string {
	var b strings.Builder
	if e.BinDir != "" {
		fmt.Fprintf(&b, "no PostgreSQL server programs (postgres, initdb) in the configured folder %s", e.BinDir)
	} else {
		fmt.Fprintf(&b, "PostgreSQL is not installed on this machine (looked in %s)", strings.Join(e.Searched, ", "))
	}
	if e.Broken != nil {
		fmt.Fprintf(&b, "; what was found does not run: %v", e.Broken)
	}
	b.WriteString(`
install it:
  Debian, Ubuntu   apt install postgresql
  Fedora, RHEL     dnf install postgresql-server
  macOS            brew install postgresql@15
  Windows          the installer from https://www.postgresql.org/download/windows/
or use a database of your own: run "docker compose up", or set database.url in the configuration`)
	return b.String()
}

// TooOldError says that the only binaries found are older than MinMajor.
type TooOldError struct {
	Found Install // the newest that was found
}

func (e *TooOldError) Error() string {
	return fmt.Sprintf("PostgreSQL %d in %s is too old: version %d or newer is needed; install a newer one, or set database.url",
		e.Found.Major, e.Found.Dir, MinMajor)
}

// MajorMismatchError says that the data folder was written by a major version
// for which no binaries are on the machine. The folder was not touched.
type MajorMismatchError struct {
	Folder    string // the data folder
	Data      int    // major version that wrote it
	Installed []int  // major versions on the machine
}

func (e *MajorMismatchError) Error() string {
	have := make([]string, len(e.Installed))
	for i, m := range e.Installed {
		have[i] = fmt.Sprint(m)
	}
	return fmt.Sprintf("data folder %s belongs to PostgreSQL %d, but this machine has PostgreSQL %s; the folder was not touched. "+
		"Install PostgreSQL %d, or dump the databases with its pg_dump, move the folder away and restore the dump",
		e.Folder, e.Data, strings.Join(have, ", "), e.Data)
}

// DataFolderError says that the data folder cannot be trusted: unreadable,
// incomplete, or without its password. The folder was not touched.
type DataFolderError struct {
	Folder string
	Reason string
	Err    error // nil when there is no underlying error
}

func (e *DataFolderError) Error() string {
	s := fmt.Sprintf("data folder %s is refused: %s", e.Folder, e.Reason)
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s + "; it was not touched. Restore it from a backup, or move it away to begin an empty database"
}

func (e *DataFolderError) Unwrap() error { return e.Err }

// InUseError says that another live process owns the folder.
type InUseError struct {
	Dir string
	PID int // the process that owns it, 0 when unknown
}

func (e *InUseError) Error() string {
	who := "another process"
	if e.PID > 0 {
		who = fmt.Sprintf("process %d", e.PID)
	}
	return fmt.Sprintf("the private database in %s is in use by %s; stop it first, or give this one a folder of its own", e.Dir, who)
}

// TraverseError says that the account which runs the server cannot pass a folder.
type TraverseError struct {
	Folder  string // the folder that cannot be passed
	Path    string // what lies below it
	Account string
}

func (e *TraverseError) Error() string {
	return fmt.Sprintf("account %q, which runs the private database, cannot pass folder %s to reach %s; run: chmod o+x %s, or choose a folder elsewhere",
		e.Account, e.Folder, e.Path, shellQuote(e.Folder))
}

// AccountError says that the server cannot run under an account.
type AccountError struct {
	Name string
	Err  error
}

func (e *AccountError) Error() string {
	return fmt.Sprintf("run the private database as account %q: %v", e.Name, e.Err)
}

func (e *AccountError) Unwrap() error { return e.Err }

// OwnerError says that the folder belongs to another account than the one that would run the server.
type OwnerError struct {
	Folder, Owner, Account string
}

func (e *OwnerError) Error() string {
	return fmt.Sprintf("folder %s belongs to account %q, but the private database would run as %q; start it as that account, or as root run: chown -R %s %s",
		e.Folder, e.Owner, e.Account, shellQuote(e.Account), shellQuote(e.Folder))
}

// ProgramError says that a PostgreSQL program failed or that the server ended by itself.
type ProgramError struct {
	Doing string   // what was being done
	Err   error    // exit state, or why waiting ended
	Log   []string // last lines that it wrote
}

func (e *ProgramError) Error() string {
	s := fmt.Sprintf("%s: %v", e.Doing, e.Err)
	if len(e.Log) > 0 {
		s += "; it said:\n  " + strings.Join(e.Log, "\n  ")
	}
	return s
}

func (e *ProgramError) Unwrap() error { return e.Err }
