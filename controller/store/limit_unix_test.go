//go:build linux || darwin

package store

import (
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"

	"leat/safety/ledger"
)

// failWrites makes the system refuse to lengthen the log, by the process's own
// limit on the size of files: a real error of write(2), which is not "no space".
func failWrites(t *testing.T, store ledger.Store) (mend func()) {
	info, err := os.Stat(filepath.Join(filepath.Dir(store.(*DB).path), fileName+"-wal"))
	if err != nil {
		t.Fatal(err)
	}
	signal.Ignore(syscall.SIGXFSZ)
	var before syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &before); err != nil {
		t.Fatal(err)
	}
	limited := before
	limited.Cur = uint64(info.Size())
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limited); err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &before); err != nil {
			t.Fatal(err)
		}
		signal.Reset(syscall.SIGXFSZ)
	}
}
