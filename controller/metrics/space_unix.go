//go:build linux || darwin

package metrics

import (
	"syscall"
	"time"
)

// Space is what is free to a user and what there is on the disk of a folder, in bytes.
func Space(folder string) (free, size float64) {
	var s syscall.Statfs_t
	if folder == "" || syscall.Statfs(folder, &s) != nil {
		return unknown, unknown
	}
	return float64(s.Bavail) * float64(s.Bsize), float64(s.Blocks) * float64(s.Bsize)
}

// processorTime is what this process has had of all processors.
func processorTime() (time.Duration, bool) {
	var used syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &used) != nil {
		return 0, false
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano()), true
}
