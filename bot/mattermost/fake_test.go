package mattermost

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/mattermost/mattermost/server/public/model"
)

// A fake is a small chat server for tests. It speaks to the real client
// library, and has the traits of the real server that make receiving and
// sending hard, as they were measured on Mattermost 11.1: see the comments.
type fake struct {
	*network
	t    *testing.T
	http *http.Server

	mu       sync.Mutex
	skew     time.Duration // how far its clock is ahead of the bot's
	token    string
	me       *model.User
	users    map[string]*model.User
	team     *model.Team
	inTeam   map[string]bool
	channels map[string]*model.Channel
	inside   map[string]map[string]bool // channel, user
	rows     []*model.Post              // posts, and old versions of edited ones
	pending  map[string]repeat
	sockets  map[*socket]bool
	requests []string // "POST /posts", in order
	files    map[string][]byte

	roles   map[string][]string // what they allow
	noFiles bool                // it takes none

	noSockets bool             // as behind a proxy that lets none pass
	stale     map[*socket]bool // sockets that get nothing of the crew channel any more

	// before may answer a request itself; it then returns true. It runs
	// without the lock.
	before func(w http.ResponseWriter, r *http.Request) bool
	// loseAnswer makes the answer to a request vanish after its effect.
	loseAnswer func(r *http.Request) bool
	// shape, if set, puts an event into a socket's queue, or does worse to it.
	shape func(s *socket, event []byte)
}

type repeat struct {
	post  *model.Post // nil while it is being saved
	until time.Time
}

const (
	testToken = "the-bots-token"
	botID     = "bbbbbbbbbbbbbbbbbbbbbbbbbb"
	testerID  = "tttttttttttttttttttttttttt"
	officerID = "oooooooooooooooooooooooooo"
	strayID   = "ssssssssssssssssssssssssss" // on the server, not in the crew's team
	robotID   = "rrrrrrrrrrrrrrrrrrrrrrrrrr" // another bot
	crewID    = "cccccccccccccccccccccccccc"
	otherID   = "nnnnnnnnnnnnnnnnnnnnnnnnnn" // a channel that is not the crew's
)

func newFake(t *testing.T) *fake {
	f := &fake{
		network: newNetwork(), t: t, token: testToken,
		me: &model.User{Id: botID, Username: "benchbell", IsBot: true},
		users: map[string]*model.User{
			testerID:  {Id: testerID, Username: "bench.tester"},
			officerID: {Id: officerID, Username: "duty.officer"},
			strayID:   {Id: strayID, Username: "stray"},
			robotID:   {Id: robotID, Username: "robot", IsBot: true},
		},
		team:   &model.Team{Id: model.NewId(), Name: "harrow-point", DisplayName: "Harrow Point"},
		inTeam: map[string]bool{botID: true, testerID: true, officerID: true, robotID: true},
		channels: map[string]*model.Channel{
			crewID:  {Id: crewID, Name: "suit-bench", DisplayName: "Suit bench", Type: model.ChannelTypeOpen},
			otherID: {Id: otherID, Name: "town-square", Type: model.ChannelTypeOpen},
		},
		inside: map[string]map[string]bool{
			crewID:  {botID: true, testerID: true, officerID: true, robotID: true},
			otherID: {botID: true, testerID: true},
		},
		roles: map[string][]string{
			"channel_user": {"create_post", "add_reaction", "upload_file"}, "team_user": {"view_team"},
		},
		pending: make(map[string]repeat),
		sockets: make(map[*socket]bool),
		stale:   make(map[*socket]bool),
	}
	f.users[botID] = f.me
	f.http = &http.Server{Handler: f, ErrorLog: log.New(io.Discard, "", 0)}
	go f.http.Serve(f.network)
	t.Cleanup(func() { f.http.Close() })
	return f
}

func (f *fake) now() int64 { return time.Now().Add(f.skew).UnixMilli() }

// locked runs do while nothing else happens on the server.
func (f *fake) locked(do func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	do()
}

// restart forgets what the server keeps in memory only.
func (f *fake) restart() {
	f.locked(func() { clear(f.pending) })
	f.cut()
}

