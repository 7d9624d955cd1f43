//go:build unix

package desk

import (
	"syscall"
	"time"
)

// processorTime is what this process has used so far: on a shared machine the wall
// clock says little.
func processorTime() time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		return 0
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
