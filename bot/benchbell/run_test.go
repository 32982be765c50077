package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"benchbell/bot/config"
)

// asProgram in the environment makes the test binary be benchbell itself.
const asProgram = "BENCHBELL_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

// A station is a folder with a station's files in it, which is where the
// program runs.
type station struct {
	t   *testing.T
	dir string
}

func newStation(t *testing.T) *station {
	t.Helper()
	s := &station{t, t.TempDir()}
	t.Chdir(s.dir)
	t.Setenv(config.TokenVariable, "")
	t.Setenv("TMPDIR", t.TempDir())
	return s
}

// newConfigured is a station with a configuration of nothing but its name.
func newConfigured(t *testing.T) *station {
	t.Helper()
	s := newStation(t)
	s.file("benchbell.toml", "[station]\nname = \"Harrow Point\"\n")
	return s
}

// file writes a file and returns its path.
func (s *station) file(name, text string) string {
	s.t.Helper()
	path := filepath.Join(s.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		s.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		s.t.Fatal(err)
	}
	return path
}

func (s *station) has(name string) bool {
	_, err := os.Stat(filepath.Join(s.dir, name))
	return err == nil
}

// runs carries out a command line and returns what it prints.
func (s *station) runs(args ...string) (out string, err error) { return s.reads("", args...) }

// reads does the same with something to read from the standard input.
func (s *station) reads(in string, args ...string) (out string, err error) {
	var stdout bytes.Buffer
	err = run(s.t.Context(), args, strings.NewReader(in), &stdout, s.t.Output())
	return stdout.String(), err
}

func (s *station) mustRun(args ...string) string {
	s.t.Helper()
	out, err := s.runs(args...)
	if err != nil {
		s.t.Fatalf("benchbell %s: %v", strings.Join(args, " "), err)
	}
	return out
}

// mustFail checks that a command line ends with an error that says all of want.
func (s *station) mustFail(args []string, want ...string) {
	s.t.Helper()
	out, err := s.runs(args...)
	if err == nil {
		s.t.Errorf("benchbell %s ends well and prints %q", strings.Join(args, " "), out)
		return
	}
	for _, w := range want {
		if !strings.Contains(err.Error(), w) {
			s.t.Errorf("benchbell %s: the error is %q, without %q", strings.Join(args, " "), err, w)
		}
	}
}

func mustHave(t *testing.T, text string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("printed is\n%s\nwithout %q", text, w)
		}
	}
}

// demoFolder is found before a test changes the folder.
var demoFolder, _ = filepath.Abs("../../testdata/demo")

// demo is a file of the invented station Harrow Point.
func demo(name string) string { return filepath.Join(demoFolder, name) }

func TestHelp(t *testing.T) {
	s := newStation(t)
	for _, args := range [][]string{nil, {"help"}, {"-h"}, {"--help"}} {
		out := s.mustRun(args...)
		for _, c := range subcommands {
			mustHave(t, out, "benchbell "+c.shape, c.means)
		}
	}
	for _, c := range subcommands {
		for _, flag := range []string{"-h", "--help"} {
			if out, want := s.mustRun(c.name, flag), "benchbell "+c.shape+"\n    "+c.means+"\n"; out != want {
				t.Errorf("help of %s is %q, want %q", c.name, out, want)
			}
		}
	}
	if s.has("benchbell.db") {
		t.Error("asking for help makes a store")
	}
}

// TestUsage: what is wrong with a command line is told apart from what is wrong
// with the world.
func TestUsage(t *testing.T) {
	s := newStation(t)
	for _, test := range []struct {
		args []string
		want string
	}{
		{[]string{"rehaerse"}, `"rehaerse" is no subcommand`},
		{[]string{"--speed", "60"}, `"--speed" is no subcommand`},
		{[]string{"rehearse", "a.txt", "b.txt"}, "rehearse plays one script"},
		{[]string{"rehearse", "--fast"}, "rehearse: flag provided but not defined: -fast"},
		{[]string{"rehearse", "--speed", "fast"}, "rehearse: invalid value \"fast\""},
		{[]string{"serve", "now"}, `serve takes no "now"`},
		{[]string{"import"}, "import needs a CSV file"},
		{[]string{"export"}, "export needs the one folder"},
		{[]string{"export", "a", "b"}, "export needs the one folder"},
		{[]string{"backup"}, "backup needs the one file"},
		{[]string{"backup", "a", "b"}, "backup needs the one file"},
		{[]string{"check", "now"}, `check takes no "now"`},
		{[]string{"undelivered", "7"}, `undelivered takes no "7"`},
		{[]string{"verify", "--config"}, "flag needs an argument"},
	} {
		_, err := s.runs(test.args...)
		if !errors.Is(err, errUsage) || !strings.Contains(err.Error(), test.want) || !strings.Contains(err.Error(), `see "benchbell help"`) {
			t.Errorf("benchbell %s: %v, want an error about its use with %q", strings.Join(test.args, " "), err, test.want)
		}
	}
	if _, err := s.runs("verify"); err == nil || errors.Is(err, errUsage) {
		t.Errorf("a store that is not there is an error about the use: %v", err)
	}
}

// TestExitCodes runs the program itself.
func TestExitCodes(t *testing.T) {
	newStation(t)
	for _, test := range []struct {
		args   []string
		code   int
		stderr string
	}{
		{[]string{"help"}, 0, ""},
		{[]string{"verify"}, 1, "benchbell: there is no store and no benchbell.toml in "},
		{[]string{"nothing"}, 2, "benchbell: \"nothing\" is no subcommand"},
	} {
		cmd := exec.Command(os.Args[0], test.args...)
		cmd.Env = append(os.Environ(), asProgram+"=yes")
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		if err := cmd.Run(); err != nil && cmd.ProcessState == nil {
			t.Fatal(err)
		}
		if code := cmd.ProcessState.ExitCode(); code != test.code || !strings.HasPrefix(stderr.String(), test.stderr) {
			t.Errorf("benchbell %s ends with code %d and says %q, want %d and %q", test.args, code, stderr.String(), test.code, test.stderr)
		}
	}
}

// TestServeStops: a bot that is told to stop while it waits for the chat server
// ends well.
func TestServeStops(t *testing.T) {
	s := newStation(t)
	// Port 1 of this machine: nothing answers there.
	s.file("benchbell.toml", "[chat]\nurl = \"http://127.0.0.1:1\"\nteam = \"harrow-point\"\nchannel = \"suit-bench\"\n")
	cmd := exec.Command(os.Args[0], "serve")
	cmd.Env = append(os.Environ(), asProgram+"=yes", config.TokenVariable+"=x")
	stderr, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(stderr)
	for lines.Scan() {
		t.Log(lines.Text())
		if strings.Contains(lines.Text(), "waiting for the chat server") {
			if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
				t.Error(err)
			}
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("it ended with %v", err)
	}
}

func TestServeNeeds(t *testing.T) {
	s := newStation(t)
	s.mustFail([]string{"serve"}, "url, team and channel under [chat]")
	s.file("benchbell.toml", "[chat]\nurl = \"http://127.0.0.1:1\"\nteam = \"harrow-point\"\nchannel = \"suit-bench\"\n")
	s.mustFail([]string{"serve"}, "token is missing", config.TokenVariable, "chat.token_file")
	t.Setenv(config.TokenVariable, "x")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := run(ctx, []string{"serve"}, strings.NewReader(""), t.Output(), t.Output()); err != nil {
		t.Errorf("told to stop before it began, it ended with %v", err)
	}
}
