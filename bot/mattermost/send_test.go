package mattermost

import (
	"errors"
	"io"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
)

// deliver posts as the engine's outbox does: again and again, for as long as
// the error is worth it, with the moment of the first try.
func (c *crew) deliver(m chat.Message) (string, error) {
	c.t.Helper()
	for range 20 {
		id, err := c.bot.Post(c.t.Context(), m)
		var failure *chat.SendError
		if err == nil || !errors.As(err, &failure) || !failure.Retry() {
			return id, err
		}
		if m.First.IsZero() {
			m.First = c.bot.Now()
		}
		time.Sleep(max(failure.After, 300*time.Millisecond))
	}
	c.t.Fatal("not delivered in 20 tries")
	return "", nil
}

// failureOf returns the *bot.SendError in err.
func failureOf(t *testing.T, err error) *chat.SendError {
	t.Helper()
	var failure *chat.SendError
	if !errors.As(err, &failure) {
		t.Fatalf("got error %v, want a *bot.SendError", err)
	}
	return failure
}

func (c *crew) expectPosts(want ...string) {
	c.t.Helper()
	if got := c.byBot(); !slices.Equal(got, want) {
		c.t.Errorf("the bot's posts are %q, want %q", got, want)
	}
}

func TestPost(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		root, err := c.bot.Post(t.Context(), chat.Message{Key: "k1", Text: "one"})
		if err != nil {
			t.Fatal(err)
		}
		reply, err := c.bot.Post(t.Context(), chat.Message{Key: "k2", To: chat.To{Channel: crewID, Root: root}, Text: "two"})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := c.bot.Post(t.Context(), chat.Message{Key: "k3", To: chat.To{Person: officerID}, Text: "three"}); err != nil {
			t.Fatal(err)
		}
		again, err := c.bot.Post(t.Context(), chat.Message{Key: "k1", Text: "one"})
		if err != nil || again != root {
			t.Errorf("posted again: %q, %v; want %q", again, err, root)
		}
		c.expectPosts("one", "two", "three")
		c.locked(func() {
			want := model.StringInterface{"unsafe_links": "true", "benchbell_key": "k2", "from_bot": "true"}
			if p := c.row(reply); p.RootId != root || !reflect.DeepEqual(p.Props, want) {
				t.Errorf("reply in %q with %v, want in %q with %v", p.RootId, p.Props, root, want)
			}
			if p := c.rows[2]; c.channels[p.ChannelId].Name != model.GetDMNameFromIds(officerID, botID) {
				t.Errorf("the direct message went to %v", c.channels[p.ChannelId])
			}
		})
		c.expect() // the bot does not hear itself
	})
}

// TestPostOnce makes a post while something goes wrong. However often it is
// tried, it must be there once.
func TestPostOnce(t *testing.T) {
	tests := map[string]struct {
		breaks func(c *crew)
		mends  func(c *crew) // after the first try, which has failed
		posts  int           // requests to post that the server gets to see
	}{
		"the answer is lost, the event tells": {breaks: (*crew).loseAnswerOnce, posts: 1},
		"the answer and the event are lost":   {breaks: (*crew).loseBoth, posts: 1},
		"and the server restarts": {
			breaks: (*crew).loseBoth,
			mends:  func(c *crew) { c.restart(); time.Sleep(time.Minute) },
			posts:  1,
		},
		"and the bot crashes": {
			breaks: (*crew).loseBoth,
			mends:  func(c *crew) { c.stop(); time.Sleep(time.Hour); c.bot = c.open() },
			posts:  1,
		},
		"the link becomes a black hole": {
			breaks: (*crew).swallowAnswer,
			mends:  (*crew).plugIn,
			posts:  1,
		},
		"the connection is refused": {
			breaks: (*crew).unplug,
			mends:  (*crew).plugIn,
			posts:  1,
		},
		"the answer is empty": {
			breaks: func(c *crew) { c.spoilFirst(func(w http.ResponseWriter) { w.Write([]byte("{}")) }) },
			posts:  2,
		},
		"the answer is a login page": {
			breaks: func(c *crew) { c.spoilFirst(func(w http.ResponseWriter) { sayHTML(w, 200) }) },
			posts:  2,
		},
		"a proxy cannot reach the server": {
			breaks: func(c *crew) { c.spoilFirst(func(w http.ResponseWriter) { sayHTML(w, 502) }) },
			posts:  2,
		},
		"the rate limiter": {
			breaks: func(c *crew) { c.spoilFirst(limited) },
			posts:  2,
		},
		"the first try is still being saved": {
			breaks: func(c *crew) { c.pend(repeat{until: time.Now().Add(400 * time.Millisecond)}) },
			posts:  3,
		},
		"a person used the very id the server goes by": {
			breaks: func(c *crew) {
				c.pend(repeat{post: &model.Post{Id: "x", UserId: testerID}, until: time.Now().Add(time.Minute)})
			},
			posts: 2,
		},
	}
	for name, test := range tests {
		for _, inThread := range []string{"", " in a thread"} {
			t.Run(name+inThread, func(t *testing.T) {
				inBubble(t, func(t *testing.T) {
					c := newCrew(t)
					var to chat.To
					if inThread != "" {
						to.Root = c.says(testerID, crewID, "", "root").Id
						synctest.Wait()
					}
					c.asked("")
					test.breaks(c)
					m := chat.Message{Key: "key", To: to, Text: "once"}
					if test.mends != nil {
						if _, err := c.bot.Post(t.Context(), m); !failureOf(t, err).Retry() {
							t.Fatalf("not worth a retry: %v", err)
						}
						m.First = c.bot.Now()
						test.mends(c)
					}
					if _, err := c.deliver(m); err != nil {
						t.Fatal(err)
					}
					c.expectPosts("once")
					if n := c.asked("POST /posts"); n != test.posts {
						t.Errorf("the server was asked %d times to post, want %d", n, test.posts)
					}
				})
			})
		}
	}
}

