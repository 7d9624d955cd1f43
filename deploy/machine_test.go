package deploy_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A machine is a Debian of its own in a namespace: its own processes, network, users' folders and a real systemd
// as process 1. Its disk is this machine's, or the root in LEAT_ROOT that debootstrap made; what it writes is gone with it.
type machine struct {
	t   *testing.T
	pid string // of its systemd, as seen from here
}

// boot makes a root that is written over in memory, gives it what systemd wants, and becomes systemd in it.
const boot = `set -e
lower=$1 work=$2
mount --make-rprivate /
mount -t tmpfs tmpfs $work
mkdir $work/upper $work/work $work/root
mount -t overlay overlay -o lowerdir=$lower,upperdir=$work/upper,workdir=$work/work $work/root
root=$work/root
mount -t proc proc $root/proc
mount -t sysfs -o ro sysfs $root/sys
for at in run tmp dev sys/fs/cgroup; do mount -t tmpfs tmpfs $root/$at; done
mkdir $root/sys/fs/cgroup/unified $root/sys/fs/cgroup/systemd
mount -t cgroup -o none,name=systemd,xattr cgroup $root/sys/fs/cgroup/systemd
mount -t cgroup2 cgroup2 $root/sys/fs/cgroup/unified
for d in null zero full random urandom tty; do touch $root/dev/$d; mount --bind /dev/$d $root/dev/$d; done
ln -s null $root/dev/console; ln -s pts/ptmx $root/dev/ptmx; ln -s /proc/self/fd $root/dev/fd
mkdir $root/dev/shm $root/dev/pts
mount -t devpts devpts $root/dev/pts
# What is enabled on the machine below is not the newcomer's, nor are its thousand manual pages.
rm -rf $root/etc/systemd/system/*.wants
rm -f $root/etc/apt/apt.conf.d/20packagekit $root/var/lib/man-db/auto-update
# Nobody is signed in: apt would wait half a minute for who may shut the machine down.
ln -sf /dev/null $root/etc/systemd/system/dbus.socket; ln -sf /dev/null $root/etc/systemd/system/dbus.service
printf '[Unit]\nRequires=basic.target\nAfter=basic.target\n' >$root/etc/systemd/system/bare.target
mkdir $root/run/old
cd $root
pivot_root . run/old
umount -l /run/old
mount --make-rshared /
exec env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin container=lxc /lib/systemd/systemd --unit=bare.target
`

func newMachine(t *testing.T) *machine {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("only root can make a machine in a namespace")
	}
	unshare := program(t, "unshare", "util-linux")
	program(t, "nsenter", "util-linux")
	if _, err := os.Stat("/lib/systemd/systemd"); err != nil {
		program(t, "systemd", "systemd")
	}
	lower := os.Getenv("LEAT_ROOT")
	if lower == "" {
		lower = "/"
	}
	var said bytes.Buffer
	command := exec.Command(unshare, "-mpfiuCn", "--kill-child", "bash", "-c", boot, "boot", lower, t.TempDir())
	command.Stdout, command.Stderr = &said, &said
	command.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	m := &machine{t: t}
	t.Cleanup(func() {
		_ = command.Process.Kill() // and with it, by --kill-child, its systemd and all that runs below
		_ = command.Wait()
	})
	within(t, time.Minute, "the machine is up", func() bool {
		children, _ := os.ReadFile(fmt.Sprintf("/proc/%d/task/%d/children", command.Process.Pid, command.Process.Pid))
		if m.pid = strings.TrimSpace(string(children)); m.pid == "" {
			return false
		}
		_, err := m.try("systemctl is-active bare.target")
		return err == nil
	})
	return m
}

// within waits for something outside this program.
func within(t *testing.T, most time.Duration, what string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(most); !holds(); time.Sleep(100 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within %s: %s", most, what)
		}
	}
}

// in is a command in the machine, in root's shell.
func (m *machine) in(script string) *exec.Cmd {
	command := exec.Command("nsenter", "-t", m.pid, "-m", "-u", "-i", "-n", "-p", "-C", "-r", "-w", "/bin/sh", "-ec", script)
	command.Env = []string{"PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", "HOME=/root", "LANG=C.UTF-8", "DEBIAN_FRONTEND=noninteractive"}
	return command
}

func (m *machine) try(script string) (string, error) {
	out, err := m.in(script).CombinedOutput()
	return string(out), err
}

// do runs a script that must succeed.
func (m *machine) do(script string) string {
	m.t.Helper()
	out, err := m.try(script)
	if err != nil {
		journal, _ := m.try("journalctl --no-pager -o cat -n 20")
		m.t.Fatalf("%s\n%v\n%s\njournal:\n%s", script, err, out, journal)
	}
	return out
}

// bring puts a file into the machine.
func (m *machine) bring(from, to string) {
	m.t.Helper()
	body, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(filepath.Join("/proc", m.pid, "root", to), body, 0o644)
	}
	if err != nil {
		m.t.Fatal(err)
	}
}
