package live

import (
	"cmp"
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

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
	Key     string    // by which the bot knows a post of its own again
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
		Key:     keyOf(post),
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

// keyOf returns the key in the props of a post. People cannot set it to mean
// anything: only that of the bot's own posts is looked at.
func keyOf(post *model.Post) string {
	key, _ := post.GetProp("benchbell_key").(string)
	return key
}

func (s *Station) reaction(r *model.Reaction) Reaction {
	return Reaction{Emoji: r.EmojiName, By: s.name(r.UserId), at: r.CreateAt}
}

// withTap returns the reactions with one more; the same one counts once.
func withTap(taps []Reaction, tap Reaction) []Reaction {
	taps = append(withoutTap(taps, tap), tap)
	slices.SortStableFunc(taps, func(a, b Reaction) int { return cmp.Compare(a.at, b.at) })
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

// In returns the posts of one thread, the one that began it first.
func (tr Transcript) In(root Post) Transcript {
	return slices.DeleteFunc(slices.Clone(tr), func(p Post) bool { return p.Root != root.ID && p.ID != root.ID })
}

// Saying returns the posts that contain the words.
func (tr Transcript) Saying(words string) Transcript {
	return slices.DeleteFunc(slices.Clone(tr), func(p Post) bool { return !p.Says(words) })
}

// CheckOnce fails the test if the bot made one post twice, which its key tells,
// or said the same twice in one thread, or twice in the channel outside of
// threads, apart from texts in which one of the phrases in may stands.
func (tr Transcript) CheckOnce(t *testing.T, may ...string) {
	t.Helper()
	keys := make(map[string]bool)
	texts := make(map[[2]string]int)
	for i, post := range tr {
		if post.Author != botName || post.Deleted {
			continue
		}
		if post.Key == "" || keys[post.Key] {
			t.Errorf("post %d has the key %q, empty or of another post:\n%s", i+1, post.Key, tr)
			return
		}
		keys[post.Key] = true
		if slices.ContainsFunc(may, post.Says) {
			continue
		}
		text := [2]string{post.Root, post.Text}
		if earlier, ok := texts[text]; ok {
			t.Errorf("the bot said the same in posts %d and %d:\n%s", earlier+1, i+1, tr)
			return
		}
		texts[text] = i
	}
}

// widest is how many characters a line of the bot's may have: three lines of a
// phone. Those of more than two are reported in the log.
const (
	widest = 99
	wide   = 60
)

// CheckLines fails the test if a line of the bot's is too wide for a phone.
func (tr Transcript) CheckLines(t *testing.T) {
	t.Helper()
	for _, post := range tr.By(botName) {
		for line := range strings.SplitSeq(post.Text, "\n") {
			switch width := utf8.RuneCountInString(emphasis.Replace(line)); {
			case width > widest:
				t.Errorf("a line of %d characters: %s", width, line)
			case width > wide:
				t.Logf("a line of %d characters: %s", width, line)
			}
		}
	}
}

var mentioned = regexp.MustCompile(`@[\pL\pN][\pL\pN._-]*`)

// CheckMentions fails the test if the bot mentions anybody but the people named,
// or anything at all that the server would alert somebody for.
func (tr Transcript) CheckMentions(t *testing.T, may ...string) {
	t.Helper()
	for i, post := range tr {
		if post.Author != botName {
			continue
		}
		for _, name := range mentioned.FindAllString(outsideCode(post.Text), -1) {
			if !slices.Contains(may, strings.TrimRight(name[1:], ".-_")) {
				t.Errorf("the bot mentions %s in post %d:\n%s", name, i+1, tr)
			}
		}
	}
}

// outsideCode returns what is left of a text when inline code is taken out: a
// code span is what stands between two runs of equally many backticks
// (CommonMark 0.31.2, section 6.1).
func outsideCode(text string) string {
	var b strings.Builder
	for text != "" {
		before, rest := cutAt(text, strings.IndexByte(text, '`'))
		b.WriteString(before)
		fence, after := cutFence(rest)
		if end := closing(after, fence); end >= 0 {
			text = after[end:]
			continue
		}
		b.WriteString(fence)
		text = after
	}
	return b.String()
}

// cutAt cuts a text in two, with nothing in the second part if i is negative.
func cutAt(text string, i int) (before, after string) {
	if i < 0 {
		return text, ""
	}
	return text[:i], text[i:]
}

// cutFence cuts off the backticks that a text begins with.
func cutFence(text string) (fence, after string) {
	after = strings.TrimLeft(text, "`")
	return text[:len(text)-len(after)], after
}

// closing returns where the first fence of this length in a text ends, -1 if
// there is none.
func closing(text, fence string) int {
	at := 0
	for {
		before, rest := cutAt(text[at:], strings.IndexByte(text[at:], '`'))
		if rest == "" {
			return -1
		}
		found, _ := cutFence(rest)
		at += len(before) + len(found)
		if len(found) == len(fence) {
			return at
		}
	}
}

// String returns the transcript for a person to read: a numbered line for each
// post, with the number of the post that began its thread. The text of a post
// that stands there twice is not repeated.
func (tr Transcript) String() string {
	var b strings.Builder
	number := make(map[string]int)
	texts := make(map[string]string)
	for i, post := range tr {
		number[post.ID] = cmp.Or(number[post.ID], i+1)
		thread := ""
		if post.Root != "" {
			thread = fmt.Sprintf("↳%d ", number[post.Root])
		}
		text := strings.ReplaceAll(post.Text, "\n", "\n      | ")
		if before, ok := texts[post.ID]; ok && before == post.Text {
			text = fmt.Sprintf("(as in %d)", number[post.ID])
		}
		texts[post.ID] = post.Text
		author := cmp.Or(post.Author, "server")
		fmt.Fprintf(&b, "%3d %s %s %s%s: %s%s\n", i+1, post.At.UTC().Format("15:04:05.000"), post.Channel.Name,
			thread, author, text, post.marks())
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
