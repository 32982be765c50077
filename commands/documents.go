package commands

import (
	"fmt"

	"benchbell/core"
)

// Record goes with a run's test record.
func (s Speaker) Record(run core.Run) string {
	text := fmt.Sprintf("Record of %s, %s.", run.ID, run.Suit.Tag)
	if run.Phase != core.Over {
		text += " The run is not closed yet."
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

// Seal tells how the journal stands, to be kept where nobody can edit it.
func (s Speaker) Seal(n uint64, head string) string {
	return lines(
		bold("Seal of the journal.")+fmt.Sprintf(" %d entries.", n),
		code(head),
		"Keep this post: a journal written anew no longer matches it.",
		fmt.Sprintf("To check: %s and the hash above.", code(fmt.Sprintf("benchbell verify %d", n))))
}

// FileRefused goes with what was to be said with a file that the chat server
// did not take.
func FileRefused(name string) string {
	return fmt.Sprintf("The chat server refused the file %s: ask its administrator.", name)
}
