package live

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/mattermost/mattermost/server/public/model"
)

// Post is what a channel shows of one post at some moment.
type Post struct {
	ID      string
	Root    string // the post that began its thread, empty for that one itself
	Channel Channel
	Author  string // empty for what the server itself says
	Text    string
	At      time.Time // by the server's clock
	Edited  bool
	Deleted bool
	Files   []string   // their ids
	Taps    []Reaction // in the order in which they were added
}

// Reaction is an emoji that somebody put under a post.
type Reaction struct {
	Emoji string // its name: thumbsup
	By    string
	at    int64
}

// Tapped tells whether somebody's emoji stands under the post.
func (p Post) Tapped(by, emoji string) bool {
	return slices.ContainsFunc(p.Taps, func(r Reaction) bool { return r.By == by && r.Emoji == emoji })
}

// Says tells whether the post contains the words. Case, emphasis, line breaks
// and the invisible spaces that take the effect from an @ do not count.
func (p Post) Says(words string) bool {
	return strings.Contains(plain(p.Text), plain(words))
}

var emphasis = strings.NewReplacer("*", "", "`", "", "\u200b", "")

func plain(text string) string {
	return strings.Join(strings.Fields(strings.ToLower(emphasis.Replace(text))), " ")
}

// Transcript is what a channel shows, in the order in which it was posted.
type Transcript []Post

// Transcript returns all posts of a channel as they are now, the deleted ones
// too. The server must be up.
func (s *Station) Transcript(channel Channel) Transcript {
	s.t.Helper()
	transcript, err := s.transcript(s.t.Context(), channel)
	if err != nil {
		s.t.Fatal(err)
	}
	return transcript
}

func (s *Station) transcript(ctx context.Context, channel Channel) (Transcript, error) {
	client := s.client(s.ground.accounts.admin.token)
	const perPage = 200
	var posts []*model.Post
	for page := 0; ; page++ {
		list, _, err := client.GetPostsForChannel(ctx, channel.ID, page, perPage, "", false, true)
		if err != nil {
			return nil, fmt.Errorf("reading the channel %s: %w", channel.Name, err)
		}
		for _, id := range list.Order {
			posts = append(posts, list.Posts[id])
		}
		if len(list.Order) < perPage {
			break
		}
	}
	var transcript Transcript
	for _, post := range inOrder(posts) {
		transcript = append(transcript, s.post(post, channel))
	}
	return transcript, nil
}

// inOrder sorts posts by their time and leaves out the old versions of edited
// ones, which the server keeps as posts with ids of their own.
func inOrder(posts []*model.Post) []*model.Post {
	posts = slices.DeleteFunc(posts, func(p *model.Post) bool { return p.OriginalId != "" })
	slices.SortFunc(posts, func(a, b *model.Post) int {
		return cmp.Or(cmp.Compare(a.CreateAt, b.CreateAt), cmp.Compare(a.Id, b.Id))
	})
	return posts
}

// post returns a post as the tests see it.
func (s *Station) post(post *model.Post, channel Channel) Post {
	seen := Post{
		ID:      post.Id,
		Root:    post.RootId,
		Channel: channel,
		Author:  s.name(post.UserId),
		Text:    post.Message,
		At:      time.UnixMilli(post.CreateAt),
		Edited:  post.EditAt != 0,
		Deleted: post.DeleteAt != 0,
		Files:   append([]string(nil), post.FileIds...),
	}
	if post.IsSystemMessage() {
		seen.Author = ""
	}
	if post.Metadata != nil {
		for _, r := range post.Metadata.Reactions {
			seen.Taps = withTap(seen.Taps, s.reaction(r))
		}
	}
	return seen
}

func (s *Station) reaction(r *model.Reaction) Reaction {
	return Reaction{Emoji: r.EmojiName, By: s.name(r.UserId), at: r.CreateAt}
}

// withTap returns the reactions with one more; the same one counts once.
func withTap(taps []Reaction, tap Reaction) []Reaction {
	taps = append(withoutTap(taps, tap), tap)
	slices.SortFunc(taps, func(a, b Reaction) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.Emoji, b.Emoji), cmp.Compare(a.By, b.By))
	})
	return taps
}

// withoutTap returns the reactions without one, nil when none are left.
func withoutTap(taps []Reaction, tap Reaction) []Reaction {
	var others []Reaction
	for _, other := range taps {
		if other.By != tap.By || other.Emoji != tap.Emoji {
			others = append(others, other)
		}
	}
	return others
}

// name returns the name of the account with an id.
func (s *Station) name(id string) string {
	switch known := &s.ground.accounts; id {
	case known.botID:
		return botName
	case known.admin.id:
		return known.admin.name
	default:
		for _, person := range known.people {
			if person.id == id {
				return person.name
			}
		}
		return id
	}
}

// By returns the posts of one author.
func (tr Transcript) By(author string) Transcript {
	return slices.DeleteFunc(slices.Clone(tr), func(p Post) bool { return p.Author != author })
}

// CheckOnce fails the test if the bot said the same twice in one thread, or
// twice in the channel outside of threads, apart from texts in which one of the
// phrases in may stands.
func (tr Transcript) CheckOnce(t *testing.T, may ...string) {
	t.Helper()
	first := make(map[[2]string]int)
	for i, post := range tr {
		allowed := slices.ContainsFunc(may, post.Says)
		if post.Author != botName || post.Deleted || allowed {
			continue
		}
		key := [2]string{post.Root, post.Text}
		if earlier, ok := first[key]; ok {
			t.Errorf("the bot said the same in posts %d and %d:\n%s", earlier+1, i+1, tr)
			return
		}
		first[key] = i
	}
}

// String returns the transcript for a person to read: a numbered line for each
// post, with the number of the post that began its thread.
func (tr Transcript) String() string {
	var b strings.Builder
	number := make(map[string]int)
	for i, post := range tr {
		number[post.ID] = i + 1
		thread := ""
		if post.Root != "" {
			thread = fmt.Sprintf("↳%d ", number[post.Root])
		}
		author := cmp.Or(post.Author, "server")
		fmt.Fprintf(&b, "%3d %s %s %s%s: %s%s\n", i+1, post.At.UTC().Format("15:04:05.000"), post.Channel.Name,
			thread, author, strings.ReplaceAll(post.Text, "\n", "\n      | "), post.marks())
	}
	return b.String()
}

func (p Post) marks() string {
	var marks strings.Builder
	if p.Edited {
		marks.WriteString(" (edited)")
	}
	if p.Deleted {
		marks.WriteString(" (deleted)")
	}
	if n := len(p.Files); n > 0 {
		fmt.Fprintf(&marks, " (files: %d)", n)
	}
	for _, tap := range p.Taps {
		fmt.Fprintf(&marks, " :%s: by %s", tap.Emoji, tap.By)
	}
	return marks.String()
}
