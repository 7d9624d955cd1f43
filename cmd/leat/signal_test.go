//go:build unix

package main

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

func TestHangUpTakesAFileWholeOrNotAtAll(t *testing.T) {
	path := apptest.Config(t, "mqtt://127.0.0.1:1")
	daemon := running(t, path)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	good := string(text)

	mark := len(daemon.Log())
	apptest.Rewrite(t, path, good, "[[node]]", "[log]\nlevel = \"debug\"\n\n[[node]]", `rate = "6 mL/min"`, `rate = "6"`)
	daemon.Signal(syscall.SIGHUP)
	daemon.AwaitAfter(mark, "configuration refused", "has no unit")
	if strings.Contains(daemon.Log()[mark:], "is in force") {
		t.Error("a part of a refused file was taken")
	}

	mark = len(daemon.Log())
	apptest.Rewrite(t, path, good, "[[node]]", "[log]\nlevel = \"error\"\n\n[[node]]", `dose_cap = "0.2 mL"`, `dose_cap = "0.1 mL"`)
	version := apptest.Load(t, path).Settings.Version
	daemon.Signal(syscall.SIGHUP)
	daemon.AwaitAfter(mark, "configuration", "per dose 0.2 mL → 0.1 mL")
	daemon.AwaitAfter(mark, "configuration "+version+" is in force")
	// The new level of the log counts: the end is no error, and is not said.
	daemon.Signal(terminate)
	if code := daemon.Wait(); code != 0 || strings.Contains(daemon.Log(), "stopped, pumps off") {
		t.Errorf("exit code %d; at level error the end is still logged", code)
	}
}

func TestSystemdHearsReadyWatchdogAndStopping(t *testing.T) {
	path := apptest.Config(t, "mqtt://127.0.0.1:1")
	// A path in the test's folder may be longer than a socket's name can be.
	folder, err := os.MkdirTemp("", "leat")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(folder)
	name := filepath.Join(folder, "notify")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	daemon := leatWith(t, []string{"NOTIFY_SOCKET=" + name}, nil, "run", "-config", path)
	hear := func() string {
		t.Helper()
		buffer := make([]byte, 256)
		if err := socket.SetReadDeadline(time.Now().Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
		n, err := socket.Read(buffer)
		if err != nil {
			t.Fatal(err)
		}
		return string(buffer[:n])
	}
	for _, want := range []string{"READY=1", "WATCHDOG=1", "WATCHDOG=1"} {
		if got := hear(); got != want {
			t.Errorf("heard %q, want %q", got, want)
		}
	}
	daemon.Signal(terminate)
	last := hear()
	for last == "WATCHDOG=1" {
		last = hear()
	}
	if last != "STOPPING=1" {
		t.Errorf("heard %q, want STOPPING=1", last)
	}
	if code := daemon.Wait(); code != 0 {
		t.Errorf("exit code %d", code)
	}
}

func TestStateFolderThatCannotBeWrittenIsRefusedInOneLine(t *testing.T) {
	path := apptest.Config(t, "mqtt://127.0.0.1:1")
	state := apptest.State(path)
	if err := os.Mkdir(state, 0o555); err != nil {
		t.Fatal(err)
	}
	asNobody := func(c *exec.Cmd) {
		if os.Getuid() != 0 {
			return
		}
		// Root may write anywhere, so the daemon runs as somebody else, who may read
		// the configuration and this binary.
		c.SysProcAttr.Credential = &syscall.Credential{Uid: 65534, Gid: 65534}
	}
	if os.Getuid() == 0 {
		reachable(t, path)
		if err := os.Chmod(path, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	refusedInOneLine(t, leatWith(t, nil, asNobody, "run", "-config", path), state, "cannot be written", "none would be given")
	if left, err := os.ReadDir(state); err != nil || len(left) != 0 {
		t.Errorf("left %v, %v", left, err)
	}
}

// reachable lets others walk to a path and to this binary.
func reachable(t *testing.T, path string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{path, self} {
		for dir := filepath.Dir(p); dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) {
			info, err := os.Stat(dir)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(dir, info.Mode()|0o011); err != nil {
				t.Fatal(err)
			}
		}
	}
}
