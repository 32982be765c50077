package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"time"

	"benchbell/bot/calendar"
	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/engine"
	"benchbell/bot/mattermost"
	"benchbell/bot/serve"
	"benchbell/store"
)

type opener func(context.Context, mattermost.Config, *slog.Logger) (*mattermost.Server, error)

// connect opens the link to the chat server of the configuration, by Open or by
// Await.
func connect(ctx context.Context, t terminal, cfg config.Config, open opener) (*mattermost.Server, error) {
	if cfg.Chat.URL == "" || cfg.Chat.Team == "" || cfg.Chat.Channel == "" {
		return nil, errors.New("the configuration must name the chat server: url, team and channel under [chat]")
	}
	if cfg.Chat.Token == "" {
		return nil, fmt.Errorf("the bot's token is missing: put it in the environment variable %s, or its file in chat.token_file", config.TokenVariable)
	}
	return open(ctx, mattermost.Config{
		URL: cfg.Chat.URL, Token: cfg.Chat.Token, Team: cfg.Chat.Team, Channel: cfg.Chat.Channel, Officers: cfg.Officers,
	}, t.log)
}

func serveCmd(ctx context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, rest, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return fmt.Errorf("serve takes no %q: %w", rest[0], errUsage)
	}
	st, err := openOrCreate(cfg.Data)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	srv, err := connect(ctx, t, cfg, mattermost.Await)
	if err != nil && ctx.Err() != nil {
		return nil // told to stop while it waited
	}
	if err != nil {
		return err
	}
	engine, err := engine.New(st, cfg, srv.Name(), t.log)
	if err != nil {
		return err
	}
	stop, err := serveCalendar(t, cfg, st)
	if err != nil {
		return err
	}
	defer stop()
	return serve.Run(ctx, serve.Station{Store: st, Engine: engine, Config: cfg, Server: srv, Log: t.log})
}

// serveCalendar hands out the calendar of due dates, if the configuration says
// where.
func serveCalendar(t terminal, cfg config.Config, st *store.Store) (stop func(), err error) {
	if cfg.Calendar.Listen == "" {
		return func() {}, nil
	}
	listener, err := net.Listen("tcp", cfg.Calendar.Listen)
	if err != nil {
		return nil, fmt.Errorf("the calendar's address: %w", err)
	}
	server := &http.Server{
		Handler: calendar.Handler(cfg.Calendar.Secret, func() (calendar.Feed, error) {
			feed, err := document.Calendar(st, cfg)
			if err != nil {
				t.log.Error("the calendar cannot be made", "error", err)
			}
			return feed, err
		}),
		ReadHeaderTimeout: 10 * time.Second,
	}
	go func() {
		if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
			t.log.Error("the calendar is not handed out any more", "error", err)
		}
	}()
	t.log.Info("the calendar is handed out", "address", listener.Addr().String())
	return func() { server.Close() }, nil
}

func checkCmd(ctx context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, _, err := configured(flags, args)
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "configuration: %s, time zone %s, %d further methods\n", cfg.Name, cfg.Policy.Zone, len(cfg.Methods))
	address := cfg.Address
	if address == "" {
		address = "without an address: a record asks for one, write it in station.address"
	}
	fmt.Fprintf(t.out, "documents: %s, %s\n", cfg.Paper, address)
	if err := checkStore(t, cfg); err != nil {
		return err
	}
	srv, err := connect(ctx, t, cfg, mattermost.Open)
	if err != nil {
		return err
	}
	wrong := 0
	for _, finding := range srv.Check(ctx) {
		fmt.Fprintln(t.out, finding)
		if !finding.Good {
			wrong++
		}
	}
	if wrong > 0 {
		return fmt.Errorf("%d things are not right", wrong)
	}
	return nil
}

// checkStore looks at the store, and makes none: an empty one in the wrong
// folder would look sound.
func checkStore(t terminal, cfg config.Config) (err error) {
	const fill = "store: put suits and manometers in it by \"benchbell import suits.csv manometers.csv\""
	if _, err := os.Stat(cfg.Data); errors.Is(err, fs.ErrNotExist) {
		_, err = fmt.Fprintf(t.out, "store: there is none at %s yet\n%s\n", cfg.Data, fill)
		return err
	}
	st, err := store.Open(cfg.Data)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	if err := st.Check(); err != nil {
		return err
	}
	total, _, err := st.Count()
	if err != nil {
		return err
	}
	gauges, err := st.Manometers()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "store: %s is sound, %d suits, %d manometers\n", cfg.Data, total, len(gauges))
	if total == 0 || len(gauges) == 0 {
		fmt.Fprintln(t.out, fill)
	}
	return err
}
