package custody

import (
	"io/fs"
	"syscall"
)

func (id *Identity) addSystem(info fs.FileInfo) {
	if data, ok := info.Sys().(*syscall.Win32FileAttributeData); ok {
		id.Ctime = data.CreationTime.Nanoseconds()
	}
}