// asked counts requests since the last call, by their beginning.
func (f *fake) asked(prefix string) (n int) {
	f.locked(func() {
		for _, r := range f.requests {
			if strings.HasPrefix(r, prefix) {
				n++
			}
		}
		f.requests = nil
	})
	return n
}

// What people do.

func (f *fake) says(who, channel, root, text string) *model.Post {
	return f.saves(&model.Post{UserId: who, ChannelId: channel, RootId: root, Message: text})
}

// saves stamps a post, makes it visible and tells everybody.
func (f *fake) saves(p *model.Post) *model.Post {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.stamp(p)
	f.show(p)
	return p.Clone()
}

func (f *fake) stamp(p *model.Post) {
	p.Id, p.CreateAt = model.NewId(), f.now()
	p.UpdateAt = p.CreateAt
	if p.Props == nil {
		p.Props = model.StringInterface{}
	}
}

func (f *fake) show(p *model.Post) {
	f.rows = append(f.rows, p)
	f.channels[p.ChannelId].LastPostAt = max(f.channels[p.ChannelId].LastPostAt, p.CreateAt)
	if root := f.row(p.RootId); root != nil {
		root.UpdateAt = max(root.UpdateAt, p.UpdateAt) // a reply moves its root
	}
	event := model.NewWebSocketEvent(model.WebsocketEventPosted, "", p.ChannelId, "", nil, "")
	event.Add("post", toJSON(p))
	event.Add("channel_type", string(f.channels[p.ChannelId].Type))
	f.send(event)
}

// saysSlowly makes a post that becomes visible some time after its moment, as
// one with a dead link in it does.
func (f *fake) saysSlowly(who, channel, text string, late time.Duration) *model.Post {
	p := &model.Post{UserId: who, ChannelId: channel, Message: text}
	f.locked(func() { f.stamp(p) })
	time.AfterFunc(late, func() {
		f.locked(func() {
			p.UpdateAt = p.CreateAt
			f.show(p)
		})
	})
	return p
}

// edits changes a post's text, and leaves its old version as a row with an id
// of its own and original_id set.
func (f *fake) edits(id, text string) *model.Post {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.edit(id, text).Clone()
}

func (f *fake) edit(id, text string) *model.Post {
	p := f.row(id)
	old := p.Clone()
	old.Id, old.OriginalId = model.NewId(), p.Id
	old.DeleteAt, old.UpdateAt = f.now(), f.now()
	f.rows = append(f.rows, old)
	if p.Message != text {
		p.EditAt = f.now()
	}
	p.Message, p.UpdateAt = text, f.now()
	f.sendEdited(p)
	return p
}

func (f *fake) pins(id string) {
	f.locked(func() {
		p := f.row(id)
		p.IsPinned, p.UpdateAt = true, f.now()
		f.sendEdited(p)
	})
}

func (f *fake) sendEdited(p *model.Post) {
	event := model.NewWebSocketEvent(model.WebsocketEventPostEdited, "", p.ChannelId, "", nil, "")
	event.Add("post", toJSON(p))
	f.send(event)
}

func (f *fake) deletes(id string) {
	f.locked(func() {
		p := f.row(id)
		event := model.NewWebSocketEvent(model.WebsocketEventPostDeleted, "", p.ChannelId, "", nil, "")
		event.Add("post", toJSON(p)) // delete_at is still 0 in it
		for _, row := range f.rows { // the replies go with it, without an event
			if row.Id == id || row.RootId == id {
				row.DeleteAt, row.UpdateAt = f.now(), f.now()
				if row.OriginalId == "" {
					row.Message = ""
				}
			}
		}
		f.send(event)
	})
}

func (f *fake) taps(who, post string, n int) {
	f.locked(func() { f.react(who, post, numbers[n-1]) })
}

