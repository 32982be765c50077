package commands

import (
	"fmt"
	"time"

	"benchbell/core"
)

// Record goes with a run's test record.
func (s Speaker) Record(run core.Run) string {
	text := fmt.Sprintf("Record of %s, %s.", run.ID, run.Suit.Tag)
	if run.Phase != core.Over {
		text += " The run is not closed yet."
	}
	if not, why := NotFitYet(run); not != "" {
		text = lines(bold(not+":")+" "+why+".", text)
	}
	unread := 0
	for _, p := range run.Photos {
		if !p.Settled() {
			unread++
		}
	}
	if unread > 0 {
		text = lines(text, fmt.Sprintf("Photos still to be read: %d. Ask again for their SHA-256.", unread))
	}
	return text
}

// Logbook goes with a suit's logbook.
func Logbook(tag string) string { return "Logbook of " + tag + "." }

// ShelfList goes with the list for the wall.
func ShelfList(day core.Date) string {
	return fmt.Sprintf("List for the wall, %s. Valid today only.", day)
}

// Seal tells how the journal stands in a month, to be kept where nobody can
// edit it: what to do with it first, then what to do if somebody doubts a
// record, with the very command.
func (s Speaker) Seal(month time.Month, n uint64, head string) string {
	return lines(
		bold("Seal of the records, "+month.String()+".")+" Keep this post. Nothing else to do.",
		"If somebody changes a record made so far, it will show.",
		"Doubts about one? The keeper stops me and types",
		code(fmt.Sprintf("benchbell verify %d %s", n, head)),
		"It answers that the journal is whole, or where it is not.")
}

// FileRefused is the line in place of a file that the chat server refused.
func FileRefused(name string) string {
	return fmt.Sprintf("The chat server refused the file %s, so it is not attached. Ask its administrator.", name)
}
