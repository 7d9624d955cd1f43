//go:build !linux

package app

// notify does nothing where there is no systemd.
func notify(string) {}