// spoilFirst answers the first attempt to post in some other way.
func (c *crew) spoilFirst(spoil func(http.ResponseWriter)) {
	done := false
	c.locked(func() {
		c.before = func(w http.ResponseWriter, r *http.Request) bool {
			if done || r.Method != http.MethodPost {
				return false
			}
			done = true
			spoil(w)
			return true
		}
	})
}

func limited(w http.ResponseWriter) {
	w.Header().Set("Retry-After", "1")
	http.Error(w, "limit exceeded", http.StatusTooManyRequests)
}

// loseAnswerOnce makes the answer to the first attempt to post vanish.
func (c *crew) loseAnswerOnce() {
	lost := false
	c.locked(func() {
		c.loseAnswer = func(r *http.Request) bool {
			if lost || r.Method != http.MethodPost {
				return false
			}
			lost = true
			return true
		}
	})
}

// loseBoth makes the bot's own event vanish, too.
func (c *crew) loseBoth() {
	c.loseAnswerOnce()
	c.locked(func() { c.shape = func(*socket, []byte) {} })
}

// swallowAnswer makes the link a black hole once the post is saved.
func (c *crew) swallowAnswer() {
	c.loseBoth()
	c.locked(func() {
		c.loseAnswer = func(r *http.Request) bool {
			if r.Method == http.MethodPost {
				c.swallow()
				c.locked(func() { c.loseAnswer = nil })
			}
			return false
		}
	})
}

// pend makes the server remember an earlier request with the same id.
func (c *crew) pend(r repeat) { c.locked(func() { c.pending[botID+":key"] = r }) }

// TestCrashAfterSending posts, and crashes before it is written down that it did.
func TestCrashAfterSending(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		m := chat.Message{Key: "key", Text: "once"}
		first := c.bot.Now()
		id, err := c.bot.Post(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range []string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "once, edited"} {
			c.edits(id, text) // leaves an old version with the same key
		}
		c.stop()
		time.Sleep(24 * time.Hour)
		c.bot = c.open()
		m.First = first
		if again, err := c.deliver(m); err != nil || again != id {
			t.Errorf("got %q, %v; want %q again", again, err, id)
		}
		c.expectPosts("once, edited")
	})
}

