package live

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
)

// Bot is Benchbell on a disk of its own: its program, configuration and data,
// which outlive each run of it.
type Bot struct {
	Token string // of its account on the chat server
	URL   string // of the chat server, as the bot reaches it

	station *Station
	program string
	dir     string
	log     logBook
	run     *process // nil while it is down
}

const (
	botConfig = "benchbell.toml"
	botReady  = "ready" // what the bot logs when it can be spoken to
)

// NewBot builds the program, unless a test before did, and writes its
// configuration for the station. More of the configuration, from [policy] on,
// may be given. The bot is stopped when the test ends, and its log printed if
// the test failed.
func (s *Station) NewBot(more string) *Bot {
	s.t.Helper()
	bot := &Bot{Token: s.botToken, URL: s.Server.URL, station: s, dir: s.t.TempDir()}
	var err error
	if bot.program, err = s.ground.botProgram(); err != nil {
		s.t.Fatal(err)
	}
	bot.Configure(teamName, crewName, more)
	s.t.Cleanup(func() {
		if bot.run != nil {
			bot.end(os.Kill)
		}
		if s.t.Failed() {
			s.t.Logf("the bot's log:\n%s", &bot.log)
		}
	})
	return bot
}

// Configure writes the bot's configuration: the team and the channel it is to
// serve, and more of it from [policy] on.
func (b *Bot) Configure(team, channel, more string) {
	b.station.t.Helper()
	b.Write(botConfig, fmt.Sprintf(`[station]
name = "Harrow Point"
zone = "Europe/London"
data = "benchbell.db"

[chat]
url = %q
team = %q
channel = %q

%s`, b.URL, team, channel, more))
}

// buildBot builds Benchbell from the module around this one and returns its
// program.
func (g *Ground) buildBot() (string, error) {
	program := filepath.Join(g.dir, "benchbell")
	root := filepath.Join("..", "..")
	_, err := goCommand(context.Background(), root, "build", "-mod=readonly", "-buildvcs=false", "-o", program, "./bot/benchbell")
	return program, err
}

// Write writes a file beside the bot's configuration and returns its name.
func (b *Bot) Write(name, content string) string {
	b.station.t.Helper()
	if err := os.WriteFile(filepath.Join(b.dir, name), []byte(content), 0o600); err != nil {
		b.station.t.Fatal(err)
	}
	return name
}

// Run runs a subcommand of the program to its end and returns what it printed:
// Run("import", "suits.csv").
func (b *Bot) Run(subcommand string, args ...string) string {
	b.station.t.Helper()
	output, err := b.command(b.station.t.Context(), subcommand, args...).CombinedOutput()
	if err != nil {
		b.station.t.Fatalf("benchbell %s %s: %v\n%s", subcommand, strings.Join(args, " "), err, output)
	}
	return string(output)
}

// Refused runs a subcommand of the program that must not succeed, and returns
// what it printed.
func (b *Bot) Refused(subcommand string, args ...string) string {
	b.station.t.Helper()
	ctx, cancel := context.WithTimeout(b.station.t.Context(), settling)
	defer cancel()
	output, err := b.command(ctx, subcommand, args...).CombinedOutput()
	if ctx.Err() != nil {
		b.station.t.Fatalf("benchbell %s did not end within %v:\n%s", subcommand, settling, output)
	}
	var exit *exec.ExitError
	if !errors.As(err, &exit) {
		b.station.t.Fatalf("benchbell %s ended with %v, want it to refuse:\n%s", subcommand, err, output)
	}
	return string(output)
}

// Start starts the bot, and returns when it is ready.
func (b *Bot) Start() {
	b.station.t.Helper()
	b.Launch()
	if err := b.run.awaitLog(b.station.t.Context(), botReady); err != nil {
		b.station.t.Fatal(err)
	}
}

// Launch starts the bot without waiting until it is ready, for one that cannot
// be while the server is down.
func (b *Bot) Launch() {
	b.station.t.Helper()
	if b.run != nil {
		b.station.t.Fatal("the bot runs already")
	}
	run, err := startProcess("the bot", b.command(context.Background(), "serve"), &b.log)
	if err != nil {
		b.station.t.Fatal(err)
	}
	b.run = run
}

// AwaitLog waits until the bot that runs has logged the words.
func (b *Bot) AwaitLog(words string) {
	b.station.t.Helper()
	if err := b.run.awaitLog(b.station.t.Context(), words); err != nil {
		b.station.t.Fatal(err)
	}
}

// Stop ends the bot the way its keeper would, and fails the test if it does not
// end well.
func (b *Bot) Stop() {
	b.station.t.Helper()
	if err := b.end(syscall.SIGTERM); err != nil {
		b.station.t.Fatal(err)
	}
}

// Kill ends the bot as a power cut would.
func (b *Bot) Kill() {
	b.station.t.Helper()
	if err := b.end(os.Kill); err != nil {
		b.station.t.Fatal(err)
	}
}

// Log returns what the bot has logged in all of its runs.
func (b *Bot) Log() string { return b.log.String() }

func (b *Bot) end(signal os.Signal) error {
	if b.run == nil {
		return errors.New("the bot is down already")
	}
	run := b.run
	b.run = nil
	return run.end(signal)
}

func (b *Bot) command(ctx context.Context, subcommand string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, b.program, append([]string{subcommand, "--config", botConfig}, args...)...)
	cmd.Dir = b.dir
	cmd.Env = append(os.Environ(), "BENCHBELL_TOKEN="+b.Token)
	return cmd
}
