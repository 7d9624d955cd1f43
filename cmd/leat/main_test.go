package main

import (
	"cmp"
	"flag"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"leat/controller/app/apptest"
)

// asLeat in the environment makes this test binary the program itself, so that a
// test can kill it, signal it and read its exit code.
const asLeat = "LEAT_TEST_AS_LEAT"

// asVersion is the version that a release build would have.
const asVersion = "LEAT_TEST_AS_VERSION"

func TestMain(m *testing.M) {
	if os.Getenv(asLeat) == "1" {
		version = cmp.Or(os.Getenv(asVersion), version)
		os.Exit(dispatch(os.Args[1:], os.Stdout, os.Stderr))
	}
	// Tests of a farm wait for its clock, not for the processor.
	flag.Parse()
	if err := flag.Set("test.parallel", "6"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// leat starts the program.
func leat(t *testing.T, args ...string) *apptest.Process {
	t.Helper()
	return apptest.Start(t, []string{asLeat + "=1"}, args...)
}

// leatWith starts the program with a change to its command, such as another user.
func leatWith(t *testing.T, environment []string, change func(*exec.Cmd), args ...string) *apptest.Process {
	t.Helper()
	return apptest.StartWith(t, append(environment, asLeat+"=1"), change, args...)
}

// running starts leat run and waits until its page is up.
func running(t *testing.T, path string) *apptest.Process {
	t.Helper()
	p := leat(t, "run", "-config", path)
	p.Await(`"started"`)
	return p
}

// page is the address of a daemon's page.
func page(t *testing.T, p *apptest.Process) string {
	t.Helper()
	return apptest.Field(t, p.Await(`"started"`), "page")
}

// arm arms the tub through the local socket, as a person does.
func arm(t *testing.T, path string) {
	t.Helper()
	apptest.Eventually(t, "the daemon is no longer starting, and arms", func() bool {
		p := leat(t, "mode", "-config", path, "-tank", "tub", "arm")
		code := p.Wait()
		if code != 0 && !strings.Contains(p.Log(), "the daemon is starting") {
			t.Fatalf("leat mode arm: exit code %d: %s", code, p.Log())
		}
		return code == 0
	})
}

// terminate asks a program to end, where the system can.
const terminate = syscall.SIGTERM

// stopsCleanly asks the daemon to end and checks that it did as promised.
func stopsCleanly(t *testing.T, p *apptest.Process) {
	t.Helper()
	if runtime.GOOS == "windows" {
		p.Kill() // no other process can be asked to end there
		return
	}
	p.Signal(terminate)
	if code := p.Wait(); code != 0 || !strings.Contains(p.Log(), "stopped, pumps off") {
		t.Errorf("after SIGTERM: exit code %d, log %s", code, p.Log())
	}
}
