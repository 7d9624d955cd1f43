package apptest

import (
	"os/exec"
	"syscall"
)

// dieWithParent ends a process with the test, however the test ends.
func dieWithParent(c *exec.Cmd) {
	if c.SysProcAttr == nil {
		c.SysProcAttr = &syscall.SysProcAttr{}
	}
	c.SysProcAttr.Pdeathsig = syscall.SIGKILL
}
