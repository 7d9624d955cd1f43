//go:build unix

package store

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// A person restores as root; the daemon is a user of its own.
func TestWhatRootPutsBackBelongsToTheDaemonsUser(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root can give a file away")
	}
	copyFile, want := backupOf(t, 3)
	d := newDisk(t)
	appendRows(t, d.open(t), 5)
	d.close(t)
	const daemon = 4711
	if err := os.Chown(d.dir, daemon, daemon); err != nil {
		t.Fatal(err)
	}
	want.Path = copyFile
	if _, err := Restore(d.dir, want, "ada", "a test"); err != nil {
		t.Fatal(err)
	}
	if err := HandOver(d.dir); err != nil {
		t.Fatal(err)
	}
	files := 0
	err := filepath.WalkDir(d.dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err == nil && info.Sys().(*syscall.Stat_t).Uid != daemon {
			t.Errorf("%s belongs to user %d", path, info.Sys().(*syscall.Stat_t).Uid)
		}
		files++
		return err
	})
	if err != nil || files < 5 {
		t.Errorf("%d files, %v", files, err)
	}
}
