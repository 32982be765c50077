package ledger

import (
	"context"
	"fmt"
	"io"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/register"
	"benchbell/store"
)

// What is attached to one post.
const (
	largestAttached  = 4 << 20 // bytes of a file
	mostAttached     = 5       // files
	longestAttaching = 20 * time.Second
)

// PlanAttached reads the files attached to a post from the chat and plans their
// import. The error is a *register.Error if the person who posted them can mend it,
// as by attaching a file again.
func PlanAttached(ctx context.Context, st *store.Store, cfg config.Config, files chat.Files, ev chat.Event) (Plan, error) {
	said, _ := ev.What.(chat.Said)
	if n := len(said.Files); n > mostAttached {
		return Plan{}, fault(said.Files[mostAttached], "there are %d files: attach %d at most to a post", n, mostAttached)
	}
	ctx, cancel := context.WithTimeout(ctx, longestAttaching)
	defer cancel()
	contents := make(map[string][]byte)
	var names []string
	for i, f := range said.Files {
		data, err := readAttached(ctx, files, f)
		if err != nil {
			return Plan{}, fault(f, "the chat server did not hand the file out: attach it again")
		}
		if len(data) > largestAttached {
			return Plan{}, fault(f, "the file is larger than %d MiB: split it", largestAttached>>20)
		}
		// By number: their own names may be the same, or anything.
		name := fmt.Sprintf("file %d", i+1)
		names = append(names, name)
		contents[name] = data
	}
	return planImport(st, cfg, names, contents, ev.At, ev.Who, said.Post)
}

func fault(f chat.File, want string, args ...any) error {
	return &register.Error{File: f.Name, Faults: []register.Fault{{Want: fmt.Sprintf(want, args...)}}}
}

// readAttached reads an attached file, or as much of it as shows that it is too large.
func readAttached(ctx context.Context, files chat.Files, f chat.File) ([]byte, error) {
	content, err := files.File(ctx, f.ID)
	if err != nil {
		return nil, err
	}
	defer content.Close()
	return io.ReadAll(io.LimitReader(content, largestAttached+1))
}
