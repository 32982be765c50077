package live

import (
	"os/exec"
	"syscall"
)

// endWithTests has the system kill the process when the tests die without
// cleaning up, as they do when they run out of time.
func endWithTests(cmd *exec.Cmd) {
	attributes(cmd).Pdeathsig = syscall.SIGKILL
}
