//go:build !linux

package apptest

import "os/exec"

// dieWithParent does nothing where the system has no such thing; Cleanup ends the
// process then.
func dieWithParent(*exec.Cmd) {}
