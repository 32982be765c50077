// Package live holds the tests that run Benchbell against a real chat server.
//
// A test gets a [Station]: the works fire brigade of Harrow Point, an invented
// chemical harbour, on a chat server of its own, with a team, a crew channel,
// four people who are logged in and the bot's account. The people post, edit,
// tap and await answers the way a phone would, over the server's REST interface
// and websocket; the server and the bot are processes that the test may stop
// or kill and start again.
//
//	func TestSomething(t *testing.T) {
//		station := ground.Open(t)
//		bot := station.NewBot(policy)
//		bot.Start()
//		tester := station.Person("bench.tester")
//		tester.Post(station.Crew, "@benchbell status HP-07")
//		tester.AwaitText("not fit")
//		station.Server.Kill()
//		...
//	}
//
// # What runs
//
// [Prepare] does what all tests share, once: it starts PostgreSQL in a folder
// that is thrown away (as the user postgres when the tests run as root: it
// refuses to run as root), builds the chat server that go.mod names as a tool,
// starts it and makes the team, the channel and the accounts. That database is
// then the template of every station, so that each test begins with the same
// first day, sees nothing of the others, and waits about a second for it.
//
// The server is built into the user's cache folder: about two minutes of two
// processors the first time, at once from then on. It is a program that the
// tests start, in a module of its own, so that nothing of it is linked into
// Benchbell. Everything listens on the loopback interface alone.
//
// # What is needed
//
// Go, and PostgreSQL's initdb, postgres and createdb in
// /usr/lib/postgresql/*/bin or on PATH. A test that cannot run fails and says
// what is missing; none is skipped.
//
// The tests wait more than they work: four at a time take a minute on two
// processors.
//
//	go test -mod=readonly -count=1 -parallel=4 ./...
package live

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/mattermost/mattermost/server/public/model"
)

const (
	patience   = 30 * time.Second // for an answer that needs no clock to run out
	settling   = time.Minute      // for a program to start, or to stop
	retryEvery = 50 * time.Millisecond

	loopback  = "127.0.0.1"
	firstPort = 20000
	lastPort  = 32767
)

// Ground is what the stations of all tests stand on: PostgreSQL, the server's
// program and the database they are copied from.
type Ground struct {
	dir      string
	program  string // the server's
	postgres *postgres
	accounts accounts
	lastPort atomic.Int32
	stations atomic.Int32 // opened so far

	botProgram func() (string, error) // builds it at the first call
}

// Prepare starts PostgreSQL, builds the chat server and sets up the database
// that stations are copied from. It logs what takes long. Close ends it all.
func Prepare(ctx context.Context, log *slog.Logger) (*Ground, error) {
	dir, err := os.MkdirTemp("", "benchbell-live-")
	if err != nil {
		return nil, err
	}
	ground := &Ground{dir: dir}
	ground.botProgram = sync.OnceValues(ground.buildBot)
	ground.lastPort.Store(firstPort + int32(os.Getpid()%5000)) // where two runs at a time seldom meet
	if err := ground.prepare(ctx, log); err != nil {
		ground.Close()
		return nil, err
	}
	return ground, nil
}

func (g *Ground) prepare(ctx context.Context, log *slog.Logger) (err error) {
	port, err := g.freePort()
	if err != nil {
		return err
	}
	if g.postgres, err = startPostgres(ctx, filepath.Join(g.dir, "postgres"), port); err != nil {
		return err
	}
	log.Info("building the chat server: two minutes the first time, at once from then on")
	if g.program, err = buildServer(ctx); err != nil {
		return err
	}
	if err := g.postgres.create(ctx, template, "template0"); err != nil {
		return err
	}
	server, err := g.newServer(filepath.Join(g.dir, "first"), template)
	if err != nil {
		return err
	}
	if err := server.start(ctx); err != nil {
		return err
	}
	defer server.close()
	g.accounts, err = settle(ctx, server.URL)
	return err
}

// Close ends PostgreSQL and removes all that the stations left on disk.
func (g *Ground) Close() error {
	if g.postgres != nil {
		g.postgres.stop()
	}
	return os.RemoveAll(g.dir)
}

