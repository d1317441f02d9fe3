package custody

import (
	"io/fs"
	"time"
)

// Identity is what the file system says of a file without its bytes being read.
// It decides only whether to look again: two equal identities do not prove equal
// bytes. Values compare with ==.
type Identity struct {
	Size   int64  // bytes
	Mtime  int64  // source's modification time, nanoseconds since 1970 UTC
	Ctime  int64  // change of bytes or attributes, same scale; creation time where the system has no change time; else 0
	Device uint64 // 0 where the system does not tell
	Inode  uint64 // 0 where the system does not tell
}

// IdentityOf reads the identity from a stat of the file.
func IdentityOf(info fs.FileInfo) Identity {
	id := Identity{Size: info.Size(), Mtime: info.ModTime().UnixNano()}
	id.addSystem(info)
	return id
}

// ModTime gives the source's modification time in UTC. It is a fact about the
// source, whose clock may be wrong; nothing is decided by comparing it with now.
func (id Identity) ModTime() time.Time { return time.Unix(0, id.Mtime).UTC() }

// SameTimes says whether size and modification time agree, which is all that is
// known of a file after a restart.
func (id Identity) SameTimes(other Identity) bool {
	return id.Size == other.Size && id.Mtime == other.Mtime
}