// TestSendErrors: what a failed call means depends on who says so. Whatever a
// proxy or nobody says can be different the next time.
func TestSendErrors(t *testing.T) {
	refusal := func(status int, id string) func(http.ResponseWriter) {
		return func(w http.ResponseWriter) { refuse(w, status, id) }
	}
	html := func(status int) func(http.ResponseWriter) {
		return func(w http.ResponseWriter) { sayHTML(w, status) }
	}
	hint := func(status int, value string) func(http.ResponseWriter) {
		return func(w http.ResponseWriter) {
			w.Header().Set("Retry-After", value)
			sayHTML(w, status)
		}
	}
	type outcomes struct {
		post, change, file chat.Outcome
		by                 chat.Origin
		after              time.Duration
	}
	all := func(o chat.Outcome) outcomes { return outcomes{post: o, change: o, file: o, by: chat.ByServer} }
	later := func(by chat.Origin, after time.Duration) outcomes {
		return outcomes{post: chat.Later, change: chat.Later, file: chat.FileTrouble, by: by, after: after}
	}
	refusedFile := func(o chat.Outcome) outcomes {
		return outcomes{post: o, change: o, file: chat.FileRefused, by: chat.ByServer}
	}
	shut := all(chat.Shut)
	tests := map[string]struct {
		answer func(http.ResponseWriter)
		want   outcomes
	}{
		"token refused":     {refusal(401, "api.context.session_expired.app_error"), later(chat.ByServer, 0)},
		"channel archived":  {refusal(400, "api.post.create_post.can_not_post_to_deleted.error"), shut},
		"edit in archived":  {refusal(400, "api.post.patch_post.can_not_update_post_in_deleted.error"), shut},
		"tap in archived":   {refusal(403, "api.reaction.save.archived_channel.app_error"), shut},
		"root gone":         {refusal(400, noRoot), refusedFile(chat.ThreadGone)},
		"root elsewhere":    {refusal(500, "api.post.create_post.channel_root_id.app_error"), refusedFile(chat.ThreadGone)},
		"post gone":         {refusal(404, "app.post.get.app_error"), refusedFile(chat.PostGone)},
		"too long":          {refusal(400, "model.post.is_valid.message_length.app_error"), refusedFile(chat.Never)},
		"file too large":    {refusal(413, "api.file.upload_file.too_large_detailed.app_error"), refusedFile(chat.Never)},
		"files are off":     {refusal(501, "api.file.attachments.disabled.app_error"), outcomes{post: chat.Later, change: chat.Later, file: chat.FileRefused, by: chat.ByServer}},
		"database refuses":  {refusal(500, "app.post.save.app_error"), later(chat.ByServer, 0)},
		"path changed":      {refusal(404, "api.context.404.app_error"), later(chat.ByServer, 0)},
		"deleted at once":   {refusal(500, "api.post.deduplicate_create_post.failed_to_get"), later(chat.ByServer, memory)},
		"rate limiter":      {limited, later(chat.ByProxy, time.Second)},
		"without a hint":    {html(429), later(chat.ByProxy, time.Second)},
		"proxy":             {html(503), later(chat.ByProxy, 0)},
		"proxy, hint":       {hint(503, "7"), later(chat.ByProxy, 7*time.Second)},
		"proxy, long hint":  {hint(503, "86400"), later(chat.ByProxy, time.Minute)},
		"proxy, a date":     {hint(503, "Mon, 02 Mar 2026 08:00:31 GMT"), later(chat.ByProxy, 30*time.Second)},
		"proxy, not found":  {html(404), later(chat.ByProxy, 0)},
		"proxy, forbidden":  {html(403), later(chat.ByProxy, 0)},
		"proxy, too large":  {html(413), later(chat.ByProxy, 0)},
		"proxy, elsewhere":  {html(421), later(chat.ByProxy, 0)},
		"proxy, bad":        {html(400), later(chat.ByProxy, 0)},
		"some other API":    {func(w http.ResponseWriter) { w.WriteHeader(404); io.WriteString(w, `{"error":"no route"}`) }, later(chat.ByProxy, 0)},
		"login page":        {html(200), later(chat.ByProxy, 0)},
		"redirection":       {html(302), later(chat.ByProxy, 0)},
		"nothing but done":  {func(w http.ResponseWriter) { w.Write([]byte("{}")) }, later(chat.ByProxy, 0)},
		"broken connection": {func(http.ResponseWriter) { panic(http.ErrAbortHandler) }, later(chat.ByNobody, 0)},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T) {
				c := newCrew(t)
				c.locked(func() {
					c.before = func(w http.ResponseWriter, r *http.Request) bool {
						if r.Method != http.MethodGet {
							test.answer(w)
						}
						return r.Method != http.MethodGet
					}
				})
				check := func(call string, err error, want chat.Outcome) {
					t.Helper()
					f := failureOf(t, err)
					if f.Outcome != want || f.By != test.want.by || f.After != test.want.after {
						t.Errorf("%s: %v by %v after %v (%v), want %v by %v after %v", call,
							f.Outcome, f.By, f.After, f, want, test.want.by, test.want.after)
					}
				}
				_, err := c.bot.Post(t.Context(), chat.Message{Key: "key", Text: "text"})
				check("Post", err, test.want.post)
				_, err = c.bot.Post(t.Context(), chat.Message{Key: "key", Text: "text", File: []byte("png"), FileName: "a.png"})
				check("Post with a file", err, test.want.file)
				check("Edit", c.bot.Edit(t.Context(), "x", "text"), test.want.change)
				check("Offer", c.bot.Offer(t.Context(), "x", 1), test.want.change)
			})
		})
	}
}

