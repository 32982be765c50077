package mattermost

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/gorilla/websocket"
	"github.com/mattermost/mattermost/server/public/model"
)

const (
	// A link is given up when nothing came for pingEvery + pingWait: a living
	// server answers each ping within milliseconds. The pings also keep proxies
	// from cutting a link on which nobody talks.
	pingEvery = 10 * time.Second
	pingWait  = 5 * time.Second

	// backlog is how many events may wait while earlier ones are handled. A
	// link with more to deliver is cut; the catch-up has no such limit.
	backlog = 4096

	longestFrame = 8 << 20 // bytes, as the server's own client allows
)

var (
	errTokenRefused = errors.New("the chat server refuses the bot's token: make a new one for the bot's account, " +
		"or enable that account again")
	errBacklog = errors.New("events came faster than they were handled")
)

// A frame is what comes through the websocket: an event, or the answer to a
// ping.
type frame struct {
	Event     model.WebsocketEventType `json:"event"`
	Data      json.RawMessage          `json:"data"`
	Broadcast struct {
		ChannelID string `json:"channel_id"`
		UserID    string `json:"user_id"`
	} `json:"broadcast"`

	Status   string          `json:"status"`
	SeqReply int64           `json:"seq_reply"`
	Error    *model.AppError `json:"error"`
}

// A link is one websocket connection, from its hello until it breaks.
type link struct {
	events chan frame // closed when the link is down
	down   chan struct{}
	fault  error // why it is down, once it is

	conn     *websocket.Conn
	clock    *clock
	measured chan struct{} // closed by the first answer to a ping
}

// dial opens a link and returns once it has said hello and answered a ping: from
// then on, what happens on the server comes through it. The link is down at
// the latest when ctx ends.
func (s *Server) dial(ctx context.Context) (*link, error) {
	header := http.Header{"Authorization": {"Bearer " + s.api.AuthToken}}
	conn, resp, err := s.dialer.DialContext(ctx, s.socketURL(), header)
	if err != nil {
		if resp != nil {
			err = fmt.Errorf("%w (HTTP status %d)", err, resp.StatusCode)
		}
		return nil, fmt.Errorf("opening the websocket: %w", err)
	}
	l := &link{
		events: make(chan frame, backlog), down: make(chan struct{}),
		conn: conn, clock: s.clock, measured: make(chan struct{}),
	}
	context.AfterFunc(ctx, func() { conn.Close() })
	conn.SetReadLimit(longestFrame)
	if err := l.hello(); err != nil {
		conn.Close()
		return nil, fmt.Errorf("waiting for the websocket's hello: %w", err)
	}
	go l.read()
	go l.ping()
	select {
	case <-l.measured:
		return l, nil
	case <-l.down:
		return nil, l.fault
	}
}

// close breaks the link.
func (l *link) close() { l.conn.Close() }

func (l *link) hello() error {
	f, err := l.next()
	if err != nil {
		return err
	}
	var data struct {
		ConnectionID string `json:"connection_id"`
	}
	if f.Event != model.WebsocketEventHello || json.Unmarshal(f.Data, &data) != nil || data.ConnectionID == "" {
		return fmt.Errorf("%q came first", f.Event)
	}
	return nil
}

// next reads a frame, and fails if none comes in the time in which at least the
// answer to a ping should.
func (l *link) next() (f frame, err error) {
	l.conn.SetReadDeadline(time.Now().Add(pingEvery + pingWait))
	err = l.conn.ReadJSON(&f)
	return f, err
}

// read receives until the link breaks.
func (l *link) read() {
	defer close(l.events)
	defer close(l.down)
	defer l.conn.Close()
	for {
		f, err := l.next()
		if err == nil {
			err = l.receive(f)
		}
		if err != nil {
			l.fault = err
			return
		}
	}
}

func (l *link) receive(f frame) error {
	if f.Event == "" {
		return l.pong(f)
	}
	if _, wanted := handlers[f.Event]; !wanted {
		return nil
	}
	select {
	case l.events <- f:
		return nil
	default:
		return errBacklog
	}
}

// pong takes in the answer to a ping.
func (l *link) pong(f frame) error {
	if f.Error != nil {
		if f.Error.StatusCode == http.StatusUnauthorized {
			return errTokenRefused
		}
		return fmt.Errorf("the chat server refuses a ping: %w", f.Error)
	}
	var data struct {
		ServerTime int64 `json:"server_time"`
	}
	if json.Unmarshal(f.Data, &data) != nil || data.ServerTime == 0 {
		return nil
	}
	l.clock.sample(time.Duration(f.SeqReply), l.clock.elapsed(), time.UnixMilli(data.ServerTime), time.Millisecond)
	select {
	case <-l.measured:
	default:
		close(l.measured)
	}
	return nil
}

// ping pings until the link is down. The server sends back the number of a
// request with its answer: each ping is numbered with the moment it is sent.
func (l *link) ping() {
	ticks := time.NewTicker(pingEvery)
	defer ticks.Stop()
	for {
		l.conn.SetWriteDeadline(time.Now().Add(pingWait))
		err := l.conn.WriteJSON(model.WebSocketRequest{Seq: max(1, int64(l.clock.elapsed())), Action: "ping"})
		if err != nil {
			l.conn.Close()
			return
		}
		select {
		case <-ticks.C:
		case <-l.down:
			return
		}
	}
}
