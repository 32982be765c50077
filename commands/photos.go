package commands

import (
	"fmt"
	"strings"

	"benchbell/core"
)

// Photos acknowledges photos that came with one post; words says whether what
// was said with them is kept as words only.
func (s Speaker) Photos(n int, with core.Link, words bool) string {
	what := "Photo"
	if n > 1 {
		what = fmt.Sprintf("%d photos", n)
	}
	if words {
		what += " and words"
	}
	return fmt.Sprintf("%s kept %s.", what, LinkWords(with))
}

// PerhapsMeant names what words kept with a photo could have been meant for.
func (s Speaker) PerhapsMeant(try string) string {
	return fmt.Sprintf("Or did you mean %s?", typed(try))
}

// PhotoKept is for a photo whose name did not look like one.
func (s Speaker) PhotoKept(p core.Photo) string {
	return fmt.Sprintf("%s is a photo: kept %s.", quote(p.Name), LinkWords(p.With))
}

// PhotoLost says why a file that was posted is not kept.
func (s Speaker) PhotoLost(p core.Photo) string {
	switch p.Lost {
	case core.PhotoGone:
		return fmt.Sprintf("Not kept: the chat server has %s no more. Post it again. %s", quote(p.Name), at(p.By))
	case core.PhotoTooLarge:
		return fmt.Sprintf("Not kept: %s is larger than 100 MB. Post a smaller one.", quote(p.Name))
	}
	return fmt.Sprintf("Not kept: %s is no photo (JPEG, PNG, HEIC, WebP).", quote(p.Name))
}

// PhotoElsewhere says where photos are kept; runs are those that can be meant.
func (s Speaker) PhotoElsewhere(runs []string) string {
	if len(runs) == 0 {
		return "A photo is kept only in a run's thread: post it there."
	}
	return fmt.Sprintf("Photo not kept: post it in the thread of %s.", strings.Join(runs, " or "))
}

// LinkWords says what a photo came with: "with reading 3", "in the hold".
func LinkWords(l core.Link) string {
	switch l.To {
	case core.WithReading:
		return fmt.Sprintf("with reading %d", l.N)
	case core.WithLeak:
		return fmt.Sprintf("with leak %d", l.N)
	case core.WithDefect:
		return fmt.Sprintf("with the defect at item %d", l.N)
	case core.WithNote:
		return "with the note"
	case core.WithAir:
		return "with the air noted"
	case core.WithList:
		if l.N != 0 {
			return fmt.Sprintf("with item %d of the %s list", l.N, listName(l.Phase))
		}
		return fmt.Sprintf("with the %s list", listName(l.Phase))
	}
	switch l.Phase {
	case core.Prepare:
		return "while preparing"
	case core.Restore:
		return "while unplugging"
	case core.Over:
		return "after the run was closed"
	}
	return "in the " + string(l.Phase)
}

func listName(p core.Phase) string {
	if p == core.Restore {
		return "unplugging"
	}
	return string(p)
}

// AddLine adds a line to a post, before the mention that ends it.
func AddLine(text, line string) string {
	head, last := "", text
	if i := strings.LastIndexByte(text, '\n'); i >= 0 {
		head, last = text[:i], text[i+1:]
	}
	if strings.HasPrefix(last, "@") {
		return lines(head, line, last)
	}
	return lines(text, line)
}
