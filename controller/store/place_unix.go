//go:build unix

package store

import "golang.org/x/sys/unix"

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
