package chat

import (
	"fmt"
	"strings"

	"benchbell/core"
)

// photoKey is the wake key of a photo whose file is still to be read, and the
// id of the event that says what it is.
func PhotoKey(run core.RunID, file string) string { return fmt.Sprintf("photo/%s/%s", run, file) }

// ofPhotoKey is the contrary.
func ParsePhotoKey(key string) (run core.RunID, file string, ok bool) {
	rest, ok := strings.CutPrefix(key, "photo/")
	if !ok {
		return 0, "", false
	}
	id, file, _ := strings.Cut(rest, "/")
	run, ok = ParseRunID(id)
	return run, file, ok
}

// largestPhoto is how many bytes a photo may have: as many as the chat server
// takes unless it is told otherwise.
const LargestPhoto = 100 << 20
