package custody

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// sourceFlags: this system has no flag against links; the comparison of the
// opened file with the looked-at one finds them.
const sourceFlags = os.O_RDONLY

func isNoSpace(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL) ||
		errors.Is(err, windows.ERROR_DISK_QUOTA_EXCEEDED)
}

// syncFolder does nothing: folders cannot be synced here. The file system
// journals names itself and orders a rename after the file's own sync.
func syncFolder(string) error { return nil }

// freeSpace gives the bytes available to this user on the volume of dir; the
// number of free file entries is not limited.
func freeSpace(dir string) (space room, known bool) {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return room{}, false
	}
	var free uint64
	if err := windows.GetDiskFreeSpaceEx(name, &free, nil, nil); err != nil {
		return room{}, false
	}
	return room{bytes: free, entries: unlimited}, true
}
