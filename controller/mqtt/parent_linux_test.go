package mqtt_test

import (
	"os/exec"
	"syscall"
)

// dieWithParent ends a broker whose test was killed and could not clean up.
func dieWithParent(command *exec.Cmd) {
	command.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}