// TestSendDoesNotWait: a limiter's wish to wait goes to the outbox, also if it
// is the search for an earlier try, or the opening of a direct message, that
// meets the limiter.
func TestSendDoesNotWait(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.locked(func() {
			c.before = func(w http.ResponseWriter, r *http.Request) bool {
				w.Header().Set("Retry-After", "60")
				http.Error(w, "limit exceeded", http.StatusTooManyRequests)
				return true
			}
		})
		for _, m := range []chat.Message{
			{Key: "a", Text: "text", First: c.bot.Now()},
			{Key: "b", Text: "text", To: chat.To{Person: testerID}},
			{Key: "c", Text: "text", File: []byte("png"), FileName: "c.png"},
		} {
			began := time.Now()
			_, err := c.bot.Post(t.Context(), m)
			if f := failureOf(t, err); !f.Retry() || f.After != time.Minute || time.Since(began) > time.Second {
				t.Errorf("%s: %v after %v, and it took %v", m.Key, f, f.After, time.Since(began))
			}
		}
	})
}

// TestForbidden: the server says "forbidden" for several reasons, which are told
// apart.
func TestForbidden(t *testing.T) {
	tests := map[string]struct {
		change             func(c *crew, post string)
		post, edit, upload chat.Outcome
	}{
		"the post was deleted": {
			func(c *crew, post string) { c.deletes(post) }, -1, chat.PostGone, -1,
		},
		"the bot was taken out of the channel": {
			func(c *crew, _ string) { c.locked(func() { c.inside[crewID][botID] = false }) },
			chat.Shut, chat.Shut, chat.Shut,
		},
		"the channel is archived": {
			func(c *crew, _ string) { c.locked(func() { c.channels[crewID].DeleteAt = 1 }) },
			chat.Shut, chat.Shut, chat.Shut,
		},
		"a right was taken away": {
			func(c *crew, _ string) { c.locked(func() { c.before = refuseChanges }) },
			chat.Shut, chat.Later, chat.FileRefused,
		},
		"and a proxy spoils the search for the reason": {
			func(c *crew, _ string) {
				c.locked(func() {
					c.before = func(w http.ResponseWriter, r *http.Request) bool {
						if r.Method == http.MethodGet {
							sayHTML(w, 404)
							return true
						}
						return refuseChanges(w, r)
					}
				})
			},
			chat.Shut, chat.Later, chat.FileTrouble,
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T) {
				c := newCrew(t)
				id, err := c.bot.Post(t.Context(), chat.Message{Key: "key", Text: "text"})
				if err != nil {
					t.Fatal(err)
				}
				test.change(c, id)
				check := func(call string, err error, want chat.Outcome) {
					t.Helper()
					if want < 0 {
						return
					}
					if f := failureOf(t, err); f.Outcome != want || f.By != chat.ByServer {
						t.Errorf("%s: %v, by the %v; want %v", call, f, f.By, want)
					}
				}
				check("Edit", c.bot.Edit(t.Context(), id, "text 2"), test.edit)
				check("Offer", c.bot.Offer(t.Context(), id, 1), test.edit)
				_, err = c.bot.Post(t.Context(), chat.Message{Key: "key 2", Text: "text"})
				check("Post", err, test.post)
				_, err = c.bot.Post(t.Context(), chat.Message{Key: "key 3", Text: "text", File: []byte("png"), FileName: "a.png"})
				check("Post with a file", err, test.upload)
			})
		})
	}
}

func refuseChanges(w http.ResponseWriter, r *http.Request) bool {
	if r.Method != http.MethodGet {
		refuse(w, 403, noPermission)
	}
	return r.Method != http.MethodGet
}

func TestRootDeleted(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		root := c.says(testerID, crewID, "", "root").Id
		c.deletes(root)
		m := chat.Message{Key: "key", To: chat.To{Root: root}, Text: "text", First: c.bot.Now()}
		if _, err := c.bot.Post(t.Context(), m); failureOf(t, err).Outcome != chat.ThreadGone {
			t.Errorf("got %v, want one that says that the root is gone", err)
		}
	})
}

func TestEdit(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		id, err := c.bot.Post(t.Context(), chat.Message{Key: "key", Text: "3 min left"})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.bot.Edit(t.Context(), id, "2 min left\x00"); err != nil {
			t.Fatal(err)
		}
		c.expectPosts("2 min left")
		c.locked(func() {
			if props := c.row(id).Props; props[keyProp] != "key" || props["unsafe_links"] != "true" {
				t.Errorf("after the edit the props are %v", props)
			}
		})
		c.expect()
	})
}

