package store

import "golang.org/x/sys/unix"

// kernelsOwn names the file system of dir where that keeps nothing.
func kernelsOwn(dir string) string {
	var of unix.Statfs_t
	if err := unix.Statfs(dir, &of); err != nil {
		return ""
	}
	switch int64(of.Type) {
	case unix.PROC_SUPER_MAGIC:
		return "proc"
	case unix.SYSFS_MAGIC:
		return "sysfs"
	case unix.CGROUP_SUPER_MAGIC, unix.CGROUP2_SUPER_MAGIC:
		return "cgroup"
	case unix.DEVPTS_SUPER_MAGIC:
		return "devpts"
	case unix.DEBUGFS_MAGIC, unix.TRACEFS_MAGIC, unix.SECURITYFS_MAGIC:
		return "debugfs"
	}
	return ""
}
