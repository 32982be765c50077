package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/core"
)

// saying is what the bot posted, made comparable, and whom it told directly.
type saying struct{ to, text string }

// stage is a chat server in virtual time, with one crew channel and nobody but
// those who speak. It prints every post as it is made.
type stage struct {
	out    io.Writer
	zone   *time.Location
	now    time.Time
	posts  []*stagePost
	people map[string]bool
	gone   map[string]bool // whose account is deactivated
	files  []string        // paths of what was attached
	said   []saying        // what the bot posted since it was last cleared
	keep   string          // folder that what the bot attaches is written to, if any
	kept   int
}

type stagePost struct {
	id     string
	key    string
	by     string
	at     time.Time
	where  chat.Where
	label  string // where, for people
	text   string
	offers int
	edits  int

	deleted bool
	file    []byte // attached by the bot
}

const (
	stageCrew = "crew"
	stageBot  = "benchbell"
)

func newStage(out io.Writer, zone *time.Location, people ...string) *stage {
	s := &stage{out: out, zone: zone, people: make(map[string]bool), gone: make(map[string]bool)}
	for _, p := range people {
		s.people[p] = true
	}
	return s
}

// Post implements Chat.
func (s *stage) Post(_ context.Context, m chat.Message) (string, error) {
	for _, p := range s.posts {
		if p.key == m.Key {
			return p.id, nil
		}
	}
	p := &stagePost{key: m.Key, by: stageBot, text: m.Text, file: m.File, where: chat.Where{Channel: stageCrew, Root: m.To.Root}}
	switch {
	case m.To.Person != "":
		p.where = chat.Where{Channel: "dm/" + m.To.Person, Direct: true}
	case m.To.Channel != "":
		p.where.Channel = m.To.Channel
	}
	if root := s.find(m.To.Root); root != nil && root.deleted {
		return "", &chat.SendError{Err: errors.New("the first post of the thread was deleted"), Outcome: chat.ThreadGone, By: chat.ByServer}
	}
	s.add(p)
	if len(m.File) > 0 {
		fmt.Fprintf(s.out, "    [%s attached]\n", m.FileName)
		if err := s.save(m); err != nil {
			return "", &chat.SendError{Err: err, Outcome: chat.Never}
		}
	}
	s.said = append(s.said, saying{to: m.To.Person, text: plain(m.Text)})
	return p.id, nil
}

// save writes what is attached to a file, numbered since a run has several of
// one name.
func (s *stage) save(m chat.Message) error {
	if s.keep == "" {
		return nil
	}
	s.kept++
	return os.WriteFile(filepath.Join(s.keep, fmt.Sprintf("%02d-%s", s.kept, m.FileName)), m.File, 0o644)
}

func (s *stage) add(p *stagePost) {
	p.id = fmt.Sprintf("p%d", len(s.posts)+1)
	p.at = s.now
	p.label = s.label(p)
	s.posts = append(s.posts, p)
	s.print(p, "")
}

// label names the place of a post for people.
func (s *stage) label(p *stagePost) string {
	if who, ok := strings.CutPrefix(p.where.Channel, "dm/"); ok {
		return "direct with " + who
	}
	if root := s.find(p.where.Root); root != nil {
		if id, ok := chat.RunOfKey(root.key); ok {
			return id.String()
		}
		return "thread of " + root.by
	}
	return stageCrew
}

func (s *stage) head(p *stagePost, how string) {
	fmt.Fprintf(s.out, "\n%s  %s, %s%s\n", s.now.In(s.zone).Format("2006-01-02 15:04:05"), p.by, p.label, how)
}

func (s *stage) print(p *stagePost, how string) {
	s.head(p, how)
	if p.text == "" {
		return
	}
	for line := range strings.SplitSeq(p.text, "\n") {
		fmt.Fprintf(s.out, "    %s\n", line)
	}
}

func (s *stage) find(id string) *stagePost {
	if i := slices.IndexFunc(s.posts, func(p *stagePost) bool { return p.id == id }); i >= 0 {
		return s.posts[i]
	}
	return nil
}

// Edit implements Chat. Of an edit, only the lines that changed are printed.
func (s *stage) Edit(_ context.Context, id, text string) error {
	p := s.find(id)
	if p == nil || p.deleted {
		return &chat.SendError{Err: fmt.Errorf("no post %q", id), Outcome: chat.PostGone}
	}
	old := strings.Split(p.text, "\n")
	p.text = text
	s.head(p, " (edited)")
	for line := range strings.SplitSeq(text, "\n") {
		if !slices.Contains(old, line) {
			fmt.Fprintf(s.out, "    %s\n", line)
		}
	}
	s.said = append(s.said, saying{text: plain(text)})
	return nil
}

// Offer implements Chat.
func (s *stage) Offer(_ context.Context, id string, n int) error {
	if p := s.find(id); p != nil {
		p.offers = n
	}
	return nil
}

// who says who is who.
func (s *stage) who() chat.Event {
	var all []chat.Member
	for _, name := range slices.Sorted(maps.Keys(s.people)) {
		all = append(all, chat.Member{Person: person(name), Gone: s.gone[name]})
	}
	return chat.Event{ID: "people", At: s.now, What: chat.People{All: all}}
}

// attach puts a file on the server, as somebody's phone does.
func (s *stage) attach(path string) (chat.File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return chat.File{}, err
	}
	s.files = append(s.files, path)
	return chat.File{ID: fmt.Sprintf("f%d", len(s.files)), Name: filepath.Base(path), Size: info.Size()}, nil
}

// File implements chat.Files.
func (s *stage) File(_ context.Context, id string) (io.ReadCloser, error) {
	for i, path := range s.files {
		if id == fmt.Sprintf("f%d", i+1) {
			return os.Open(path)
		}
	}
	return nil, &chat.SendError{Err: fmt.Errorf("%w: %q", chat.ErrGone, id), Outcome: chat.Never}
}

// latestList returns the newest post with numbers under it, in a run's thread
// if root is set.
func (s *stage) latestList(root string) *stagePost {
	for _, p := range slices.Backward(s.posts) {
		if p.offers > 0 && (root == "" || p.where.Root == root) {
			return p
		}
	}
	return nil
}

// rootOf returns the first post of a run's thread: the newest, if it has several.
func (s *stage) rootOf(id core.RunID) *stagePost {
	for _, p := range slices.Backward(s.posts) {
		if chat.BaseKey(p.key) == chat.CardKey(id) {
			return p
		}
	}
	return nil
}
