package store

import (
	"errors"
	"fmt"
	"sync"
)

// ErrInDoubt is returned when the engine failed while it wrote a transaction
// to disk. The changes may be there, all of them, or none: read the store to
// find out.
var ErrInDoubt = errors.New("it may or may not be on disk")

// update runs fn in a transaction that can write.
func (s *Store) update(fn func(Tx) error) error {
	writing := false
	err := s.engine.Update(func(tx Tx) error {
		err := fn(tx)
		writing = err == nil
		return err
	})
	if err != nil && writing {
		return fmt.Errorf("%w: %w", ErrInDoubt, err)
	}
	return err
}

// A marking is a small change that a goroutine waits for.
type marking struct {
	change func(Tx) error
	err    error
	// next is sent true when the marking is done, and false when its goroutine
	// is the one to carry out those that wait.
	next chan bool
}

// markings lets changes that are wanted at the same time share a transaction: waiting
// for the disk takes long, but as long for many changes as for one. While one
// transaction is written, changes gather for the next; a change that comes alone is
// carried out at once.
type markings struct {
	mu      sync.Mutex
	busy    bool // somebody carries out markings
	waiting []*marking
}

// mark carries out a change, in one transaction with others that wait. If one
// of them fails, the others are not affected.
func (s *Store) mark(change func(Tx) error) error {
	m := &marking{change: change, next: make(chan bool, 1)}
	if s.markings.join(m) {
		if done := <-m.next; done {
			return m.err
		}
	}
	together := s.markings.take()
	s.carryOut(together)
	for _, other := range together {
		if other != m {
			other.next <- true
		}
	}
	s.markings.hand()
	return m.err
}

// join adds a marking to those that wait, and reports whether somebody is
// carrying out others meanwhile.
func (g *markings) join(m *marking) (wait bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.waiting = append(g.waiting, m)
	wait, g.busy = g.busy, true
	return wait
}

// take returns the markings that wait.
func (g *markings) take() []*marking {
	g.mu.Lock()
	defer g.mu.Unlock()
	all := g.waiting
	g.waiting = nil
	return all
}

// hand lets the first that waits carry out the rest.
func (g *markings) hand() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.waiting) == 0 {
		g.busy = false
		return
	}
	g.waiting[0].next <- false
}

// carryOut carries out markings in one transaction. One that fails undoes the
// transaction: it is left out, and the rest is carried out anew.
func (s *Store) carryOut(all []*marking) {
	for _, m := range all {
		m.err = ErrInDoubt // if the engine panics
	}
	for len(all) > 0 {
		failed := -1
		err := s.update(func(tx Tx) error {
			for i, m := range all {
				if err := m.change(tx); err != nil {
					failed = i
					return err
				}
			}
			return nil
		})
		if failed < 0 {
			for _, m := range all {
				m.err = err
			}
			return
		}
		all[failed].err = err
		all = append(all[:failed:failed], all[failed+1:]...)
	}
}
