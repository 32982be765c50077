package live

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
)

// template is the database that stations are copied from.
const template = "firstday"

// postgres is a PostgreSQL server of the tests' own.
type postgres struct {
	bin  string // the folder of its programs
	port int
	as   *syscall.Credential // the user that runs it, nil for our own
	log  logBook
	run  *process
}

// startPostgres makes a database cluster in dir, a folder to be thrown away, and
// starts PostgreSQL on it, for anybody on the loopback interface.
func startPostgres(ctx context.Context, dir string, port int) (*postgres, error) {
	p := &postgres{port: port}
	var err error
	if p.bin, err = findPostgres(); err != nil {
		return nil, err
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		return nil, err
	}
	if os.Geteuid() == 0 {
		if err := p.asUserPostgres(dir); err != nil {
			return nil, err
		}
	}
	data := filepath.Join(dir, "data")
	// The server that copies a database needs one collation for all of them,
	// and its own log in English: what is awaited in it is.
	if err := p.tool(ctx, dir, "initdb", "--pgdata="+data, "--username=postgres",
		"--auth=trust", "--encoding=UTF8", "--locale=C", "--no-sync"); err != nil {
		return nil, err
	}
	cmd := p.command(context.Background(), dir, "postgres", "-D", data, "-p", strconv.Itoa(port),
		"-c", "listen_addresses="+loopback,
		"-c", "unix_socket_directories=",
		"-c", "fsync=off", // only a crash of the machine could tell
		"-c", "max_connections=400")
	if p.run, err = startProcess("PostgreSQL", cmd, &p.log); err != nil {
		return nil, err
	}
	if err := p.run.awaitLog(ctx, "database system is ready to accept connections"); err != nil {
		p.stop()
		return nil, err
	}
	return p, nil
}

// findPostgres returns the folder of PostgreSQL's programs: Debian keeps them off
// PATH, in a folder for each version, of which the newest is taken.
func findPostgres() (string, error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil {
		return "", err
	}
	version := func(initdb string) float64 {
		number, _ := strconv.ParseFloat(filepath.Base(filepath.Dir(filepath.Dir(initdb))), 64)
		return number
	}
	if len(found) > 0 {
		newest := slices.MaxFunc(found, func(a, b string) int { return cmp.Compare(version(a), version(b)) })
		return filepath.Dir(newest), nil
	}
	initdb, err := exec.LookPath("initdb")
	if err != nil {
		return "", errors.New("PostgreSQL's initdb is neither in /usr/lib/postgresql/*/bin nor on PATH: " +
			"install PostgreSQL (on Debian: apt-get install postgresql)")
	}
	initdb, err = filepath.EvalSymlinks(initdb)
	return filepath.Dir(initdb), err
}

// asUserPostgres has PostgreSQL run as the user postgres: it refuses to run as
// root. The folder becomes that user's, and the one above it passable.
func (p *postgres) asUserPostgres(dir string) error {
	account, err := user.Lookup("postgres")
	if err != nil {
		return fmt.Errorf("PostgreSQL does not run as root, and there is no user postgres to run it as: %w", err)
	}
	uid, err := strconv.ParseUint(account.Uid, 10, 32)
	if err != nil {
		return fmt.Errorf("the user postgres: %w", err)
	}
	gid, err := strconv.ParseUint(account.Gid, 10, 32)
	if err != nil {
		return fmt.Errorf("the user postgres: %w", err)
	}
	p.as = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	if err := os.Chown(dir, int(uid), int(gid)); err != nil {
		return err
	}
	return os.Chmod(filepath.Dir(dir), 0o711)
}

// create makes a database as a copy of another, to which nobody may be
// connected.
func (p *postgres) create(ctx context.Context, name, from string) error {
	return p.tool(ctx, "", "createdb", "--host="+loopback, "--port="+strconv.Itoa(p.port),
		"--username=postgres", "--template="+from, name)
}

// source is the address of a database, as the chat server takes it.
func (p *postgres) source(database string) string {
	return fmt.Sprintf("postgres://postgres@%s:%d/%s?sslmode=disable", loopback, p.port, database)
}

func (p *postgres) stop() {
	// SIGQUIT ends all of its processes at once, and is reported as a bad end;
	// the data is thrown away.
	p.run.end(syscall.SIGQUIT)
}

// tool runs one of PostgreSQL's programs to its end.
func (p *postgres) tool(ctx context.Context, dir, name string, args ...string) error {
	cmd := p.command(ctx, dir, name, args...)
	if output, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", cmd, err, output)
	}
	return nil
}

func (p *postgres) command(ctx context.Context, dir, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, filepath.Join(p.bin, name), args...)
	if dir == "" {
		dir = os.TempDir()
	}
	cmd.Dir = dir
	cmd.Env = []string{"PATH=" + os.Getenv("PATH"), "LC_ALL=C", "TZ=UTC"}
	if p.as != nil {
		attributes(cmd).Credential = p.as
	}
	return cmd
}

// attributes returns the place for what the system is to do when it starts cmd.
func attributes(cmd *exec.Cmd) *syscall.SysProcAttr {
	if cmd.SysProcAttr == nil {
		cmd.SysProcAttr = &syscall.SysProcAttr{}
	}
	return cmd.SysProcAttr
}
