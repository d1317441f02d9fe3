// Package testmode holds the one switch that makes a private server give up
// durability for speed. It is internal to sql/server, so the daemon and its
// configuration cannot even name it: code outside can only pass the zero value.
package testmode

// Mode says whether a server may lose data in a crash. The zero value is durable.
type Mode struct{ volatile bool }

// Volatile is the mode for throw-away clusters of tests: nothing is synced.
func Volatile() Mode { return Mode{volatile: true} }

// IsVolatile reports whether durability is off.
func (m Mode) IsVolatile() bool { return m.volatile }