func (f *fake) react(who, post, emoji string) *model.Reaction {
	p := f.row(post)
	t := &model.Reaction{
		UserId: who, PostId: post, EmojiName: emoji, ChannelId: p.ChannelId, CreateAt: f.now(), UpdateAt: f.now(),
	}
	if p.Metadata == nil {
		p.Metadata = &model.PostMetadata{}
	}
	p.Metadata.Reactions = append(without(p.Metadata.Reactions, t), t)
	p.UpdateAt = f.now()
	f.sendTap(model.WebsocketEventReactionAdded, t, p.ChannelId)
	return t
}

func without(list []*model.Reaction, t *model.Reaction) []*model.Reaction {
	return slices.DeleteFunc(slices.Clone(list), func(old *model.Reaction) bool {
		return old.UserId == t.UserId && old.EmojiName == t.EmojiName
	})
}

func (f *fake) untaps(who, post string, n int) {
	f.locked(func() {
		p := f.row(post)
		t := &model.Reaction{UserId: who, PostId: post, EmojiName: numbers[n-1], UpdateAt: f.now()} // no create_at, no channel
		p.Metadata.Reactions = without(p.Metadata.Reactions, t)
		p.UpdateAt = f.now()
		f.sendTap(model.WebsocketEventReactionRemoved, t, p.ChannelId)
	})
}

func (f *fake) sendTap(kind model.WebsocketEventType, t *model.Reaction, channel string) {
	event := model.NewWebSocketEvent(kind, "", channel, "", nil, "")
	event.Add("reaction", toJSON(t))
	f.send(event)
}

// What the keeper of the server does.

// archives archives the crew channel, or restores it. Sockets that are open
// then get nothing more of it, as their lists of channels are out of date. The
// event of it may get lost.
func (f *fake) archives(archived, told bool) {
	f.locked(func() {
		kind, at := model.WebsocketEventChannelRestored, int64(0)
		if archived {
			kind, at = model.WebsocketEventChannelDeleted, f.now()
		}
		f.channels[crewID].DeleteAt, f.channels[crewID].UpdateAt = at, f.now()
		f.makeStale(kind, told)
	})
}

// admits takes the bot out of the crew channel, or lets it in.
func (f *fake) admits(in, told bool) {
	f.locked(func() {
		kind := model.WebsocketEventUserRemoved
		if in {
			kind = model.WebsocketEventUserAdded
		}
		f.inside[crewID][botID] = in
		f.makeStale(kind, told)
	})
}

func (f *fake) makeStale(kind model.WebsocketEventType, told bool) {
	for s := range f.sockets {
		f.stale[s] = true
	}
	if told {
		event := model.NewWebSocketEvent(kind, f.team.Id, "", botID, nil, "")
		event.Add("channel_id", crewID)
		f.send(event)
	}
}

// changesUser changes an account, and tells everybody.
func (f *fake) changesUser(id string, change func(*model.User)) {
	f.locked(func() {
		u := *f.users[id]
		change(&u)
		f.users[id] = &u
		event := model.NewWebSocketEvent(model.WebsocketEventUserUpdated, "", "", "", nil, "")
		event.Add("user", &u)
		f.send(event)
	})
}

// moves lets somebody join the crew channel, or leave it.
func (f *fake) moves(who string, in bool) {
	f.locked(func() {
		kind := model.WebsocketEventUserRemoved
		if in {
			kind = model.WebsocketEventUserAdded
		}
		f.inside[crewID][who] = in
		event := model.NewWebSocketEvent(kind, "", crewID, "", nil, "")
		event.Add("user_id", who)
		f.send(event)
	})
}

// direct returns the channel of direct messages between somebody and the bot.
func (f *fake) direct(who string) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.directChannel(who).Id
}

func (f *fake) directChannel(who string) *model.Channel {
	name := model.GetDMNameFromIds(who, botID)
	for _, c := range f.channels {
		if c.Name == name {
			return c
		}
	}
	c := &model.Channel{Id: model.NewId(), Name: name, Type: model.ChannelTypeDirect}
	f.channels[c.Id] = c
	f.inside[c.Id] = map[string]bool{who: true, botID: true}
	return c
}

func (f *fake) row(id string) *model.Post {
	if i := slices.IndexFunc(f.rows, func(p *model.Post) bool { return p.Id == id }); i >= 0 {
		return f.rows[i]
	}
	return nil
}

