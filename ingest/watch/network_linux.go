package watch

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// silentFileSystems do not tell of changes that another computer, or the server
// of the file system, makes. Numbers as in statfs(2) and the kernel's magic.h.
var silentFileSystems = map[uint32]string{
	0x6969:     "NFS",
	0x517b:     "SMB",
	0xff534d42: "CIFS",
	0xfe534d42: "SMB",
	0x65735546: "FUSE",
	0x01021997: "9P",
	0x00c36400: "Ceph",
	0x73757245: "Coda",
	0x5346414f: "AFS",
	0x6b414653: "AFS",
}

// silent says why the file system of the folder gives no sign of changes; empty
// when it does, as far as is known.
func silent(path string) string {
	var st unix.Statfs_t
	if err := unix.Statfs(path, &st); err != nil {
		return ""
	}
	if name, ok := silentFileSystems[uint32(st.Type)]; ok {
		return fmt.Sprintf("the %s file system does not tell of changes made elsewhere", name)
	}
	return ""
}
