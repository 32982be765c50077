package live

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
)

// process is a program that runs beside the tests, with its output kept.
type process struct {
	name  string
	cmd   *exec.Cmd
	log   *logBook
	from  int           // where its output begins in the log
	ended chan struct{} // closed when it has ended
	err   error         // how it ended, once it has
}

// startProcess starts cmd with its output going to log, which may hold that of
// earlier runs already.
func startProcess(name string, cmd *exec.Cmd, log *logBook) (*process, error) {
	p := &process{name: name, cmd: cmd, log: log, from: log.size(), ended: make(chan struct{})}
	cmd.Stdout, cmd.Stderr = log, log
	cmd.WaitDelay = time.Second // children that outlive it may hold its output open
	endWithTests(cmd)
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("starting %s: %w", name, err)
	}
	go func() {
		p.err = cmd.Wait()
		close(p.ended)
	}()
	return p, nil
}

// awaitLog waits until the process has written a line with the words.
func (p *process) awaitLog(ctx context.Context, words string) error {
	ctx, cancel := context.WithTimeout(ctx, settling)
	defer cancel()
	for {
		text, changed := p.log.since(p.from)
		if strings.Contains(text, words) {
			return nil
		}
		select {
		case <-changed:
		case <-p.ended:
			if text, _ := p.log.since(p.from); strings.Contains(text, words) {
				return nil
			}
			return p.endedEarly()
		case <-ctx.Done():
			return fmt.Errorf("%s did not log %q: %w; its log:\n%s", p.name, words, context.Cause(ctx), text)
		}
	}
}

func (p *process) endedEarly() error {
	text, _ := p.log.since(p.from)
	return fmt.Errorf("%s ended at its start (%v); its log:\n%s", p.name, p.cmd.ProcessState, text)
}

// end sends a signal, waits until the process has ended, and tells how it did:
// nil stands for a clean exit, or for an end by SIGKILL when that was sent.
func (p *process) end(signal os.Signal) error {
	if err := p.cmd.Process.Signal(signal); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return fmt.Errorf("stopping %s: %w", p.name, err)
	}
	select {
	case <-p.ended:
	case <-time.After(settling):
		p.cmd.Process.Kill()
		return fmt.Errorf("%s did not end on %v within %v", p.name, signal, settling)
	}
	if p.err != nil && signal != os.Kill {
		return fmt.Errorf("%s ended badly on %v: %w", p.name, signal, p.err)
	}
	return nil
}

// logBook keeps the output of a process. Its zero value is ready for use.
type logBook struct {
	mu      sync.Mutex
	text    []byte
	changed chan struct{} // closed at the next change
}

func (b *logBook) Write(text []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.text = append(b.text, text...)
	if b.changed != nil {
		close(b.changed)
		b.changed = nil
	}
	return len(text), nil
}

// since returns what was written from a place on, and a channel that is closed
// when more has been.
func (b *logBook) since(from int) (string, <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.changed == nil {
		b.changed = make(chan struct{})
	}
	return string(b.text[from:]), b.changed
}

func (b *logBook) size() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.text)
}

func (b *logBook) String() string {
	text, _ := b.since(0)
	return text
}