// byBot returns the texts of the bot's posts that stand.
func (f *fake) byBot() (texts []string) {
	f.locked(func() {
		for _, p := range f.rows {
			if p.UserId == botID && p.OriginalId == "" && p.DeleteAt == 0 {
				texts = append(texts, p.Message)
			}
		}
	})
	return texts
}

// The websocket.

type socket struct {
	conn  *websocket.Conn
	queue chan []byte
	done  chan struct{}
	once  sync.Once
}

func (s *socket) put(event []byte) {
	select {
	case s.queue <- event:
	case <-s.done:
	default: // the server closes without an error, and the rest is lost
		s.close()
	}
}

func (s *socket) close() { s.once.Do(func() { close(s.done) }) }

func (f *fake) send(event *model.WebSocketEvent) {
	text, err := event.ToJSON()
	if err != nil {
		f.t.Error(err)
	}
	for s := range f.sockets {
		if f.stale[s] && event.GetBroadcast().ChannelId == crewID {
			continue
		}
		if f.shape != nil {
			f.shape(s, text)
		} else {
			s.put(text)
		}
	}
}

func (f *fake) serveSocket(w http.ResponseWriter, r *http.Request) {
	conn, err := (&websocket.Upgrader{}).Upgrade(w, r, nil)
	if err != nil {
		return
	}
	s := &socket{conn: conn, queue: make(chan []byte, 256), done: make(chan struct{})}
	defer conn.Close()
	if r.Header.Get("Authorization") != "Bearer "+f.goodToken() {
		return // opened, and closed without a word
	}
	hello := model.NewWebSocketEvent(model.WebsocketEventHello, "", "", botID, nil, "")
	hello.Add("connection_id", model.NewId())
	text, _ := hello.ToJSON()
	s.put(text)
	f.locked(func() { f.sockets[s] = true })
	defer f.locked(func() { delete(f.sockets, s) })
	go func() {
		defer s.close()
		for {
			var ask model.WebSocketRequest
			if conn.ReadJSON(&ask) != nil {
				return
			}
			s.put(f.pong(ask))
		}
	}()
	for {
		select {
		case text := <-s.queue:
			if conn.WriteMessage(websocket.TextMessage, text) != nil {
				return
			}
		case <-s.done:
			bye := websocket.FormatCloseMessage(websocket.CloseNormalClosure, "")
			conn.WriteControl(websocket.CloseMessage, bye, time.Now().Add(time.Second))
			return
		}
	}
}

// pong answers a ping. A token that was revoked is noticed here only.
func (f *fake) pong(ask model.WebSocketRequest) []byte {
	if f.goodToken() == "" {
		return []byte(toJSON(map[string]any{"status": "FAIL", "seq_reply": ask.Seq, "error": map[string]any{
			"id": "api.web_socket_router.not_authenticated.app_error", "status_code": 401,
		}}))
	}
	var now int64
	f.locked(func() { now = f.now() })
	return []byte(toJSON(map[string]any{"status": "OK", "seq_reply": ask.Seq, "data": map[string]any{
		"text": "pong", "server_time": now, "version": "11.1.0",
	}}))
}

func (f *fake) goodToken() (token string) {
	f.locked(func() { token = f.token })
	return token
}

// The REST interface.

func (f *fake) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	path := strings.TrimPrefix(r.URL.Path, model.APIURLSuffix)
	if path == "/websocket" {
		var none bool
		f.locked(func() { none = f.noSockets })
		if none {
			sayHTML(w, 400)
			return
		}
		f.serveSocket(w, r)
		return
	}
	var before func(http.ResponseWriter, *http.Request) bool
	var lose func(*http.Request) bool
	f.locked(func() {
		f.requests = append(f.requests, r.Method+" "+path)
		before, lose = f.before, f.loseAnswer
	})
	if before != nil && before(w, r) {
		return
	}
	if r.Header.Get("Authorization") != model.HeaderBearer+" "+f.goodToken() {
		refuse(w, 401, "api.context.session_expired.app_error")
		return
	}
	f.mu.Lock()
	w.Header().Set("Date", time.Now().Add(f.skew).UTC().Format(http.TimeFormat))
	answer := new(answer)
	f.answer(answer, r, strings.Split(strings.Trim(path, "/"), "/"))
	if answer.id == "" && answer.raw == "" { // while nobody changes what it holds
		answer.raw = toJSON(answer.value)
	}
	f.mu.Unlock()
	if lose != nil && lose(r) {
		panic(http.ErrAbortHandler)
	}
	answer.write(w)
}

