package main

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"benchbell/bot/config"
	"benchbell/bot/mattermost"
)

// TestServeMakesNothing: a bot that cannot start leaves no store behind.
func TestServeMakesNothing(t *testing.T) {
	s := newConfigured(t)
	s.mustFail([]string{"serve"}, "url, team and channel under [chat]")
	s.file("benchbell.toml", "[chat]\nurl = \"ftp://chat\"\nteam = \"t\"\nchannel = \"c\"\n")
	s.mustFail([]string{"serve"}, "token is missing")
	t.Setenv(config.TokenVariable, "x")
	s.mustFail([]string{"serve"}, "is not a web address")
	if s.has("benchbell.db") {
		t.Error("there is a store now")
	}
}

// TestOpenSound: what the bot serves is a store that is sound, or a new one where
// the configuration says so.
func TestOpenSound(t *testing.T) {
	s := newStation(t)
	var said bytes.Buffer
	term := terminal{out: t.Output(), log: slog.New(slog.NewTextHandler(&said, nil))}
	if _, err := openSound(term, setup{Config: config.Default()}); err == nil || !strings.Contains(err.Error(), "no benchbell.toml in "+s.dir) || s.has("benchbell.db") {
		t.Errorf("without a configuration: %v", err)
	}
	path := filepath.Join(s.dir, "benchbell.db")
	cfg := setup{Config: config.Default(), file: "benchbell.toml"}
	st, err := openSound(term, cfg)
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	mustHave(t, said.String(), "made a new store", path, "starting", "last_entry=0")

	s.mustRun("import", demo("suits.csv"))
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	s.file("benchbell.db", strings.Replace(string(file), `"made":"2021-04-19"`, `"made":"2024-04-19"`, 1))
	if _, err := openSound(term, cfg); err == nil || !strings.Contains(err.Error(), path+" is damaged") || !strings.Contains(err.Error(), "backup") || !strings.Contains(err.Error(), "journal entry 7") {
		t.Errorf("of a damaged store: %v", err)
	}
	s.file("benchbell.db", string(file))
	if st, err = openSound(term, cfg); err != nil {
		t.Fatalf("a store that was refused stays locked: %v", err)
	}
	if err := st.Close(); err != nil {
		t.Error(err)
	}
}

// TestConnect: the adapter is told all that the configuration says of the chat.
func TestConnect(t *testing.T) {
	cfg := config.Default()
	cfg.Chat = config.Chat{URL: "https://chat.example.org", Team: "t", Channel: "c", Token: "x"}
	cfg.Officers = []string{"duty.officer"}
	var got mattermost.Config
	_, err := connect(t.Context(), terminal{}, cfg, func(_ context.Context, c mattermost.Config, _ *slog.Logger) (*mattermost.Server, error) {
		got = c
		return nil, nil
	})
	want := mattermost.Config{URL: "https://chat.example.org", Team: "t", Channel: "c", Token: "x", Officers: []string{"duty.officer"}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("the adapter is told %+v, %v; want %+v", got, err, want)
	}
}
