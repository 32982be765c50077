package rehearsal

import (
	"os"
	"os/exec"
	"testing"
)

// installed returns the path of a program that a test needs, and that is in a
// package of Debian's. Where it is not installed the test is skipped, except
// where everything must be tested.
func installed(t *testing.T, program, in string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	switch {
	case err == nil:
		return path
	case os.Getenv("CI") == "true":
		t.Fatalf("%s is not installed: on Debian it is in %s", program, in)
	default:
		t.Skipf("%s is not installed: on Debian it is in %s", program, in)
	}
	return ""
}

// notInShort skips a test that takes long and does one thing after another: the
// race detector, under which it would take minutes, has nothing to see there.
func notInShort(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("left out by -short")
	}
}
