package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
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
	// First, so that nothing is made or touched by a bot that cannot start.
	srv, err := connect(ctx, t, cfg.Config, mattermost.Await)
	if err != nil && ctx.Err() != nil {
		return nil // told to stop while it waited
	}
	if err != nil {
		return err
	}
	st, err := openSound(t, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	engine, err := engine.New(st, cfg.Config, srv.Name(), t.log)
	if err != nil {
		return err
	}
	stop, err := serveCalendar(t, cfg.Config, st)
	if err != nil {
		return err
	}
	defer stop()
	return serve.Run(ctx, serve.Station{Store: st, Engine: engine, Config: cfg.Config, Server: srv, Log: t.log})
}

// openSound opens the store that is served, or makes one, and examines it: the
// bot must not work on a damaged one.
func openSound(t terminal, cfg setup) (*store.Store, error) {
	st, made, err := cfg.openOrCreate()
	if err != nil {
		return nil, err
	}
	if made != "" {
		t.log.Info("made a new store", "path", made)
	}
	if err := st.Check(); err != nil {
		return nil, errors.Join(damaged(cfg.Data, err), st.Close())
	}
	last, _, err := st.Head()
	if err != nil {
		return nil, errors.Join(err, st.Close())
	}
	t.log.Info("starting", "version", version(), "store", absolute(cfg.Data), "last_entry", last)
	return st, nil
}

// version names what this program was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value
		}
	}
	return info.Main.Version
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
				t.log.Error("calendar not made", "err", err)
			}
			return feed, err
		}),
		ReadHeaderTimeout: 10 * time.Second,
	}
	go func() {
		if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
			t.log.Error("calendar server stopped", "err", err)
		}
	}()
	t.log.Info("calendar server listening", "address", listener.Addr().String())
	return func() { server.Close() }, nil
}
