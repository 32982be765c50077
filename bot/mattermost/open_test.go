package mattermost

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestOpenErrors(t *testing.T) {
	always := func(answer func(http.ResponseWriter)) func(*fake) {
		return func(f *fake) {
			f.before = func(w http.ResponseWriter, _ *http.Request) bool { answer(w); return true }
		}
	}
	tests := map[string]struct {
		cfg    func(*Config)
		server func(*fake)
		down   bool
		says   string
	}{
		"no address":     {cfg: func(c *Config) { c.URL = "chat.example.org" }, says: "is not a web address"},
		"another scheme": {cfg: func(c *Config) { c.URL = "ws://chat.example.org" }, says: "is not a web address"},
		"nothing there":  {server: func(f *fake) { f.down = true }, down: true, says: "check the address"},
		"starting":       {server: always(func(w http.ResponseWriter) { sayHTML(w, 503) }), down: true, says: "503"},
		"a web site": {
			server: always(func(w http.ResponseWriter) { sayHTML(w, 200) }),
			says:   "is not a Mattermost server",
		},
		"a web site without such a page": {
			server: always(func(w http.ResponseWriter) { sayHTML(w, 404) }),
			says:   "is not a Mattermost server",
		},
		"some other API": {
			server: always(func(w http.ResponseWriter) { w.Write([]byte("{}")) }),
			says:   "is not a Mattermost server",
		},
		"redirection": {
			server: always(func(w http.ResponseWriter) {
				w.Header().Set("Location", "https://chat")
				w.WriteHeader(http.StatusMovedPermanently)
			}),
			says: "leads on to https://chat",
		},
		"bad token":       {cfg: func(c *Config) { c.Token = "another" }, says: "refuses the bot's token: make a new one"},
		"unknown team":    {cfg: func(c *Config) { c.Team = "nowhere" }, says: `no team "nowhere"`},
		"odd team":        {cfg: func(c *Config) { c.Team = "a/../b?c" }, says: `no team "a/../b?c"`},
		"not in the team": {server: func(f *fake) { f.inTeam[botID] = false }, says: "add the bot to the team"},
		"unknown channel": {cfg: func(c *Config) { c.Channel = "nowhere" }, says: `no channel "nowhere"`},
		"as people type it": {cfg: func(c *Config) {
			c.URL += "/"
			c.Team, c.Channel = "Harrow-Point", "~suit-bench"
			c.Token += "\n"
		}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T) {
				f := newFake(t)
				cfg := testConfig
				if test.server != nil {
					test.server(f)
				}
				if test.cfg != nil {
					test.cfg(&cfg)
				}
				_, err := open(t.Context(), cfg, slog.New(slog.DiscardHandler), f.dial)
				if test.says == "" {
					if err != nil {
						t.Fatal(err)
					}
					return
				}
				if err == nil {
					t.Fatalf("no error, want one with %q", test.says)
				}
				if !strings.Contains(err.Error(), test.says) || errors.Is(err, ErrDown) != test.down {
					t.Errorf("got error %v, want one with %q; passing: %v", err, test.says, test.down)
				}
				if strings.Contains(err.Error(), testToken) {
					t.Error("the token is in the error")
				}
			})
		})
	}
}

// TestAwait: after a power cut the server takes longer to start than the bot.
func TestAwait(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		f := newFake(t)
		f.unplug()
		time.AfterFunc(5*time.Minute, f.plugIn)
		log := &logBook{to: t}
		if _, err := await(t.Context(), testConfig, slog.New(slog.NewTextHandler(log, nil)), f.dial); err != nil {
			t.Fatal(err)
		}
		if n := log.count("waiting for the chat server"); n != 1 {
			t.Errorf("the wait was reported %d times", n)
		}

		f.unplug()
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		defer cancel()
		if _, err := await(ctx, testConfig, slog.New(slog.DiscardHandler), f.dial); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v at the end of the context", err)
		}
	})
}

// TestAwaitChannel: a crew channel that is shut is waited for, with words that
// say what to do.
func TestAwaitChannel(t *testing.T) {
	tests := map[string]struct {
		shut, open func(*fake)
		says       string
	}{
		"archived": {
			func(f *fake) { f.archives(true, false) }, func(f *fake) { f.archives(false, false) },
			`the crew channel \"suit-bench\" is archived: bring it back, or configure another`,
		},
		"not a member": {
			func(f *fake) { f.admits(false, false) }, func(f *fake) { f.admits(true, false) },
			`write \"/invite @benchbell\" there`,
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T) {
				f := newFake(t)
				test.shut(f)
				time.AfterFunc(5*time.Minute, func() { test.open(f) })
				log := &logBook{to: t}
				began := time.Now()
				if _, err := await(t.Context(), testConfig, slog.New(slog.NewTextHandler(log, nil)), f.dial); err != nil {
					t.Fatal(err)
				}
				if took := time.Since(began); took > 5*time.Minute+2*shutPause {
					t.Errorf("it took %v", took)
				}
				if n := strings.Count(log.String(), strings.ReplaceAll(test.says, `"`, `\"`)) + log.count(test.says); n != 1 {
					t.Errorf("the wait was reported %d times", n)
				}
			})
		})
	}
}

