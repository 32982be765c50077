package mattermost

import (
	"context"
	"sync"
	"time"

	"github.com/mattermost/mattermost/server/public/model"
)

// keyProp is the name under which a post carries its key.
const keyProp = "benchbell_key"

// sent is what the bot knows about its own posts without asking. It is filled from
// answers, events and catch-ups, and forgets the oldest.
type sent struct {
	mu    sync.Mutex
	ids   recent // post ids by key
	keys  recent // keys by post id; empty for a post that has none, or is not the bot's
	roots recent // threads by post id
}

// remember takes in one of the bot's own posts.
func (s *sent) remember(p *model.Post) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.roots.put(p.Id, p.RootId)
	if key, ok := p.GetProp(keyProp).(string); ok {
		s.ids.put(key, p.Id)
		s.keys.put(p.Id, key)
	}
}

// keyless takes in that a post has no key.
func (s *sent) keyless(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.keys.get(id); !ok {
		s.keys.put(id, "")
	}
}

// keep takes in the id of the post with a key. An answer to a repeated call can
// be the post without its props.
func (s *sent) keep(key, id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ids.put(key, id)
	s.keys.put(id, key)
}

func (s *sent) id(key string) (id string, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.ids.get(key)
}

// key returns the key of one of the bot's posts, empty for a post without one,
// and whether anything is known of the post.
func (s *sent) key(id string) (key string, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.keys.get(id)
}

func (s *sent) root(id string) (root string, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.roots.get(id)
}

// find asks the server for the post with a key that may have been made in a
// channel since first, and returns "" if there is none.
func (s *Server) find(ctx context.Context, key, channel string, first time.Time) (string, error) {
	posts, err := s.history(ctx, channel, first.Add(-overlap).UnixMilli(), "", false)
	if err != nil {
		if asFault(err).refused() {
			return "", nil // the channel is gone: posting will say so
		}
		return "", err
	}
	for _, p := range posts {
		// Old versions of an edited post carry its key, too.
		if p.UserId == s.me.ID && p.OriginalId == "" && p.GetProp(keyProp) == key {
			s.sent.remember(p)
			return p.Id, nil
		}
	}
	return "", nil
}

// recent is a map that forgets the oldest entries: at least the last generation
// of them is there.
type recent struct{ young, old map[string]string }

const generation = 10_000

func (r *recent) put(key, value string) {
	if r.young == nil || len(r.young) >= generation {
		r.old, r.young = r.young, make(map[string]string)
	}
	r.young[key] = value
}

func (r *recent) get(key string) (value string, ok bool) {
	if value, ok = r.young[key]; !ok {
		value, ok = r.old[key]
	}
	return value, ok
}
