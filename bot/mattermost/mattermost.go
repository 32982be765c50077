// Package mattermost is Benchbell's adapter to a Mattermost server. It turns what
// people post, edit, delete and tap into events for the engine, and delivers the
// engine's posts. It knows neither suits nor wording.
//
// There are few types to know. [Server] is the server as the bot sees it; [Open]
// and [Await] make one, and [Server.Check] says what is wrong with the setup.
// A receiver is one call of [Server.Run]; a link is one websocket; a fault is a
// call that failed. Begin reading at receiver.receive.
//
// # Receiving
//
// A connection begins with a catch-up: the websocket is opened and its hello
// awaited, so that from then on every post is in the stream; then the channels
// are read from their [chat.Mark] on, less an overlap of ten minutes, because a
// post can become visible later than the moment it carries; then come the events
// that arrived meanwhile. An answer that lacks the last post known from before,
// or is as long as the server ever makes one, is completed by paging back. So an
// event can be delivered more than once, always with the same ID, and must be
// dropped by it.
//
// Without a websocket the channels are read every three seconds. [chat.Lost] is
// sent when they cannot be read either, or when the crew channel is shut: it is
// archived, or the bot is not in it. The websocket does not tell reliably of
// that, so the bot looks every 15 s, and dials again when the channel has changed.
//
// A websocket connection is never resumed: a resumption fails silently after a
// restart of the server or a long gap, and the catch-up is needed then anyway.
//
// Only people are heard (no webhooks, bots or system messages), and only in the
// crew channel and in direct messages by members of the crew's team. Who they are
// is sent as [chat.People] before the first [chat.CaughtUp] and after each change.
// Somebody is gone only if the server says that the account is deactivated.
//
// # Sending
//
// A post carries its key twice: as the server's pending_post_id, by which the
// server recognizes a repeat for 30 s, and in its props, by which the bot finds
// it again after any failure or crash.
//
// A failed call is a [chat.SendError]. Only the chat server itself, known by the
// name it gives to each error, can say that a call will never succeed; what a
// proxy says, or nobody, can be different at the next try.
//
// # Why not model.WebSocketClient
//
// The server's own websocket client notices a dead link only after 65 s, never
// notices a token that was revoked (the link stays open and silent), panics if
// something is sent while it closes, and loses its reader for good if one of
// its three channels is not read. So [link] reads the websocket itself: an
// action ping every 10 s proves that the link lives and the token is good, and
// measures the server's clock.
package mattermost

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"time"

	"github.com/gorilla/websocket"
	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/core"
)

// requestTimeout bounds a whole call, its answer's body included. The server
// needs milliseconds; a post with dead links in it can take it 15 s.
const requestTimeout = 20 * time.Second

// downloadTimeout bounds the download of a file, which holds nothing up: a
// hundred megabytes over a slow line.
const downloadTimeout = 10 * time.Minute

// Config says which server to use, and as whom.
type Config struct {
	URL     string // https://chat.example.org, with the path if the server has one
	Token   string // of the bot's account
	Team    string // name in the team's URL: harrow-point
	Channel string // name in the crew channel's URL: suit-bench

	// Officers are user names or ids.
	Officers []string
}

// ErrDown is wrapped by the errors of Open that may pass by themselves: the
// server cannot be reached, or says that it cannot answer now.
var ErrDown = errors.New("the chat server does not answer")

// Server is a Mattermost server as the bot sees it. Its methods may be called
// at the same time from several goroutines, except Run, which is called once.
type Server struct {
	log     *slog.Logger
	api     *model.Client4
	files   *model.Client4 // the same, with time for a download
	dialer  *websocket.Dialer
	me      core.Person
	robot   bool // me is a bot account, as it should be
	team    *model.Team
	crew    *model.Channel // as it was at the start
	mention *regexp.Regexp
	clock   *clock
	sent    sent

	officers []string
}

var _ chat.Chat = (*Server)(nil)

// Open connects to the server, and finds the bot's account, the team and the
// crew channel. An error says what to do about it; one that wraps ErrDown may
// pass by itself. A crew channel that is archived, or in which the bot is not,
// is no error: Check tells of it, and Run waits until it is open.
func Open(ctx context.Context, cfg Config, log *slog.Logger) (*Server, error) {
	return open(ctx, cfg, log, nil)
}

