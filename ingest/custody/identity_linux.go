package custody

import (
	"io/fs"
	"syscall"
)

func (id *Identity) addSystem(info fs.FileInfo) {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		id.Ctime = st.Ctim.Nano()
		id.Device = st.Dev
		id.Inode = st.Ino
	}
}