// Station is one brigade's chat: a server of its own with its people and the
// account of the bot. Its methods, and those of the people and the bot got from
// it, fail the test when something goes wrong.
type Station struct {
	Server *Server
	Crew   Channel // suit-bench, where the crew and the bot are

	// Patience is how long an Await waits before it fails the test: half a
	// minute, to be raised by a test in which the bot has a clock to run out.
	Patience time.Duration

	t        *testing.T
	ground   *Ground
	people   map[string]*Person
	botToken string
}

// Open starts a station for the test: a copy of the first day, on a server of its
// own that ends with the test. The server's log is printed if the test failed.
func (g *Ground) Open(t *testing.T) *Station {
	t.Helper()
	database := "station" + strconv.Itoa(int(g.stations.Add(1)))
	if err := g.postgres.create(t.Context(), database, template); err != nil {
		t.Fatal(err)
	}
	server, err := g.newServer(t.TempDir(), database)
	if err != nil {
		t.Fatal(err)
	}
	server.t = t
	t.Cleanup(func() {
		server.close()
		if t.Failed() {
			t.Logf("the server's log:\n%s", &server.log)
		}
	})
	if err := server.start(t.Context()); err != nil {
		t.Fatal(err)
	}
	station := &Station{
		Server:   server,
		Crew:     g.accounts.crew,
		Patience: patience,
		t:        t,
		ground:   g,
		people:   make(map[string]*Person),
		botToken: g.accounts.botToken,
	}
	for _, who := range g.accounts.people {
		station.people[who.name] = station.admit(who)
	}
	return station
}

// Person returns one of the station's people by name.
func (s *Station) Person(name string) *Person {
	s.t.Helper()
	person, ok := s.people[name]
	if !ok {
		s.t.Fatalf("nobody at the station is called %q", name)
	}
	return person
}

// WaitUntil returns at a moment of the server's clock, which is this machine's.
// It is for moments at which nothing can be awaited, because what would say
// something is down.
func (s *Station) WaitUntil(moment time.Time) {
	s.t.Helper()
	timer := time.NewTimer(time.Until(moment))
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-s.t.Context().Done():
		s.t.Fatal(context.Cause(s.t.Context()))
	}
}

// RemoveBot takes the bot out of the crew channel.
func (s *Station) RemoveBot() {
	s.t.Helper()
	admin := s.client(s.ground.accounts.admin.token)
	if _, err := admin.RemoveUserFromChannel(s.t.Context(), s.Crew.ID, s.ground.accounts.botID); err != nil {
		s.t.Fatal(err)
	}
}

// InviteBot lets the bot into the crew channel again.
func (s *Station) InviteBot() {
	s.t.Helper()
	admin := s.client(s.ground.accounts.admin.token)
	if _, _, err := admin.AddChannelMember(s.t.Context(), s.Crew.ID, s.ground.accounts.botID); err != nil {
		s.t.Fatal(err)
	}
}

// ArchiveCrew archives the crew channel.
func (s *Station) ArchiveCrew() {
	s.t.Helper()
	admin := s.client(s.ground.accounts.admin.token)
	if _, err := admin.DeleteChannel(s.t.Context(), s.Crew.ID); err != nil {
		s.t.Fatal(err)
	}
}

// RestoreCrew brings the crew channel back.
func (s *Station) RestoreCrew() {
	s.t.Helper()
	admin := s.client(s.ground.accounts.admin.token)
	if _, _, err := admin.RestoreChannel(s.t.Context(), s.Crew.ID); err != nil {
		s.t.Fatal(err)
	}
}

// client returns a connection to the server with somebody's token.
func (s *Station) client(token string) *model.Client4 {
	client := newClient(s.Server.URL)
	client.SetToken(token)
	return client
}

// freePort finds a port that nothing listens on, another one at each call. It
// keeps below the range from which systems take the ports of outgoing
// connections: between two starts of a server another connection could take its
// port, and a client that knocks at a closed port of that range may even be
// connected to itself.
func (g *Ground) freePort() (int, error) {
	for {
		port := int(g.lastPort.Add(1))
		if port > lastPort {
			return 0, fmt.Errorf("no free port up to %d on the loopback interface", lastPort)
		}
		listener, err := net.Listen("tcp", net.JoinHostPort(loopback, strconv.Itoa(port)))
		if err == nil {
			return port, listener.Close()
		}
	}
}
