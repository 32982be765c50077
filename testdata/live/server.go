package live

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/mattermost/mattermost/server/public/model"
)

const (
	serverModule  = "github.com/mattermost/mattermost/server/v8"
	serverPackage = serverModule + "/cmd/mattermost"
)

// Server is a chat server: a process that may be stopped, killed and started
// again, at the same address and on the same database.
type Server struct {
	URL string // http://127.0.0.1:20001

	t       *testing.T // nil for the one that makes the template
	program string
	dir     string // its working folder
	env     []string
	log     logBook
	run     *process // nil while it is down
}

// buildServer builds the chat server of go.mod and returns its program. It is
// kept in the user's cache folder; go build sees whether it is up to date.
func buildServer(ctx context.Context) (string, error) {
	version, err := goCommand(ctx, ".", "list", "-m", "-mod=readonly", "-f={{.Version}}", serverModule)
	if err != nil {
		return "", err
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("the chat server's program has no place to be kept: %w", err)
	}
	program := filepath.Join(cache, "benchbell-live", version, "mattermost")
	// The server finds its translations by the paths of its source, which
	// -trimpath would take out.
	_, err = goCommand(ctx, ".", "build", "-mod=readonly", "-trimpath=false", "-buildvcs=false",
		"-o", program, serverPackage)
	return program, err
}

// newServer sets up a server that works in dir, an empty folder, on a database
// that is there. It is not started yet.
func (g *Ground) newServer(dir, database string) (*Server, error) {
	// The server looks for its own folders in the working folder and four
	// above it, and must not come upon ours.
	work := filepath.Join(dir, "server", "a", "b", "c", "d", "e")
	if err := os.MkdirAll(work, 0o700); err != nil {
		return nil, err
	}
	port, err := g.freePort()
	if err != nil {
		return nil, err
	}
	address := net.JoinHostPort(loopback, strconv.Itoa(port))
	return &Server{
		URL:     "http://" + address,
		program: g.program,
		dir:     work,
		env:     serverEnvironment(dir, address, g.postgres.source(database)),
	}, nil
}

// serverEnvironment is the configuration of a server that keeps to itself: it
// connects to its database and to nothing else, and logs errors only.
func serverEnvironment(dir, address, source string) []string {
	return []string{
		"PATH=" + os.Getenv("PATH"),
		"HOME=" + dir,
		"TMPDIR=" + os.TempDir(),
		"MM_CONFIG=" + filepath.Join(dir, "config.json"),
		"MM_SQLSETTINGS_DRIVERNAME=postgres",
		"MM_SQLSETTINGS_DATASOURCE=" + source,
		"MM_SERVICESETTINGS_SITEURL=http://" + address,
		"MM_SERVICESETTINGS_LISTENADDRESS=" + address,
		"MM_SERVICESETTINGS_ENABLELOCALMODE=false",
		"MM_SERVICESETTINGS_ENABLEBOTACCOUNTCREATION=true",
		"MM_SERVICESETTINGS_ENABLEUSERACCESSTOKENS=true",
		"MM_SERVICESETTINGS_ENABLESECURITYFIXALERT=false",
		"MM_SERVICESETTINGS_ENABLELINKPREVIEWS=false",
		"MM_FILESETTINGS_DIRECTORY=" + filepath.Join(dir, "data") + "/",
		"MM_PLUGINSETTINGS_ENABLE=false",
		"MM_PLUGINSETTINGS_ENABLEMARKETPLACE=false",
		"MM_PLUGINSETTINGS_ENABLEREMOTEMARKETPLACE=false",
		"MM_PLUGINSETTINGS_AUTOMATICPREPACKAGEDPLUGINS=false",
		"MM_LOGSETTINGS_ENABLEDIAGNOSTICS=false",
		"MM_LOGSETTINGS_ENABLESENTRY=false",
		"MM_LOGSETTINGS_ENABLEFILE=false",
		"MM_LOGSETTINGS_CONSOLELEVEL=ERROR",
		"MM_NOTIFICATIONLOGSETTINGS_ENABLEFILE=false",
		"MM_NOTIFICATIONLOGSETTINGS_ENABLECONSOLE=false",
		"MM_ANNOUNCEMENTSETTINGS_ADMINNOTICESENABLED=false",
		"MM_ANNOUNCEMENTSETTINGS_USERNOTICESENABLED=false",
		"MM_EMAILSETTINGS_SENDPUSHNOTIFICATIONS=false",
		"MM_EMAILSETTINGS_SENDEMAILNOTIFICATIONS=false",
		"MM_EMAILSETTINGS_ENABLESIGNUPWITHEMAIL=true",
		"MM_EMAILSETTINGS_REQUIREEMAILVERIFICATION=false",
		"MM_EMAILSETTINGS_SMTPSERVER=127.0.0.1",
		"MM_EMAILSETTINGS_SMTPPORT=1",
		"MM_TEAMSETTINGS_ENABLEOPENSERVER=true",
		"MM_JOBSETTINGS_RUNJOBS=false",
		"MM_JOBSETTINGS_RUNSCHEDULER=false",
		"MM_RATELIMITSETTINGS_ENABLE=false",
	}
}

// Start starts the server again after Stop or Kill, and returns when it answers.
func (s *Server) Start() {
	s.t.Helper()
	if err := s.start(s.t.Context()); err != nil {
		s.t.Fatal(err)
	}
}

// Stop ends the server the way its keeper would, and returns when it has ended.
func (s *Server) Stop() {
	s.t.Helper()
	if err := s.end(syscall.SIGTERM); err != nil {
		s.t.Fatal(err)
	}
}

// Kill ends the server as a power cut would.
func (s *Server) Kill() {
	s.t.Helper()
	if err := s.end(os.Kill); err != nil {
		s.t.Fatal(err)
	}
}

func (s *Server) start(ctx context.Context) error {
	if s.run != nil {
		return errors.New("the server runs already")
	}
	cmd := exec.Command(s.program)
	cmd.Dir, cmd.Env = s.dir, s.env
	run, err := startProcess("the chat server", cmd, &s.log)
	if err != nil {
		return err
	}
	s.run = run
	return s.awaitAnswer(ctx)
}

func (s *Server) awaitAnswer(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, settling)
	defer cancel()
	client := newClient(s.URL)
	retry := time.NewTicker(retryEvery)
	defer retry.Stop()
	for {
		_, _, err := client.GetPing(ctx)
		if err == nil {
			return nil
		}
		select {
		case <-retry.C:
		case <-s.run.ended:
			return s.run.endedEarly()
		case <-ctx.Done():
			return fmt.Errorf("the chat server does not answer at %s: %w; its log:\n%s", s.URL, err, &s.log)
		}
	}
}

func (s *Server) end(signal os.Signal) error {
	if s.run == nil {
		return errors.New("the server is down already")
	}
	run := s.run
	s.run = nil
	return run.end(signal)
}

// close ends the server if it runs.
func (s *Server) close() {
	if s.run != nil {
		s.end(os.Kill)
	}
}

// newClient returns a connection to the server at a URL, not logged in.
func newClient(url string) *model.Client4 {
	client := model.NewAPIv4Client(url)
	client.HTTPClient = &http.Client{Timeout: 15 * time.Second}
	return client
}

// goCommand runs the go command in dir and returns what it printed, trimmed.
func goCommand(ctx context.Context, dir string, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Dir = dir
	output, err := cmd.Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			return "", fmt.Errorf("%s: %w\n%s", cmd, err, exit.Stderr)
		}
		return "", fmt.Errorf("%s: %w", cmd, err)
	}
	return strings.TrimSpace(string(output)), nil
}
