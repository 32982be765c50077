package chat

import (
	"context"
	"io"
	"time"
)

// Server is what package serve needs of a chat server: a Chat that also listens.
type Server interface {
	Chat
	Files
	// Run hands every event to sink, one after another, from its first
	// catch-up on until ctx ends. An event that sink returns an error for is
	// brought again.
	Run(ctx context.Context, marks map[string]Mark, sink func(context.Context, Event) error) error
	// Now is the chat server's time.
	Now() time.Time
}

// Files hands out what people attach to their posts.
type Files interface {
	// File returns what is attached to a post, to be read and closed.
	File(ctx context.Context, id string) (io.ReadCloser, error)
}
