//go:build !linux && !windows

package custody

// freeSpace is not known here; a full volume shows when it is written to.
func freeSpace(string) (space room, known bool) { return room{}, false }
