package store

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// errHeld is what the system's lock says when another process has it.
var errHeld = errors.New("held by another process")

// Lock makes this process the only leat on the state folder, until release is
// called or the process ends, however it ends. The folder is made if need be.
func Lock(dir string) (release func(), err error) {
	if err := makeFolder(dir); err != nil {
		return nil, err
	}
	file, err := os.OpenFile(filepath.Join(dir, lockName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("state folder %s cannot be written: %w; doses cannot be recorded there, so none would be given", dir, err)
	}
	if err := lockFile(file); err != nil {
		holder := holderOf(file)
		_ = file.Close()
		if errors.Is(err, errHeld) {
			return nil, fmt.Errorf("another leat runs on this state folder (%s): %s; stop it, or give this one a folder of its own", holder, dir)
		}
		return nil, fmt.Errorf("state folder %s cannot be locked: %w; keep it on a local disk", dir, err)
	}
	// The number is for people only; the lock itself is the system's.
	if err := errors.Join(file.Truncate(0), writeHolder(file)); err != nil {
		_ = file.Close()
		return nil, fmt.Errorf("state folder %s cannot be written: %w", dir, err)
	}
	released := false
	return func() {
		if !released {
			released = true
			_ = file.Close() // ends the lock; the file stays, since removing it would race with the next owner
		}
	}, nil
}

func writeHolder(file *os.File) error {
	_, err := file.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

func holderOf(file *os.File) string {
	text, err := io.ReadAll(io.LimitReader(file, 32))
	pid, parseErr := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil || parseErr != nil {
		return "pid unknown"
	}
	return fmt.Sprintf("pid %d", pid)
}
