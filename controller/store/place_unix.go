//go:build unix

package store

import (
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// identity is which file a path names, and when it was last changed.
type identity struct {
	device, inode uint64
	size          int64
	changed       unix.Timespec
}

func identityOf(path string) (identity, error) {
	var s unix.Stat_t
	if err := unix.Stat(path, &s); err != nil {
		return identity{}, err
	}
	return identity{device: uint64(s.Dev), inode: s.Ino, size: s.Size, changed: s.Ctim}, nil
}

func (i identity) sameFile(o identity) bool  { return i.device == o.device && i.inode == o.inode }
func (i identity) unchanged(o identity) bool { return i.size == o.size && i.changed == o.changed }

// HandOver gives what root made in the state folder to whom the folder belongs: a daemon that runs as its own user
// could not write it, and would not start. It does nothing for anybody but root.
func HandOver(dir string) error {
	var folder unix.Stat_t
	if err := unix.Stat(dir, &folder); err != nil || unix.Geteuid() != 0 {
		return err
	}
	return filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(path, int(folder.Uid), int(folder.Gid))
	})
}
