package mattermost

import (
	"context"
	"errors"
	"net"
	"sync"
)

// A network connects the bot to the fake server through pipes, so that it can
// live in a synctest bubble, and breaks in the ways networks do.
type network struct {
	accepted chan net.Conn
	closed   chan struct{}

	mu    sync.Mutex
	down  bool // connections are refused
	hole  bool // nothing sent arrives, and nobody is told
	conns map[net.Conn]bool
}

func newNetwork() *network {
	return &network{accepted: make(chan net.Conn), closed: make(chan struct{}), conns: make(map[net.Conn]bool)}
}

// dial is the bot's way in.
func (n *network) dial(ctx context.Context, _, _ string) (net.Conn, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.down {
		return nil, errors.New("connection refused")
	}
	near, nearEnd := net.Pipe()
	far, farEnd := net.Pipe()
	n.conns[nearEnd], n.conns[farEnd] = true, true
	go n.relay(nearEnd, farEnd)
	go n.relay(farEnd, nearEnd)
	go func() {
		select {
		case n.accepted <- far:
		case <-n.closed:
			far.Close()
		}
	}()
	return near, ctx.Err()
}

func (n *network) relay(from, to net.Conn) {
	defer func() {
		from.Close()
		to.Close()
		n.mu.Lock()
		defer n.mu.Unlock()
		delete(n.conns, from)
	}()
	buf := make([]byte, 32<<10)
	for {
		k, err := from.Read(buf)
		if err != nil {
			return
		}
		n.mu.Lock()
		swallowed := n.hole
		n.mu.Unlock()
		if swallowed {
			continue
		}
		if _, err := to.Write(buf[:k]); err != nil {
			return
		}
	}
}

// cut breaks every connection, as a reset does.
func (n *network) cut() {
	n.mu.Lock()
	defer n.mu.Unlock()
	for conn := range n.conns {
		conn.Close()
	}
}

// unplug cuts and refuses connections until plugIn.
func (n *network) unplug() {
	n.set(func() { n.down = true })
	n.cut()
}

// swallow lets everything sent vanish until plugIn.
func (n *network) swallow() { n.set(func() { n.hole = true }) }

func (n *network) plugIn() {
	n.mu.Lock()
	hole := n.hole
	n.mu.Unlock()
	if hole { // a connection that lost bytes is of no use any more
		n.cut()
	}
	n.set(func() { n.down, n.hole = false, false })
}

func (n *network) set(change func()) {
	n.mu.Lock()
	defer n.mu.Unlock()
	change()
}

// Accept, Close and Addr make it the server's net.Listener.
func (n *network) Accept() (net.Conn, error) {
	select {
	case conn := <-n.accepted:
		return conn, nil
	case <-n.closed:
		return nil, net.ErrClosed
	}
}

func (n *network) Close() error {
	close(n.closed)
	n.cut()
	return nil
}

func (n *network) Addr() net.Addr { return &net.TCPAddr{} }
