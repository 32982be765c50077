package photo

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/core"
	"benchbell/store"
)

// A Fetcher reads the files of photos from the chat server, each once it can
// be had, and tells the engine what they are. What is still to be read are the
// wake times of photos in the store: a program that was killed goes on with
// them.
type Fetcher struct {
	store *store.Store
	files chat.Files
	tell  func(context.Context, chat.Event) error // the engine
	now   func() time.Time                        // the chat server's time
	down  *retry.Outages
	retry.Signal

	pauses map[string]time.Duration // after the last fault, by wake key
}

// NewFetcher returns a fetcher for the store's photos.
func NewFetcher(st *store.Store, files chat.Files, tell func(context.Context, chat.Event) error, now func() time.Time, log *slog.Logger) *Fetcher {
	return &Fetcher{
		store: st, files: files, tell: tell, now: now, down: retry.NewOutages(log),
		Signal: retry.NewSignal(), pauses: make(map[string]time.Duration),
	}
}

const (
	// The pauses between tries at a file. They double.
	firstFetchPause   = time.Second
	LongestFetchPause = 10 * time.Minute
	// patience is for how long an answer that is no file, or not the file, is
	// taken for a trouble of the chat server's.
	Patience = 7 * 24 * time.Hour
)

// Run reads files until ctx ends.
func (f *Fetcher) Run(ctx context.Context) error {
	var disk retry.Backoff
	for {
		next, err := f.Flush(ctx)
		var again time.Duration
		kick := f.Signal
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			f.down.Failed("store", "photo: store error, retrying", err)
			again, kick = disk.Next(0), nil // the engine's failure itself gives a kick
		default:
			disk.Reset()
			f.down.Over("store", "photo: store works again")
			if !next.IsZero() {
				again = max(next.Sub(f.now()), time.Millisecond)
			}
		}
		if err := kick.Wait(ctx, again); err != nil {
			return err
		}
	}
}

// Flush reads the files whose time has come, and returns when the next one's
// comes, zero if there is none. The error is ctx's, the store's or the engine's.
func (f *Fetcher) Flush(ctx context.Context) (next time.Time, err error) {
	wakes, err := f.store.Wakes()
	if err != nil {
		return time.Time{}, fmt.Errorf("reading which files are to be read: %w", err)
	}
	for _, w := range wakes {
		run, file, ok := chat.ParsePhotoKey(w.Key)
		if !ok {
			continue
		}
		if !w.Due.After(f.now()) {
			if w.Due, err = f.try(ctx, w.Key, run, file); err != nil {
				return time.Time{}, err
			}
		}
		if !w.Due.IsZero() && (next.IsZero() || w.Due.Before(next)) {
			next = w.Due
		}
	}
	return next, nil
}

// try reads one file. It returns when to try again, zero if that is done with.
func (f *Fetcher) try(ctx context.Context, key string, run core.RunID, file string) (again time.Time, err error) {
	entries, err := f.store.OfRun(run)
	if err != nil {
		return time.Time{}, err
	}
	photo, ok := core.Replay(entries).Photo(file)
	if !ok || photo.Settled() {
		return time.Time{}, f.store.Commit(&store.Batch{Wakes: map[string]time.Time{key: {}}})
	}
	got, err := f.read(ctx, photo)
	if ctx.Err() != nil {
		return time.Time{}, ctx.Err()
	}
	now := f.now()
	fault, refused := errors.AsType[*chat.SendError](err)
	noFile := refused && !fault.Retry() || errors.Is(err, errOtherSize)
	if errors.Is(err, chat.ErrGone) || noFile && now.Sub(photo.At) > Patience {
		got, err = chat.Fetched{Lost: core.PhotoGone}, nil
	}
	if err == nil {
		got.Key = key
		delete(f.pauses, key)
		return time.Time{}, f.tell(ctx, chat.Event{ID: key, At: now, What: got})
	}
	f.down.Failed(key, "a photo cannot be read from the chat server so far", err, "key", key)
	f.pauses[key] = min(max(2*f.pauses[key], firstFetchPause), LongestFetchPause)
	pause := f.pauses[key]
	if refused {
		pause = max(pause, fault.After)
	}
	again = now.Add(pause)
	return again, f.store.Commit(&store.Batch{Wakes: map[string]time.Time{key: again}})
}

// errOtherSize is given for a download that is not the file: a proxy's page, or
// a part of it.
var errOtherSize = errors.New("what came is not as long as the file")

// read reads the file of a photo and says what it is.
func (f *Fetcher) read(ctx context.Context, photo core.Photo) (chat.Fetched, error) {
	content, err := f.files.File(ctx, photo.File)
	if err != nil {
		return chat.Fetched{}, err
	}
	defer content.Close()
	head := make([]byte, 512) // as much as tells the type
	n, err := io.ReadFull(content, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return chat.Fetched{}, err
	}
	head = head[:n]
	sum := sha256.New()
	size, err := io.Copy(sum, io.LimitReader(io.MultiReader(bytes.NewReader(head), content), chat.LargestPhoto+1))
	switch {
	case err != nil:
		return chat.Fetched{}, err
	case photo.Size > 0 && size != photo.Size:
		return chat.Fetched{}, fmt.Errorf("%w: %d bytes, not %d", errOtherSize, size, photo.Size)
	}
	kind := imageType(head)
	switch {
	case kind == "":
		return chat.Fetched{Lost: core.NoPhoto}, nil
	case size > chat.LargestPhoto:
		return chat.Fetched{Lost: core.PhotoTooLarge}, nil
	}
	return chat.Fetched{Type: kind, Sum: core.Sum(sum.Sum(nil))}, nil
}

// imageType returns the type of an image by its first bytes, or nothing if they
// are not those of an image as cameras and phones make them.
func imageType(head []byte) string {
	if kind := http.DetectContentType(head); slices.Contains([]string{"image/jpeg", "image/png", "image/webp", "image/gif"}, kind) {
		return kind
	}
	// The others net/http does not know. A file of the ISO base media format
	// (ISO/IEC 14496-12) begins with the length of a box, "ftyp" and a brand:
	// those of HEIF stand in ISO/IEC 23008-12, those of AVIF in its own text.
	if len(head) >= 12 && string(head[4:8]) == "ftyp" {
		switch string(head[8:12]) {
		case "heic", "heix", "heim", "heis", "hevc", "hevx":
			return "image/heic"
		case "mif1", "msf1":
			return "image/heif"
		case "avif", "avis":
			return "image/avif"
		}
	}
	for _, mark := range []string{"II*\x00", "MM\x00*"} { // TIFF 6.0, and DNG with it
		if bytes.HasPrefix(head, []byte(mark)) {
			return "image/tiff"
		}
	}
	return ""
}
