//go:build !linux

package desk

// clockSynchronised is not known on this system.
func clockSynchronised() (synchronised, known bool) { return false, false }
