//go:build linux || darwin

package metrics

import "syscall"

// Space is what is free to a user and what there is on the disk of a folder, in bytes.
func Space(folder string) (free, size float64) {
	var s syscall.Statfs_t
	if folder == "" || syscall.Statfs(folder, &s) != nil {
		return unknown, unknown
	}
	return float64(s.Bavail) * float64(s.Bsize), float64(s.Blocks) * float64(s.Bsize)
}
