package core

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"time"
)

// Photo is an image that somebody posted in the thread of a run. The journal
// does not hold it: it says by which file of the chat server and by which
// SHA-256 it is known.
type Photo struct {
	File    string // chat server's id of the file
	Name    string // of the file
	Size    int64  // bytes, as the chat server says; 0 if it does not
	Caption string // what was said with it, if that was nothing to be done
	With    Link

	At   time.Time // when it was posted
	By   Person
	Post string // id of the post

	Type string // by its content, as "image/jpeg"; known together with Sum
	Sum  Sum    // of the file's bytes, zero as long as it is not known
	Lost Loss   // why it never will be
}

// Settled reports whether nothing more will become known of a photo.
func (p Photo) Settled() bool { return p.Sum != Sum{} || p.Lost != "" }

// Sum is a SHA-256.
type Sum [sha256.Size]byte

// String returns the sum in 64 hexadecimal digits.
func (s Sum) String() string { return hex.EncodeToString(s[:]) }

// ParseSum reads a sum as its String writes it.
func ParseSum(digits string) (Sum, error) {
	var s Sum
	data, err := hex.DecodeString(digits)
	if err != nil || len(data) != len(s) {
		return Sum{}, fmt.Errorf("%q is no SHA-256: it has %d digits, 0 to 9 and a to f", digits, hex.EncodedLen(len(s)))
	}
	return Sum(data), nil
}

// Loss names a reason why the sum of a photo will never be known.
type Loss string

// The losses.
const (
	PhotoGone     Loss = "the chat server does not have the file any more"
	PhotoTooLarge Loss = "the file is too large"
	NoPhoto       Loss = "the file is no image"
)

// Link is what a photo came with: the reading, leak, note or item with the
// number N, or just the phase that the run was in.
type Link struct {
	To    Linked
	N     int // 0 where there is nothing to number, or several
	Phase Phase
}

// Linked names what a photo can come with.
type Linked string

// What a photo can come with.
const (
	WithPhase   Linked = "phase"
	WithReading Linked = "reading" // taken or corrected; N is its number
	WithLeak    Linked = "leak"    // N is its place in Run.Leaks, from 1
	WithDefect  Linked = "defect"  // N is the item of the prepare list
	WithNote    Linked = "note"    // N is its place in Run.Notes, from 1
	WithList    Linked = "list"    // N is the item, if it was one
	WithAir     Linked = "air"     // temperature or barometer
)

// Linked returns what a photo is linked to. The facts are those of the same post; they
// turned r into after.
func (r Run) Linked(after Run, facts []Fact) Link {
	phase := r.Phase
	if phase == "" { // the post opened the run
		phase = after.Phase
	}
	for _, f := range facts {
		if l, ok := after.made(f); ok {
			l.Phase = phase
			return l
		}
	}
	return Link{To: WithPhase, Phase: phase}
}

// made returns what the fact just applied to the run made, if a photo can be linked to
// it.
func (r *Run) made(f Fact) (Link, bool) {
	one := func(items []int) int {
		if len(items) == 1 {
			return items[0]
		}
		return 0
	}
	switch f := f.(type) {
	case Taken:
		return Link{To: WithReading, N: f.Reading.N}, true
	case Corrected:
		return Link{To: WithReading, N: f.N}, true
	case LeakFound:
		return Link{To: WithLeak, N: len(r.Leaks)}, true
	case DefectSeen:
		return Link{To: WithDefect, N: f.Item}, true
	case Noted:
		return Link{To: WithNote, N: len(r.Notes)}, true
	case Ticked:
		return Link{To: WithList, N: one(f.Items)}, true
	case Unticked:
		return Link{To: WithList, N: one(f.Items)}, true
	case AirNoted, BaroNoted:
		return Link{To: WithAir}, true
	}
	return Link{}, false
}

// Photo returns the photo with a file of the chat server.
func (r Run) Photo(file string) (Photo, bool) {
	if i := r.photo(file); i >= 0 {
		return r.Photos[i], true
	}
	return Photo{}, false
}

func (r *Run) photo(file string) int {
	return slices.IndexFunc(r.Photos, func(p Photo) bool { return p.File == file })
}

// pictured applies what an entry says of photos. If a photo came with words that meant
// nothing or with a doubtful reading, it is linked to what comes of them later, when
// the post is edited or the question is answered.
func (r *Run) pictured(e Entry) {
	switch f := e.Fact.(type) {
	case PhotoPosted:
		if r.photo(f.File) < 0 {
			r.Photos = append(slices.Clip(r.Photos), Photo{
				File: f.File, Name: f.Name, Size: f.Size, Caption: f.Caption, With: f.With,
				At: e.At, By: e.By, Post: e.Event,
			})
		}
		return
	case PhotoKept:
		r.settle(f.File, func(p *Photo) { p.Type, p.Sum = f.Type, f.Sum })
		return
	case PhotoLost:
		r.settle(f.File, func(p *Photo) { p.Lost = f.Why })
		return
	}
	link, ok := r.made(e.Fact)
	if !ok {
		return
	}
	posts := []string{e.Event}
	if taken, ok := e.Fact.(Taken); ok {
		posts = append(posts, taken.Reading.Post)
	}
	for i, p := range r.Photos {
		if p.With.To == WithPhase && p.Post != "" && slices.Contains(posts, p.Post) {
			link.Phase = p.With.Phase
			r.Photos = slices.Clone(r.Photos)
			r.Photos[i].With = link
		}
	}
}

// settle says what became of a photo, once.
func (r *Run) settle(file string, as func(*Photo)) {
	if i := r.photo(file); i >= 0 && !r.Photos[i].Settled() {
		r.Photos = slices.Clone(r.Photos)
		as(&r.Photos[i])
	}
}
