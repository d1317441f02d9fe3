package custody

import (
	"errors"
	"fmt"
)

var (
	// ErrChanged says that the source is no longer, or did not stay, the file
	// that was looked at. Nothing was kept; look again later.
	ErrChanged = errors.New("the file changed while it was taken")
	// ErrNotRegular says that the source is a folder, link, pipe, socket or
	// device, which are never opened.
	ErrNotRegular = errors.New("not a regular file")
	// ErrMissing says that the archive holds no object of that hash.
	ErrMissing = errors.New("no such object in the archive")
)

// NoSpaceError says that the volume of the data folder has no room, or no free
// file entries, left. Sources are untouched; a later attempt may succeed.
type NoSpaceError struct {
	Op   string // what was being done
	Path string // where
	Err  error  // the system's answer; nil when the reserve would have been used up
}

// Error says what happened and what to do.
func (e *NoSpaceError) Error() string {
	cause := "only the reserve is left"
	if e.Err != nil {
		cause = e.Err.Error()
	}
	return fmt.Sprintf("%s %s: no space: %s; free bytes and file entries on the volume of the data folder, or move the data folder to a larger one; "+
		"the source files are untouched and are taken once there is room", e.Op, e.Path, cause)
}

// Unwrap gives the system's answer.
func (e *NoSpaceError) Unwrap() error { return e.Err }

// CorruptObjectError says that an object's bytes are not what its name says.
type CorruptObjectError struct {
	Want Hash  // the name
	Got  Hash  // the hash of the bytes, zero when only the size was compared
	Size int64 // bytes found
	Path string
}

// Error says what happened and what to do.
func (e *CorruptObjectError) Error() string {
	return fmt.Sprintf("archive object %s is damaged: %d bytes with SHA-256 %s; keep the damaged file aside and restore it from a backup or take it from its source again: %s",
		e.Want, e.Size, e.Got, e.Path)
}

// LockedError says that another process works on the data folder.
type LockedError struct{ Path string }

// Error says what happened and what to do.
func (e *LockedError) Error() string {
	return fmt.Sprintf("the data folder is in use by another process (lock %s): stop it first, or give this one its own data folder", e.Path)
}

// JournalError says that a journal line is damaged before the journal's end.
type JournalError struct {
	Path   string
	Line   uint64 // from 1; the line's number is its record number
	Offset int64  // bytes from the start of the file
	Reason string
}

// Error says what happened and what to do.
func (e *JournalError) Error() string {
	return fmt.Sprintf("journal %s, line %d (byte %d): %s; valid records follow or several are damaged, so this is no interrupted write: "+
		"stop, keep a copy of the file, and restore it from a backup or rename it aside and rebuild it", e.Path, e.Line, e.Offset, e.Reason)
}
