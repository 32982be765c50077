package engine

import (
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"
	"unicode"

	"benchbell/bot/chat"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Photos posted in the thread of a run. What is attached to a post is entered
// at once, with a wake time that makes the Fetcher read the file; what its
// content is comes back as an event of its own.

// imageNames are the endings of the names of images. Only the content tells what a file
// is; until it is read the name has to do.
var imageNames = []string{".jpg", ".jpeg", ".png", ".heic", ".heif", ".webp", ".gif", ".avif", ".tif", ".tiff", ".dng", ""}

func looksLikeImage(name string) bool {
	return slices.Contains(imageNames, strings.ToLower(path.Ext(name)))
}

func anyImage(files []chat.File) bool {
	return slices.ContainsFunc(files, func(f chat.File) bool { return looksLikeImage(f.Name) })
}

// wordless reports whether nothing was said with what is attached.
func (t *turn) wordless() bool {
	return strings.TrimFunc(t.text, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) }) == ""
}

// pictured reports whether the post in a run's thread that the event is about
// has a photo, as far as its name tells.
func (t *turn) pictured() bool {
	if t.in != commands.Thread {
		return false
	}
	switch w := t.ev.What.(type) {
	case chat.Said:
		return anyImage(w.Files)
	case chat.Edited:
		return slices.ContainsFunc(t.run.Photos, func(p core.Photo) bool { return p.Post == w.Post })
	}
	return false
}

// isCaption reports whether words that were taken for want, or for nothing, are what
// somebody says of a photo: those that mean nothing, and those that look like the tag
// of an unknown suit, such as "valve 2".
func (t *turn) isCaption(want any, err error) bool {
	if err == nil || !t.pictured() {
		return false
	}
	if misunderstood, is := errors.AsType[*commands.Misunderstood](err); is {
		return !misunderstood.Faulty
	}
	refusal, is := errors.AsType[*core.Refusal](err)
	_, asked := want.(core.AskSuit)
	return is && asked && refusal.Why == core.UnknownSuit
}

// caption leaves words that are a caption at that. Where they are nearly
// something else, that is asked.
func (t *turn) caption(err error) {
	t.reset()
	t.unheeded = true
	near, is := errors.AsType[*commands.Misunderstood](err)
	if is && t.ev.Who.Is(t.run.Tester) && !strings.HasPrefix(near.Try, "help") && !strings.HasPrefix(near.Try, "note") {
		t.perhaps = near.Try
	}
}

// photos records the attached files and links them to the facts of the same post. If
// the text meant nothing, it is the caption.
func (t *turn) photos() error {
	said, ok := t.ev.What.(chat.Said)
	if !ok || !t.heard || t.imports {
		return nil
	}
	files := slices.DeleteFunc(slices.Clone(said.Files), func(f chat.File) bool { return f.ID == "" })
	switch {
	case len(files) == 0:
		return nil
	case !t.hasRun:
		if anyImage(files) {
			t.beside(t.speak.PhotoElsewhere(t.runChoices()))
		}
		return nil
	}
	var made []core.Fact
	for _, e := range t.entries {
		if e.Run == t.after.ID {
			made = append(made, e.Fact)
		}
	}
	with, caption := t.run.Linked(t.after, made), ""
	if t.unheeded && len(made) == 0 && !t.wordless() {
		caption = t.text
	}
	var facts []core.Fact
	var lines []string
	kept := 0
	for _, f := range files {
		facts = append(facts, core.PhotoPosted{File: f.ID, Name: f.Name, Size: f.Size, Caption: caption, With: with})
		switch {
		case f.Size > chat.LargestPhoto:
			facts = append(facts, core.PhotoLost{File: f.ID, Why: core.PhotoTooLarge})
			lines = append(lines, t.speak.PhotoLost(core.Photo{Name: f.Name, Lost: core.PhotoTooLarge}))
			continue
		case looksLikeImage(f.Name):
			kept++
		}
		t.wake(chat.PhotoKey(t.after.ID, f.ID), t.ev.At)
	}
	if kept > 0 {
		lines = append([]string{t.speak.Photos(kept, with, caption != "")}, lines...)
	}
	if t.perhaps != "" {
		lines = append(lines, t.speak.PerhapsMeant(t.perhaps))
	}
	if _, err := t.enterOnRun(facts); err != nil {
		return err
	}
	t.beside(strings.Join(lines, "\n"))
	return nil
}

// beside adds a line to what is answered to the event, or says it by itself.
func (t *turn) beside(line string) {
	if line == "" {
		return
	}
	back := t.reply("")
	for i, o := range t.out {
		isAnswer := o.Kind == store.Post && (strings.HasPrefix(o.Key, t.answerKey(o)) || chat.IsVerdict(o.Key))
		if isAnswer && (t.hasRun && o.Thread == chat.CardKey(t.after.ID) ||
			o.Thread == back.Thread && o.Person == back.Person && o.Channel == back.Channel && o.Root == back.Root) {
			t.out[i].Text = commands.AddLine(o.Text, line)
			return
		}
	}
	if t.hasRun {
		t.say(commands.Message{Dest: commands.ToRun, Text: line})
		return
	}
	t.answer(line)
}

// fetched enters what the file of a photo is. It is said where something else
// was said before, or nothing.
func (t *turn) fetched(w chat.Fetched) error {
	t.wake(w.Key, time.Time{})
	id, file, ok := chat.ParsePhotoKey(w.Key)
	if !ok {
		return fmt.Errorf("a file of nothing was read: %q", w.Key)
	}
	if err := t.takeRun(id); err != nil {
		return err
	}
	photo, ok := t.run.Photo(file)
	if !ok || photo.Settled() {
		return nil
	}
	var fact core.Fact = core.PhotoKept{File: file, Type: w.Type, Sum: w.Sum}
	if w.Lost != "" {
		fact = core.PhotoLost{File: file, Why: w.Lost}
	}
	if _, err := t.enterOnRun([]core.Fact{fact}); err != nil {
		return err
	}
	photo, _ = t.after.Photo(file)
	switch {
	case photo.Lost != "":
		t.say(commands.Message{Dest: commands.ToRun, Text: t.speak.PhotoLost(photo)})
	case !looksLikeImage(photo.Name):
		t.say(commands.Message{Dest: commands.ToRun, Text: t.speak.PhotoKept(photo)})
	}
	return nil
}
