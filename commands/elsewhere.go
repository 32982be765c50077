package commands

import (
	"fmt"

	"benchbell/core"
)

// What is said in one place of something that goes on in another.

// GoOnInThread points from anywhere to the thread of a run.
func GoOnInThread(run core.Run) string {
	return fmt.Sprintf("%s: go on in the thread of %s.", run.Suit.Tag, run.ID)
}

// OpenInThread answers a person who opened a run in a direct message.
func OpenInThread(run core.Run) string {
	return fmt.Sprintf("%s was opened in the crew channel. Go on in its thread.", run.ID)
}
