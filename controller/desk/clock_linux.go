package desk

import "golang.org/x/sys/unix"

// clockSynchronised asks the kernel whether a time service holds the clock.
func clockSynchronised() (synchronised, known bool) {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return err == nil && state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0, err == nil
}