// Await is Open, repeated for as long as the server does not answer, and then
// for as long as the crew channel is shut: after a power cut the server can take
// longer to start than the bot, and somebody may have to invite it.
func Await(ctx context.Context, cfg Config, log *slog.Logger) (*Server, error) {
	return await(ctx, cfg, log, nil)
}

// dialFunc opens a network connection; nil stands for the usual way.
type dialFunc func(ctx context.Context, network, address string) (net.Conn, error)

func await(ctx context.Context, cfg Config, log *slog.Logger, dial dialFunc) (*Server, error) {
	outages := retry.NewOutages(log)
	for pause := newBackoff(); ; {
		s, err := open(ctx, cfg, log, dial)
		if err == nil {
			outages.Over(thingServer, "the chat server answers")
			_, err = s.crewOpen(ctx)
		}
		wait := shutPause
		if _, shut := errors.AsType[shutError](err); shut {
			outages.Failed(thingCrew, "waiting for the crew channel", err)
		} else {
			if err == nil || s == nil && !errors.Is(err, ErrDown) {
				outages.Over(thingCrew, "the crew channel is open")
				return s, err
			}
			outages.Failed(thingServer, "waiting for the chat server", err)
			wait = pause.Next(asFault(err).after)
		}
		if err := retry.Pause(ctx, wait); err != nil {
			return nil, err
		}
	}
}

func open(ctx context.Context, cfg Config, log *slog.Logger, dial dialFunc) (*Server, error) {
	base, err := baseURL(cfg.URL)
	if err != nil {
		return nil, err
	}
	s := &Server{log: log, api: model.NewAPIv4Client(base), clock: newClock(), officers: cfg.Officers}
	s.api.SetToken(strings.TrimSpace(cfg.Token))
	transport := http.DefaultTransport.(*http.Transport).Clone()
	s.dialer = &websocket.Dialer{Proxy: http.ProxyFromEnvironment, HandshakeTimeout: requestTimeout}
	if dial != nil {
		transport.DialContext, s.dialer.NetDialContext = dial, dial
	}
	s.api.HTTPClient = &http.Client{
		Transport: transport,
		Timeout:   requestTimeout,
		// A redirected POST would arrive as a GET, and the post be lost.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	files := *s.api
	files.HTTPClient = &http.Client{Transport: transport, Timeout: downloadTimeout, CheckRedirect: s.api.HTTPClient.CheckRedirect}
	s.files = &files
	if err := s.findMe(ctx); err != nil {
		return nil, err
	}
	if err := s.findTeam(ctx, strings.ToLower(cfg.Team)); err != nil {
		return nil, err
	}
	if err := s.findCrew(ctx, strings.ToLower(strings.TrimPrefix(cfg.Channel, "~"))); err != nil {
		return nil, err
	}
	return s, nil
}

// Name is the user name of the bot's account, without the "@".
func (s *Server) Name() string { return s.me.Name }

// baseURL checks the configured URL and returns it without a slash at its end.
func baseURL(raw string) (string, error) {
	u, err := url.Parse(strings.TrimSpace(raw))
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return "", fmt.Errorf("the chat server's address %q is not a web address: write it as in https://chat.example.org", raw)
	}
	return u.Scheme + "://" + u.Host + strings.TrimRight(u.EscapedPath(), "/"), nil
}

// findMe learns whose token it is, which shows at once whether the address and
// the token are right.
func (s *Server) findMe(ctx context.Context) error {
	me, resp, sent, err := s.getMe(ctx)
	if err != nil {
		return firstContactError(s.api.URL, err)
	}
	s.me = core.Person{ID: me.Id, Name: me.Username}
	s.robot = me.IsBot
	s.mention = mentionOf(me.Username)
	if date, err := http.ParseTime(resp.Header.Get("Date")); err == nil {
		// To the second, and good enough until the first ping.
		s.clock.sample(sent, s.clock.elapsed(), date, time.Second)
	}
	return nil
}