func TestCheck(t *testing.T) {
	all := []string{
		"chat server at http://chat.example.org: Mattermost 11.1.0",
		"account @benchbell is a bot account",
		`team "harrow-point" (Harrow Point)`,
		`crew channel "suit-bench" (Suit bench), the bot is in it`,
		"the bot may post in the crew channel",
		"the bot may put numbers to tap under its posts",
		"the bot may attach files to its posts",
		"events come through (websocket open after 0s)",
		"this machine's clock and the server's agree to 0s",
		"the server's rate limiter is off",
		"officers: @duty.officer, @bench.tester",
	}
	tests := map[string]struct {
		server func(*fake)
		at     int
		bad    bool
		says   string
	}{
		"all well":         {server: func(*fake) {}, says: all[0]},
		"a person":         {func(f *fake) { f.me.IsBot = false }, 1, true, "is a person's"},
		"archived":         {func(f *fake) { f.archives(true, false) }, 3, true, "is archived: bring it back"},
		"not a member":     {func(f *fake) { f.admits(false, false) }, 3, true, "/invite @benchbell"},
		"may not post":     {func(f *fake) { f.before = refusePosts }, 4, true, "may not post"},
		"clock ahead":      {func(f *fake) { f.skew = -2 * time.Minute }, 8, true, "is 2m0s ahead of the server's"},
		"clock behind":     {func(f *fake) { f.skew = 2 * time.Minute }, 8, true, "is 2m0s behind the server's"},
		"rate limiter":     {func(f *fake) { f.before = limitHeader }, 9, false, "rate limiter is on (101 requests"},
		"may not react":    {func(f *fake) { f.roles["channel_user"] = []string{"upload_file"} }, 5, true, "may not put numbers"},
		"may not upload":   {func(f *fake) { f.roles["channel_user"] = []string{"add_reaction"} }, 6, true, "may not attach files"},
		"takes no files":   {func(f *fake) { f.noFiles = true }, 6, true, "takes no files"},
		"officer unknown":  {func(f *fake) { f.users[officerID].Username = "renamed" }, 10, true, `"@Duty.Officer": nobody on the chat server`},
		"officer left":     {func(f *fake) { f.users[officerID].DeleteAt = 1 }, 10, true, "is deactivated"},
		"officer a bot":    {func(f *fake) { f.users[officerID].IsBot = true }, 10, true, "is a bot account"},
		"officer away":     {func(f *fake) { f.inTeam[officerID] = false }, 10, true, "not in the team"},
		"no websocket":     {func(f *fake) { f.noSockets = true }, 7, true, "events do not come through"},
		"no configuration": {func(f *fake) { f.before = refuseConfig }, 0, true, "asking for the server's version"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T) {
				f := newFake(t)
				test.server(f)
				cfg := testConfig
				cfg.Officers = []string{"@Duty.Officer", testerID}
				s, err := open(t.Context(), cfg, slog.New(slog.DiscardHandler), f.dial)
				if err != nil {
					t.Fatal(err)
				}
				found := s.Check(t.Context())
				if test.at == 3 && len(found) != len(all)-3 || test.at != 3 && len(found) != len(all) {
					t.Fatalf("%d findings, want %d", len(found), len(all))
				}
				if got := found[test.at]; got.Good == test.bad || !strings.Contains(got.Text, test.says) {
					t.Errorf("got %+v, want %q, good: %v", got, test.says, !test.bad)
				}
				for i, got := range found {
					if name == "all well" && (!got.Good || got.Text != all[i]) {
						t.Errorf("got %+v, want %q", got, all[i])
					}
				}
				if posts := f.byBot(); len(posts) > 0 {
					t.Errorf("the check posted %q", posts)
				}
			})
		})
	}
}

func refusePosts(w http.ResponseWriter, r *http.Request) bool {
	post := r.Method == http.MethodPost && strings.HasSuffix(r.URL.Path, "/posts")
	if post {
		refuse(w, 403, noPermission)
	}
	return post
}

func limitHeader(w http.ResponseWriter, _ *http.Request) bool {
	w.Header().Set("X-Ratelimit-Limit", "101")
	return false
}

func refuseConfig(w http.ResponseWriter, r *http.Request) bool {
	config := strings.Contains(r.URL.Path, "/config/")
	if config {
		sayHTML(w, 502)
	}
	return config
}

func TestSocketURL(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		for base, want := range map[string]string{
			"http://chat.example.org/":          "ws://chat.example.org/api/v4/websocket",
			"https://example.org:8443/our/chat": "wss://example.org:8443/our/chat/api/v4/websocket",
		} {
			base, err := baseURL(base)
			if err != nil {
				t.Fatal(err)
			}
			f := newFake(t)
			s, err := open(t.Context(), testConfig, slog.New(slog.DiscardHandler), f.dial)
			if err != nil {
				t.Fatal(err)
			}
			s.api.APIURL = base + "/api/v4"
			if got := s.socketURL(); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
		}
	})
}

// TestLicence makes sure that nothing of the server itself is linked in: its
// source is under the AGPL, Benchbell and server/public up to v0.1.16 are not.
func TestLicence(t *testing.T) {
	list := exec.CommandContext(t.Context(), "go", "list", "-e", "-deps", "-test", "./...")
	list.Dir = "../.."
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	packages := strings.Fields(string(out))
	if !slices.Contains(packages, "github.com/mattermost/mattermost/server/public/model") {
		t.Error("the server's client is not among the packages linked in: the list cannot be right")
	}
	for _, name := range packages {
		if strings.HasPrefix(name, "github.com/mattermost/mattermost/server/v8") {
			t.Errorf("%s is linked in: it is under the AGPL", name)
		}
	}
}
