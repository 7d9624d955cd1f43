//go:build !linux

package store

// kernelsOwn names the file system of dir where that keeps nothing; only Linux has
// such.
func kernelsOwn(string) string { return "" }
