package custody

import "golang.org/x/sys/unix"

// freeSpace gives the bytes and file entries available to this user on the
// volume of dir.
func freeSpace(dir string) (space room, known bool) {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return room{}, false
	}
	space = room{bytes: st.Bavail * uint64(st.Bsize), entries: st.Ffree}
	if st.Files == 0 { // a file system that makes entries as needed
		space.entries = unlimited
	}
	return space, true
}
