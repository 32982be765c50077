package chat

import (
	"fmt"
	"strings"

	"benchbell/core"
)

// PhotoKey returns the wake key of a photo whose file is still to be read; the event
// that brings it has the same id.
func PhotoKey(run core.RunID, file string) string { return fmt.Sprintf("photo/%s/%s", run, file) }

// ParsePhotoKey takes apart what PhotoKey made.
func ParsePhotoKey(key string) (run core.RunID, file string, ok bool) {
	rest, ok := strings.CutPrefix(key, "photo/")
	if !ok {
		return 0, "", false
	}
	id, file, _ := strings.Cut(rest, "/")
	run, ok = ParseRunID(id)
	return run, file, ok
}

// LargestPhoto is the limit for a photo in bytes: the chat server's own default.
const LargestPhoto = 100 << 20
