// Package photo reads the files of photos that people post, and tells the engine
// what each is: its type and its SHA-256, or why it is not kept. The files
// themselves stay on the chat server.
//
// A [Fetcher] is the whole of it. What is still to be read is in the store, as
// the wake times of photos, so that a program that was killed goes on with it.
// A file that cannot be read is tried again, for a week and longer; a slow one
// holds up no other.
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
	"sync"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/core"
	"benchbell/store"
)

// A Fetcher reads the files of photos from the chat server, each once it can
// be had, and tells the engine what they are.
type Fetcher struct {
	store *store.Store
	files chat.Files
	tell  func(context.Context, chat.Event) error // the engine
	now   func() time.Time                        // the chat server's time
	down  *retry.Outages
	retry.Signal

	mu     sync.Mutex
	pauses map[string]*retry.Backoff // after the last fault, by wake key
}

// NewFetcher returns a fetcher for the store's photos. Whoever sets the wake
// time of one calls its Set.
func NewFetcher(st *store.Store, files chat.Files, tell func(context.Context, chat.Event) error, now func() time.Time, log *slog.Logger) *Fetcher {
	return &Fetcher{
		store: st, files: files, tell: tell, now: now, down: retry.NewOutages(log),
		Signal: retry.NewSignal(), pauses: make(map[string]*retry.Backoff),
	}
}

const (
	// readers is how many files are read at the same time.
	readers = 3
	// The pauses between tries at a file. They double.
	firstFetchPause   = time.Second
	LongestFetchPause = 10 * time.Minute
	// Patience is for how long an answer that is no file, or not the file, is
	// taken for a trouble of the chat server's.
	Patience = 7 * 24 * time.Hour
)

// A wanted file is that of a photo, to be read at a time.
type wanted struct {
	store.Wake
	run  core.RunID
	file string
}

// Run reads files until ctx ends.
func (f *Fetcher) Run(ctx context.Context) error {
	var all sync.WaitGroup
	defer all.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	type outcome struct {
		key string
		err error
	}
	done := make(chan outcome, readers)
	reading := make(map[string]bool)
	var disk retry.Backoff
	var diskUntil time.Time
	failed := func(err error) {
		if err == nil {
			disk.Reset()
			f.down.Over("store", "photo: the store works again")
		} else if ctx.Err() == nil {
			f.down.Failed("store", "photo: store error, retrying", err)
			diskUntil = time.Now().Add(disk.Next(0))
		}
	}
	for {
		pause := time.Until(diskUntil)
		if pause <= 0 {
			files, err := f.wanted()
			if err != nil {
				failed(err)
				continue
			}
			for _, w := range files {
				if reading[w.Key] {
					continue
				}
				if in := w.Due.Sub(f.now()); in > 0 {
					if pause <= 0 || in < pause {
						pause = in
					}
					continue
				}
				if len(reading) == readers {
					break
				}
				reading[w.Key] = true
				all.Go(func() {
					_, err := f.try(ctx, w)
					done <- outcome{w.Key, err}
				})
			}
		}
		var due <-chan time.Time
		if pause > 0 {
			due = time.After(pause)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case o := <-done:
			delete(reading, o.key)
			failed(o.err)
		case <-f.Signal:
		case <-due:
		}
	}
}

// wanted returns the files that are still to be read.
func (f *Fetcher) wanted() (all []wanted, err error) {
	wakes, err := f.store.Wakes()
	if err != nil {
		return nil, fmt.Errorf("reading which files are to be read: %w", err)
	}
	for _, w := range wakes {
		if run, file, ok := chat.ParsePhotoKey(w.Key); ok {
			all = append(all, wanted{w, run, file})
		}
	}
	return all, nil
}

// Flush reads the files whose time has come, one after another, and returns when the
// next one's comes, zero if there is none. The error is ctx's, the store's or the
// engine's. A caller uses Flush or Run, not both.
func (f *Fetcher) Flush(ctx context.Context) (next time.Time, err error) {
	files, err := f.wanted()
	if err != nil {
		return time.Time{}, err
	}
	for _, w := range files {
		if !w.Due.After(f.now()) {
			if w.Due, err = f.try(ctx, w); err != nil {
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
func (f *Fetcher) try(ctx context.Context, w wanted) (again time.Time, err error) {
	entries, err := f.store.OfRun(w.run)
	if err != nil {
		return time.Time{}, err
	}
	photo, ok := core.Replay(entries).Photo(w.file)
	if !ok || photo.Settled() {
		return time.Time{}, f.store.Commit(&store.Batch{Wakes: map[string]time.Time{w.Key: {}}})
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
		got.Key = w.Key
		f.forget(w.Key)
		f.down.Over(w.Key, "photo read", "key", w.Key)
		return time.Time{}, f.tell(ctx, chat.Event{ID: w.Key, At: now, What: got})
	}
	f.down.Failed(w.Key, "photo not read yet, retrying", err, "key", w.Key)
	var after time.Duration
	if refused {
		after = fault.After
	}
	again = now.Add(f.pause(w.Key, after))
	return again, f.store.Commit(&store.Batch{Wakes: map[string]time.Time{w.Key: again}})
}

// pause returns how long to wait after a fault before the next try at a file.
func (f *Fetcher) pause(key string, after time.Duration) time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.pauses[key] == nil {
		f.pauses[key] = &retry.Backoff{First: firstFetchPause, Longest: LongestFetchPause}
	}
	return f.pauses[key].Next(after)
}

// forget is done with a file.
func (f *Fetcher) forget(key string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.pauses, key)
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