// An answer is what to answer: an error, a value as JSON, or a text.
type answer struct {
	status int
	id     string
	value  any
	raw    string // instead of value
}

func (a *answer) refuse(status int, id string) { a.status, a.id = status, id }

func (a *answer) write(w http.ResponseWriter) {
	if a.id != "" {
		refuse(w, a.status, a.id)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(cmp.Or(a.status, 200))
	if a.raw == "" {
		a.raw = toJSON(a.value)
	}
	io.WriteString(w, a.raw)
}

func refuse(w http.ResponseWriter, status int, id string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	io.WriteString(w, toJSON(map[string]any{"id": id, "message": id, "status_code": status}))
}

func toJSON(v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(text)
}

const (
	noPermission = "api.context.permissions.app_error"
	noRoot       = "api.post.create_post.root_id.app_error"
)

func (f *fake) answer(a *answer, r *http.Request, path []string) {
	arg := func(i int) string {
		if i < len(path) {
			return path[i]
		}
		return ""
	}
	switch route := r.Method + " " + arg(0) + "/" + arg(2); {
	case path[0] == "users" && arg(1) == "username":
		for _, u := range f.users {
			if u.Username == arg(2) {
				a.value = u
				return
			}
		}
		if !model.IsValidUsername(arg(2)) {
			a.refuse(400, "api.context.invalid_body_param.app_error")
			return
		}
		a.refuse(404, "store.sql_user.get_by_username.app_error")
	case r.Method == "GET" && path[0] == "users" && arg(1) == "":
		f.answerInChannel(a, r)
	case route == "POST users/":
		var wanted []string
		json.NewDecoder(r.Body).Decode(&wanted)
		list := []*model.User{}
		for _, id := range slices.Sorted(maps.Keys(f.users)) {
			if u := f.users[id]; slices.Contains(wanted, map[string]string{"ids": u.Id, "usernames": u.Username}[arg(1)]) {
				list = append(list, u)
			}
		}
		a.value = list
	case path[0] == "users" && arg(2) == "channels":
		a.value = f.channelsOf(botID)
	case path[0] == "users":
		if u := f.users[strings.Replace(arg(1), "me", botID, 1)]; u != nil {
			a.value = u
			return
		}
		a.refuse(404, "app.user.missing_account.const")
	case path[0] == "teams" && arg(1) == "name":
		if arg(2) != f.team.Name {
			a.refuse(404, "app.team.get_by_name.missing.app_error")
			return
		}
		a.value = f.team
	case route == "GET teams/members":
		if !f.inTeam[arg(3)] {
			a.refuse(404, "app.team.get_member.missing.app_error")
			return
		}
		a.value = &model.TeamMember{TeamId: arg(1), UserId: arg(3), Roles: "team_user"}
	case route == "GET teams/channels":
		for _, c := range f.channels {
			if c.Name == arg(4) && (c.DeleteAt == 0 || r.URL.Query().Get("include_deleted") == "true") {
				a.value = c
				return
			}
		}
		a.refuse(404, "app.channel.get_by_name.missing.app_error")
	case route == "POST channels/":
		var who []string
		json.NewDecoder(r.Body).Decode(&who)
		a.status, a.value = 201, f.directChannel(who[1])
	case route == "GET channels/":
		a.value = f.channels[arg(1)]
	case route == "GET channels/members":
		if !f.inside[arg(1)][botID] {
			a.refuse(403, noPermission)
			return
		}
		if !f.inside[arg(1)][arg(3)] {
			a.refuse(404, "app.channel.get_member.missing.app_error")
			return
		}
		a.value = &model.ChannelMember{ChannelId: arg(1), UserId: arg(3), Roles: "channel_user"}
	case route == "POST channels/members" && arg(3) == "ids":
		var wanted []string
		json.NewDecoder(r.Body).Decode(&wanted)
		list := model.ChannelMembers{}
		for _, id := range wanted {
			if f.inside[arg(1)][id] {
				list = append(list, model.ChannelMember{ChannelId: arg(1), UserId: id})
			}
		}
		a.value = list
	case route == "GET channels/posts":
		f.answerPosts(a, r, arg(1))
	case route == "POST posts/":
		f.answerCreate(a, r)
	case route == "PUT posts/patch":
		f.answerPatch(a, r, arg(1))
	case route == "GET posts/":
		if p := f.row(arg(1)); p != nil && p.DeleteAt == 0 {
			a.value = p.Clone()
			return
		}
		a.refuse(404, "app.post.get.app_error")
	case path[0] == "reactions":
		var t model.Reaction
		json.NewDecoder(r.Body).Decode(&t)
		p := f.row(t.PostId)
		switch {
		case p != nil && !f.inside[p.ChannelId][botID]:
			a.refuse(403, noPermission)
			return
		case p == nil || p.DeleteAt != 0:
			a.refuse(404, "app.post.get.app_error")
			return
		case f.channels[p.ChannelId].DeleteAt != 0:
			a.refuse(403, "api.reaction.save.archived_channel.app_error")
			return
		}
		a.value = f.react(t.UserId, t.PostId, t.EmojiName)
	case route == "POST files/":
		a.status, a.value = 201, &model.FileUploadResponse{FileInfos: []*model.FileInfo{{Id: model.NewId()}}}
	case path[0] == "files":
		if arg(1) == "gone" {
			a.refuse(404, "app.file_info.get.app_error")
			return
		}
		a.raw = "content of " + arg(1)
		if content, ok := f.files[arg(1)]; ok {
			a.raw = string(content)
		}
	case path[0] == "config":
		a.value = map[string]string{"Version": "11.1.0", "EnableFileAttachments": strconv.FormatBool(!f.noFiles)}
	case path[0] == "roles":
		var names []string
		json.NewDecoder(r.Body).Decode(&names)
		list := []*model.Role{}
		for _, name := range names {
			if permissions, ok := f.roles[name]; ok {
				list = append(list, &model.Role{Name: name, Permissions: permissions})
			}
		}
		a.value = list
	default:
		a.refuse(404, "api.context.404.app_error")
	}
}

// answerInChannel tells who is in a channel, deactivated accounts and bots too.
func (f *fake) answerInChannel(a *answer, r *http.Request) {
	query := r.URL.Query()
	channel := query.Get("in_channel")
	if !f.inside[channel][botID] {
		a.refuse(403, noPermission)
		return
	}
	list := []*model.User{}
	for _, id := range slices.Sorted(maps.Keys(f.users)) {
		if f.inside[channel][id] {
			list = append(list, f.users[id])
		}
	}
	page, _ := strconv.Atoi(query.Get("page"))
	size, _ := strconv.Atoi(query.Get("per_page"))
	a.value = list[min(page*size, len(list)):min((page+1)*size, len(list))]
}

func (f *fake) channelsOf(who string) []*model.Channel {
	var list []*model.Channel
	for _, id := range slices.Sorted(maps.Keys(f.channels)) {
		if f.inside[id][who] && f.channels[id].DeleteAt == 0 {
			list = append(list, f.channels[id])
		}
	}
	return list
}

// answerPosts answers a request for the posts of a channel.
func (f *fake) answerPosts(a *answer, r *http.Request, channel string) {
	query := r.URL.Query()
	if !f.inside[channel][botID] {
		a.refuse(403, noPermission)
		return
	}
	if since := query.Get("since"); since != "" {
		// Deleted posts and old versions are in; of more than a thousand the
		// rest is left out without a word. Which is the database's choice: here
		// what changed last, as it is stored last.
		ms, _ := strconv.ParseInt(since, 10, 64)
		list := f.list(func(p *model.Post) bool { return p.ChannelId == channel && p.UpdateAt > ms })
		if len(list.Order) > 1000 {
			slices.SortStableFunc(list.Order, func(x, y string) int {
				return cmp.Compare(list.Posts[x].UpdateAt, list.Posts[y].UpdateAt)
			})
			list.Order = list.Order[:1000]
		}
		a.value = list
		return
	}
	before := int64(1 << 60)
	if id := query.Get("before"); id != "" {
		anchor := f.row(id)
		if anchor == nil {
			a.value = model.NewPostList()
			return
		}
		before = anchor.CreateAt // strictly: of the anchor's moment nothing is given
	}
	list := f.list(func(p *model.Post) bool { return p.ChannelId == channel && p.DeleteAt == 0 && p.CreateAt < before })
	page, _ := strconv.Atoi(query.Get("page"))
	size, _ := strconv.Atoi(query.Get("per_page"))
	size = min(size, 200)
	list.Order = list.Order[min(page*size, len(list.Order)):min((page+1)*size, len(list.Order))]
	a.value = list
}

// list returns posts, the newest first.
func (f *fake) list(wanted func(*model.Post) bool) *model.PostList {
	list := model.NewPostList()
	for _, p := range f.rows {
		if wanted(p) {
			list.AddPost(p.Clone())
			list.AddOrder(p.Id)
		}
	}
	slices.SortStableFunc(list.Order, func(x, y string) int {
		return cmp.Compare(list.Posts[y].CreateAt, list.Posts[x].CreateAt)
	})
	return list
}

func (f *fake) answerCreate(a *answer, r *http.Request) {
	var p model.Post
	if err := json.NewDecoder(r.Body).Decode(&p); err != nil {
		f.t.Error(err)
	}
	p.UserId = botID
	if known, ok := f.pending[p.PendingPostId]; ok && time.Now().Before(known.until) {
		if known.post == nil {
			a.refuse(500, "api.post.deduplicate_create_post.pending")
			return
		}
		a.status, a.value = 201, known.post.Clone()
		return
	}
	root := f.row(p.RootId)
	switch {
	case !f.inside[p.ChannelId][botID]:
		a.refuse(403, noPermission)
	case f.channels[p.ChannelId].DeleteAt != 0:
		a.refuse(400, "api.post.create_post.can_not_post_to_deleted.error")
	case p.RootId != "" && (root == nil || root.DeleteAt != 0 || root.RootId != ""):
		a.refuse(400, noRoot)
	case len([]rune(p.Message)) > 16383:
		a.refuse(400, "model.post.is_valid.message_length.app_error")
	case strings.ContainsRune(p.Message, 0):
		a.refuse(500, "app.post.save.app_error")
	default:
		f.stamp(&p)
		p.AddProp("from_bot", "true")
		f.show(&p) // the bot's own event comes before the answer
		if p.PendingPostId != "" {
			f.pending[p.PendingPostId] = repeat{post: &p, until: time.Now().Add(30 * time.Second)}
		}
		a.status, a.value = 201, p.Clone()
	}
}

// answerPatch edits a post; a patch with props replaces them all.
func (f *fake) answerPatch(a *answer, r *http.Request, id string) {
	var patch model.PostPatch
	if err := json.NewDecoder(r.Body).Decode(&patch); err != nil {
		f.t.Error(err)
	}
	p := f.row(id)
	if p == nil || p.DeleteAt != 0 || p.UserId != botID || !f.inside[p.ChannelId][botID] {
		a.refuse(403, noPermission)
		return
	}
	if f.channels[p.ChannelId].DeleteAt != 0 {
		a.refuse(400, "api.post.patch_post.can_not_update_post_in_deleted.error")
		return
	}
	if patch.Props != nil {
		p.Props = *patch.Props
	}
	a.value = f.edit(id, *patch.Message).Clone()
}

// sayHTML answers as a proxy does that cannot reach the server.
func sayHTML(w http.ResponseWriter, status int) {
	w.Header().Set("Content-Type", "text/html")
	w.WriteHeader(status)
	fmt.Fprintf(w, "<html><body>%s</body></html>", http.StatusText(status))
}