// getMe asks for the bot's account and returns it with the moment of asking.
func (s *Server) getMe(ctx context.Context) (*model.User, *model.Response, time.Duration, error) {
	sent := s.clock.elapsed()
	me, resp, err := s.api.GetMe(ctx, "")
	if err == nil && me.Id == "" {
		err = errEmpty
	}
	return me, resp, sent, faultOf("asking for the bot's own account", resp, err)
}

// firstContactError words what the very first answer tells about the address
// and the token.
func firstContactError(at string, err error) error {
	f := asFault(err)
	switch {
	case f.status == http.StatusUnauthorized:
		return fmt.Errorf("the chat server at %s refuses the bot's token: make a new one for the bot's account "+
			"(or enable that account again) and configure it: %w", at, err)
	case f.status >= 300 && f.status < 400 && f.location != "":
		return fmt.Errorf("the chat server's address %s leads on to %s: configure the address it leads to, "+
			"without /api/v4 and what follows", at, f.location)
	case f.temporary():
		return fmt.Errorf("%w at %s: check the address, the network and that the server runs: %w", ErrDown, at, err)
	default:
		return fmt.Errorf("what answers at %s is not a Mattermost server: check the address "+
			"(as people open it in a browser, without /api/v4): %w", at, err)
	}
}

func (s *Server) findTeam(ctx context.Context, name string) error {
	team, err := ask(ctx, "looking for the team", func() (*model.Team, *model.Response, error) {
		return s.api.GetTeamByName(ctx, url.PathEscape(name), "")
	}, func(t *model.Team) bool { return t.Id != "" })
	if err != nil {
		return s.placeError(err,
			fmt.Sprintf("there is no team %q on the chat server, or @%s is not in it: "+
				"configure the name in the team's URL, and add the bot to the team", name, s.me.Name))
	}
	s.team = team
	member, err := s.teamMember(ctx, s.me.ID)
	if err == nil && member.DeleteAt != 0 {
		err = &fault{doing: "looking for the bot in the team", status: http.StatusNotFound, err: errors.New("it has left")}
	}
	if err != nil {
		return s.placeError(err,
			fmt.Sprintf("@%s is not in the team %q: add the bot to the team", s.me.Name, name))
	}
	return nil
}

func (s *Server) findCrew(ctx context.Context, name string) error {
	channel, err := ask(ctx, "looking for the crew channel", func() (*model.Channel, *model.Response, error) {
		return s.api.GetChannelByNameIncludeDeleted(ctx, url.PathEscape(name), s.team.Id, "")
	}, wholeChannel)
	if err != nil {
		return s.placeError(err,
			fmt.Sprintf("there is no channel %q in the team %q, or it is private and @%s is not in it: "+
				"configure the name in the channel's URL, and invite the bot there", name, s.team.Name, s.me.Name))
	}
	s.crew = channel
	return nil
}

// crewOpen returns the crew channel as it is now, or a shutError that says why
// nothing can be heard and said in it.
func (s *Server) crewOpen(ctx context.Context) (*model.Channel, error) {
	invite := shutError(fmt.Sprintf("@%s is not in the channel %q: write \"/invite @%s\" there", s.me.Name, s.crew.Name, s.me.Name))
	channel, err := ask(ctx, "looking at the crew channel", func() (*model.Channel, *model.Response, error) {
		return s.api.GetChannel(ctx, s.crew.Id, "")
	}, wholeChannel)
	switch {
	case err != nil && asFault(err).refused(): // a private channel
		return nil, invite
	case err != nil:
		return nil, err
	case channel.DeleteAt != 0:
		return nil, shutError(fmt.Sprintf("the crew channel %q is archived: bring it back, or configure another", channel.Name))
	}
	_, err = s.membership(ctx, s.crew.Id)
	if err != nil && asFault(err).refused() {
		return nil, invite
	}
	return channel, err
}

// placeError wraps a refusal by the server in says; any other failure to find the team
// or the channel is the server's and may pass.
func (s *Server) placeError(err error, says string) error {
	if f := asFault(err); f.temporary() {
		return fmt.Errorf("%w at %s: %w", ErrDown, s.api.URL, err)
	}
	return fmt.Errorf("%s: %w", says, err)
}

// socketURL is where the websocket is.
func (s *Server) socketURL() string {
	return "ws" + strings.TrimPrefix(s.api.APIURL, "http") + "/websocket"
}
