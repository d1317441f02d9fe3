//go:build !sabotage

package faultpoint

// Op is one durable operation that has begun. It carries nothing in a normal build.
type Op struct{}

// Before marks the start of a durable operation.
func Before(string) Op { return Op{} }

// After marks the successful or failed end of the operation.
func (Op) After() {}

// Hit marks a single point, such as a database write, as one durable operation.
func Hit(string) {}

// Reach marks a place that a test may want the program to die at, or to wait at.
func Reach(point, name string) {}

// Off says whether the named protection is switched off: never in a normal build.
func Off(string) bool { return false }
