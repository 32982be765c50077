package chattest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"benchbell/bot/chat"
)

// A Board is a chat server in memory that fails as it is told to. Like a real
// one it finds a post again by its key, and only if it is told to look.
type Board struct {
	mu    sync.Mutex
	Posts []Post
	Files map[string][]byte // attached to posts, by id
	Calls []Call
	// Fault is asked before each call; During is called in the midst of one.
	Fault  func(c Call) error
	During func(c Call)
	After  func(c Call) error // the answer is lost
}

// A Post is a post that stands on the board.
type Post struct {
	Id, Key, Text string
	To            chat.To
	Numbers       int
}

// A Call is one call of the board, as "post KEY", "edit ID", "offer ID" or "file ID".
type Call struct {
	What  string
	At    time.Time
	First time.Time
	Text  string
	File  string // its name
	To    chat.To
}

func (b *Board) begin(c Call) error {
	c.At = time.Now()
	b.mu.Lock()
	b.Calls = append(b.Calls, c)
	fault, during := b.Fault, b.During
	b.mu.Unlock()
	if during != nil {
		during(c)
	}
	if fault != nil {
		return fault(c)
	}
	return nil
}

func (b *Board) Post(_ context.Context, m chat.Message) (string, error) {
	c := Call{What: "post " + m.Key, First: m.First, Text: m.Text, File: m.FileName, To: m.To}
	if err := b.begin(c); err != nil {
		return "", err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	i := slices.IndexFunc(b.Posts, func(p Post) bool { return p.Key == m.Key })
	if i < 0 || m.First.IsZero() {
		i = len(b.Posts)
		b.Posts = append(b.Posts, Post{Id: fmt.Sprintf("p%d", i+1), Key: m.Key, Text: m.Text, To: m.To})
	}
	if b.After != nil {
		if err := b.After(c); err != nil {
			return "", err
		}
	}
	return b.Posts[i].Id, nil
}

func (b *Board) Edit(_ context.Context, id, text string) error {
	return b.change(Call{What: "edit " + id, Text: text}, id, func(p *Post) { p.Text = text })
}

func (b *Board) Offer(_ context.Context, id string, n int) error {
	return b.change(Call{What: "offer " + id}, id, func(p *Post) { p.Numbers = n })
}

func (b *Board) change(c Call, id string, how func(*Post)) error {
	if err := b.begin(c); err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range b.Posts {
		if b.Posts[i].Id == id {
			how(&b.Posts[i])
			return nil
		}
	}
	return &chat.SendError{Err: errors.New("no such post"), Outcome: chat.PostGone, By: chat.ByServer}
}

// File returns what was put into Files.
func (b *Board) File(_ context.Context, id string) (io.ReadCloser, error) {
	if err := b.begin(Call{What: "file " + id}); err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	return io.NopCloser(bytes.NewReader(b.Files[id])), nil
}

// Set changes the board while others use it.
func (b *Board) Set(change func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change()
}

// Texts returns what stands on the board.
func (b *Board) Texts() (all []string) {
	b.Set(func() {
		for _, p := range b.Posts {
			all = append(all, p.Text)
		}
	})
	return all
}

// Called returns the calls whose What begins with what.
func (b *Board) Called(what string) (calls []Call) {
	b.Set(func() {
		for _, c := range b.Calls {
			if strings.HasPrefix(c.What, what) {
				calls = append(calls, c)
			}
		}
	})
	return calls
}

// Never is the error of a chat server that refuses a message for good.
var Never = &chat.SendError{Err: errors.New("the text is not to its taste"), Outcome: chat.Never, By: chat.ByServer}

// Only returns a Fault for the calls whose What begins with what.
func Only(what string, err error) func(Call) error {
	return func(c Call) error {
		if strings.HasPrefix(c.What, what) {
			return err
		}
		return nil
	}
}

// RetryAfter returns the error of a call that can succeed after a time.
func RetryAfter(after time.Duration) error {
	return &chat.SendError{Err: errors.New("the line is bad"), After: after}
}
