package store

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFile locks one byte far behind the text, since Windows would keep others
// from reading what is locked.
func lockFile(file *os.File) error {
	place := windows.Overlapped{OffsetHigh: 1}
	err := windows.LockFileEx(windows.Handle(file.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &place)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errHeld
	}
	return err
}

// syncFolder has nothing to do: Windows keeps names durable by itself.
func syncFolder(string) error { return nil }
