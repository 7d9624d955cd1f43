//go:build !linux

package app

// supervise does nothing where there is no systemd.
func supervise(string) {}