func TestOffer(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		id, err := c.bot.Post(t.Context(), chat.Message{Key: "key", Text: "list"})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.bot.Offer(t.Context(), id, 10); err != nil {
			t.Fatal(err)
		}
		c.locked(func() {
			var got []string
			for _, r := range c.row(id).Metadata.Reactions {
				got = append(got, r.EmojiName)
			}
			if !slices.Equal(got, numbers) {
				t.Errorf("offered %q", got)
			}
		})
		if f := failureOf(t, c.bot.Offer(t.Context(), id, 11)); f.Retry() {
			t.Error("an eleventh number is worth a retry")
		}
		c.expect()
	})
}

// TestUploadHangs: a post does not wait for ever for its file to be taken.
func TestUploadHangs(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.locked(func() {
			c.before = func(_ http.ResponseWriter, r *http.Request) bool {
				if !strings.HasSuffix(r.URL.Path, "/files") {
					return false
				}
				time.Sleep(2 * requestTimeout)
				return true
			}
		})
		m := chat.Message{Key: "k1", Text: "FAIL", File: []byte("png"), FileName: "R-0001.png"}
		began := time.Now()
		_, err := c.bot.Post(t.Context(), m)
		if f := failureOf(t, err); f.Outcome != chat.FileTrouble || f.By != chat.ByNobody {
			t.Errorf("got %v, by the %v", f, f.By)
		}
		if took := time.Since(began); took > requestTimeout+time.Second {
			t.Errorf("it took %v", took)
		}
		c.expectPosts()
		time.Sleep(2 * requestTimeout) // for the last request to end
	})
}

func TestSendable(t *testing.T) {
	long := strings.Repeat("ä", model.PostMessageMaxRunesV2)
	for _, test := range []struct{ name, text, want string }{
		{"plain", "16.5 mbar\n\tok", "16.5 mbar\n\tok"},
		{"NUL and other control characters", "a\x00b\x1bc\r\nd\u0085e", "abc\nde"},
		{"not UTF-8", "a\xffb", "a\uFFFDb"},
		{"as long as can be", long, long},
		{"too long", long + "x", strings.Repeat("ä", model.PostMessageMaxRunesV2-4) + "\n[…]"},
	} {
		if got := sendable(test.text); got != test.want {
			t.Errorf("%s: got %.40q…, %d bytes", test.name, got, len(got))
		}
	}
}

func TestFile(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		content, err := c.bot.File(t.Context(), "f1")
		if err != nil {
			t.Fatal(err)
		}
		if got, err := io.ReadAll(content); err != nil || string(got) != "content of f1" {
			t.Errorf("got %q, %v", got, err)
		}
		content.Close()
		if _, err := c.bot.File(t.Context(), "gone"); failureOf(t, err).Retry() || !errors.Is(err, chat.ErrGone) {
			t.Errorf("got %v, want one that is not worth a retry, of a file that is gone", err)
		}
		for _, test := range []struct {
			status int
			id     string // none: a proxy's page
			retry  bool
		}{
			{404, "api.file.file_reader.app_error", false}, // the storage cannot give it
			{404, "", true},
			{401, "api.context.session_expired.app_error", true},
			{403, "api.context.permissions.app_error", true},
			{500, "app.file_info.get.app_error", true},
			{502, "", true},
			{302, "", true},
		} {
			c.locked(func() {
				c.before = func(w http.ResponseWriter, r *http.Request) bool {
					if test.id == "" {
						sayHTML(w, test.status)
					} else {
						refuse(w, test.status, test.id)
					}
					return true
				}
			})
			if _, err := c.bot.File(t.Context(), "f1"); failureOf(t, err).Retry() != test.retry || errors.Is(err, chat.ErrGone) {
				t.Errorf("status %d %s: got %v, want one of a file that may be there, worth a retry: %v", test.status, test.id, err, test.retry)
			}
		}
	})
}

// TestRecent: what is long past is forgotten, what is not is there.
func TestRecent(t *testing.T) {
	var r recent
	for i := range 5 * generation {
		r.put(strconv.Itoa(i), "x")
		if _, ok := r.get(strconv.Itoa(max(0, i-generation+1))); !ok {
			t.Fatalf("one of the last %d is forgotten", generation)
		}
	}
	if n := len(r.young) + len(r.old); n > 2*generation {
		t.Errorf("%d are kept", n)
	}
}
