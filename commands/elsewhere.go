package commands

import (
	"fmt"

	"benchbell/core"
)

// What is said in one place of something that goes on in another, and the short
// answers about the register and its documents.

// GoOnInThread points from anywhere to the thread of a run.
func GoOnInThread(run core.Run) string {
	return fmt.Sprintf("%s: go on in the thread of %s.", run.Suit.Tag, run.ID)
}

// OpenInThread answers who opened a run in a direct message.
func OpenInThread(run core.Run) string {
	return fmt.Sprintf("%s is open in the crew channel: go on in its thread.", run.ID)
}

// ListAgain is the checklist that stands open, for a post that takes the place of one
// that is gone.
func ListAgain(run core.Run) Message {
	return Message{Dest: ToList, New: true, N: run.Lists, Text: list(run), Offer: len(run.List())}
}

// EditNotHeard answers an edit of words that were carried out before.
func EditNotHeard() string { return "An edit corrects a reading only. Say it again as a new post." }

// Registered answers a change of one entry of the register.
func Registered(name string, changed bool) string {
	if changed {
		return name + " is changed in the register."
	}
	return name + " is in the register."
}

// Imported answers files that were taken into the register.
func Imported(suits, manometers, tests int) string {
	return fmt.Sprintf("Taken: %d suits, %d manometers, %d new past tests.", suits, manometers, tests)
}

// Logbook goes with a suit's logbook.
func Logbook(tag string) string { return "Logbook of " + tag + "." }

// ShelfList goes with the list for the wall.
func ShelfList(day core.Date) string {
	return fmt.Sprintf("List for the wall, %s. It is out of date tomorrow.", day)
}

// NotRecording tells the crew that nothing can be written.
func NotRecording() string {
	return "**Readings are NOT being recorded.** I cannot write to my disk. Go on with watch and paper, and call the keeper."
}
