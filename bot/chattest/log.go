package chattest

import (
	"bytes"
	"strings"
	"sync"
	"testing"
)

// A LogBook keeps the log and passes it on to the test.
type LogBook struct {
	T  *testing.T
	mu sync.Mutex
	bytes.Buffer
}

func (l *LogBook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.T.Output().Write(p)
	return l.Buffer.Write(p)
}

// Count returns how often a text was logged.
func (l *LogBook) Count(text string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.String(), text)
}
